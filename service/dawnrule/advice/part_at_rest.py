"""Which part rests on a day that goes on otherwise, and how is that said? (pure)

Such a day is one of low-damage work by its verdict. Told by that alone, "swap" would stand before
a pain on which nothing is to be trained. So the rest is said first.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any, NamedTuple

from dawnrule.vocabulary import Texts, Verdict, Vocabulary


class PartVerdict(NamedTuple):
    """The verdict on a part, the id of the rule that decided it, and its muscle group."""

    verdict: str
    rule_id: str | None
    muscle_group: str | None


@dataclass(frozen=True, slots=True)
class PartAtRest:
    """``said`` names what rests, as in "Rest for quadriceps"; ``decides`` tells whether the rule
    that the day is told by is the one that it rests by."""

    said: str
    decides: bool


def part_at_rest(
    verdict: str,
    rule_id: str | None,
    parts: Iterable[PartVerdict],
    vocabulary: Vocabulary,
    texts: Texts,
) -> PartAtRest | None:
    """What rests on a day of a verdict that is told by a rule; None where nothing does, and where
    all of the day does."""
    resting = [part for part in parts if part.verdict == Verdict.REST]
    if verdict == Verdict.REST or not resting:
        return None
    told = [part for part in resting if part.rule_id == rule_id]
    groups = dict.fromkeys(part.muscle_group for part in told or resting)
    labels = [vocabulary.label(group) for group in groups if group]
    if len(labels) < len(groups):
        return PartAtRest(texts.say("rest_for_part"), bool(told))
    return PartAtRest(texts.say("rest_for", where=texts.listing(labels)), bool(told))


def part_at_rest_in(
    advice: Mapping[str, Any], vocabulary: Vocabulary, texts: Texts
) -> PartAtRest | None:
    """What rests on the day of an advice (plain JSON values), as ``part_at_rest`` says it."""
    parts = (PartVerdict(p["verdict"], _id_in(p), p["muscle_group"]) for p in advice["parts"])
    return part_at_rest(advice["verdict"], _id_in(advice), parts, vocabulary, texts)


def _id_in(told: Mapping[str, Any]) -> str | None:
    return told["rule"]["id"] if told["rule"] else None
