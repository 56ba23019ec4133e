"""Pain that counts for a part of the plan (pure).

Pain counts where the part's own muscle group hurts, and where a group hurts that the load of its
block passes through: a bad back rests squats, though they are planned for the legs.
"""

from __future__ import annotations

from collections.abc import Collection
from functools import lru_cache

from dawnrule.model import FactValue, Vocabulary
from dawnrule.model.entities import Block, CheckIn, Pain


def pain_facts(
    check_in: CheckIn,
    block: Block,
    group: str | None,
    vocabulary: Vocabulary,
    *,
    reads_words: bool = True,
) -> dict[str, FactValue]:
    """Return for each kind of pain whether it counts for a part; nothing when unanswered."""
    if check_in.pain is None:
        return {}
    if not check_in.pain:
        return dict.fromkeys(facts_of_pain(vocabulary.pain_kinds), False)
    pains = pains_of_part(check_in, block, group, vocabulary, reads_words=reads_words)
    here = {pain.kind for pain in pains}
    return {fact_name(kind): kind in here for kind in vocabulary.pain_kinds}


@lru_cache(maxsize=4)
def facts_of_pain(kinds: tuple[str, ...]) -> tuple[str, ...]:
    """Return the names of the facts for pain of some kinds."""
    return tuple(map(fact_name, kinds))


def pains_of_part(
    check_in: CheckIn,
    block: Block,
    group: str | None,
    vocabulary: Vocabulary,
    *,
    reads_words: bool = True,
) -> tuple[Pain, ...]:
    """Return the pains that count for one muscle group of a block.

    Pain counts for the groups that it names, else for those of its place, which ``reads_words``
    also looks up in the athlete's words. Where neither is known it counts for every part, and for
    a block that names no group every pain counts: in doubt the careful reading holds.
    """
    borne_by = {group, *passed_through(block, vocabulary)}
    return tuple(
        pain
        for pain in check_in.pain or ()
        if group is None or _hurts(pain, block, borne_by, vocabulary, reads_words=reads_words)
    )


def counts_for(pain: Pain, block: Block, group: str | None, vocabulary: Vocabulary) -> bool:
    """Return whether pain counts for one muscle group of a block, its words being looked up."""
    borne_by = {group, *passed_through(block, vocabulary)}
    return group is None or _hurts(pain, block, borne_by, vocabulary, reads_words=True)


def _hurts(
    pain: Pain,
    block: Block,
    borne_by: Collection[str | None],
    vocabulary: Vocabulary,
    *,
    reads_words: bool,
) -> bool:
    if pain.muscle_groups:
        return any(group in borne_by for group in pain.muscle_groups)
    place = vocabulary.pain_place(pain.place, pain.where if reads_words else "")
    if place is None or not place.loads:
        return True
    return block.modality not in place.spares and any(group in borne_by for group in place.loads)


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
