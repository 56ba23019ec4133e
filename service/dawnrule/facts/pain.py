"""Pain that counts for a part of the plan (pure).

Pain counts where the part's own muscle group hurts, and where a group hurts that the load of its
block passes through: a bad back rests squats, though they are planned for the legs.
"""

from __future__ import annotations

from collections.abc import Iterator

from dawnrule.model import Vocabulary
from dawnrule.model.entities import Block, CheckIn, Pain


def pain_facts(
    check_in: CheckIn, block: Block, group: str | None, vocabulary: Vocabulary
) -> Iterator[tuple[str, bool]]:
    """Yield for each kind of pain whether it counts for a part; nothing when unanswered."""
    if check_in.pain is None:
        return
    here = {pain.kind for pain in pains_of_part(check_in, block, group, vocabulary)}
    for kind in vocabulary.pain_kinds:
        yield fact_name(kind), kind in here


def pains_of_part(
    check_in: CheckIn, block: Block, group: str | None, vocabulary: Vocabulary
) -> tuple[Pain, ...]:
    """Return the pains that count for one muscle group of a block.

    Pain that names no muscle group counts for every part, and for a block that names none every
    pain counts: where one of the two is unknown, the careful reading holds.
    """
    borne_by = {group, *passed_through(block, vocabulary)}
    return tuple(
        pain
        for pain in check_in.pain or ()
        if group is None or not pain.muscle_groups or not borne_by.isdisjoint(pain.muscle_groups)
    )


def passed_through(block: Block, vocabulary: Vocabulary) -> tuple[str, ...]:
    """Return the muscle groups that bear the load of a block: all that its pattern and modality
    train, as no part of a lift is done alone, and those that the load passes through."""
    borne_by: list[str] = []
    if block.pattern:
        pattern = vocabulary.patterns[block.pattern]
        borne_by += (*pattern.muscle_groups, *pattern.passes_through)
    if block.modality:
        modality = vocabulary.modalities[block.modality]
        borne_by += (*modality.loads, *modality.passes_through)
    return tuple(dict.fromkeys(borne_by))


def fact_name(kind: str) -> str:
    """Return the name of the fact for pain of a kind."""
    return kind.replace("-", "_") + "_pain"
