"""Hours since work that damages: landings, jumps, matches, muscular endurance (pure)."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Self

from dawnrule.facts.history import Past
from dawnrule.facts.work import (
    MUSCULAR_ENDURANCE,
    WorkLog,
    contacts_of,
    is_court_sport,
    is_to_failure,
    lands_hard,
)
from dawnrule.model import FactValue
from dawnrule.model.entities import Block
from dawnrule.model.training import hours_between

Fits = Callable[[Block, float | None, float | None], bool]
"""Whether a block of so many minutes, rated so hard (CR10), is what is looked for."""


@dataclass(frozen=True, slots=True)
class DamagingWork:
    """When each muscle group did work that damages (UTC, oldest first), by the fact that tells the
    hours since then; ``kinds`` tells such work."""

    kinds: Mapping[str, Fits]
    began: Mapping[str, Mapping[str, Sequence[datetime]]]

    @classmethod
    def of(cls, past: Past, log: WorkLog) -> Self:
        """Find the work that damages in the log."""
        kinds = _kinds(past)
        began: dict[str, dict[str, list[datetime]]] = {}
        for work in log.done:
            for fact in _told_by(kinds, work.block, work.minutes, work.rpe):
                for group in work.groups:
                    began.setdefault(group, {}).setdefault(fact, []).append(work.began)
        return cls(kinds, began)

    def facts(
        self, earlier: Iterable[Block], block: Block, group: str, start: datetime
    ) -> dict[str, FactValue]:
        """Return the hours from the last such work of a muscle group to ``start``, start to start.

        ``earlier`` blocks of the plan that train the group count; 0 hours where one of the two has
        no start.
        """
        hours: dict[str, FactValue] = {}
        if (logged := self.began.get(group)) is not None:
            end = start.astimezone(UTC)
            for fact, times in logged.items():
                if before := bisect_left(times, end):
                    hours[fact] = hours_between(times[before - 1], start)
        for other in earlier:
            since = _planned_hours(block, other, start)
            for fact in _told_by(self.kinds, other, other.minutes, other.effort):
                hours[fact] = min(hours.get(fact, since), since)
        return hours


def _told_by(
    kinds: Mapping[str, Fits], block: Block, minutes: float | None, rpe: float | None
) -> list[str]:
    return [fact for fact, fits in kinds.items() if fits(block, minutes, rpe)]


def _planned_hours(block: Block, other: Block, start: datetime) -> float:
    if block.starts_at is None or other.starts_at is None:
        return 0.0
    return hours_between(other.starts_at, start)


def _kinds(past: Past) -> dict[str, Fits]:
    words = past.vocabulary
    landing, jumps = (
        past.parameters("hours_since_hard_landing"),
        past.parameters("hours_since_jumps"),
    )
    match = past.parameters("hours_since_match")
    hard = past.parameters("hours_since_hard_muscular_endurance")

    def is_landing(block: Block, minutes: float | None, _: float | None) -> bool:
        contacts = contacts_of(block, words, jumps["modality"]) or 0
        enough = (minutes or 0) >= landing["minutes"] or contacts >= landing["contacts"]
        return enough and lands_hard(block, words)

    def is_jumping(block: Block, *_: float | None) -> bool:
        contacts = contacts_of(block, words, jumps["modality"]) or 0
        return bool(block.modality == jumps["modality"] or contacts >= jumps["contacts"])

    def is_match(block: Block, minutes: float | None, rpe: float | None) -> bool:
        long_and_hard = (minutes or 0) >= match["minutes"] and (rpe or 0) >= match["rpe"]
        return bool(block.competition) or (long_and_hard and is_court_sport(block, words))

    def is_endurance_to_failure(block: Block, *_: float | None) -> bool:
        return block.goal == MUSCULAR_ENDURANCE and bool(is_to_failure(block))

    def is_hard_endurance(block: Block, _: float | None, rpe: float | None) -> bool:
        return block.goal == MUSCULAR_ENDURANCE and (rpe or 0) >= hard["rpe"]

    return {
        "hours_since_hard_landing": is_landing,
        "hours_since_jumps": is_jumping,
        "hours_since_match": is_match,
        "hours_since_failure_endurance": is_endurance_to_failure,
        "hours_since_hard_muscular_endurance": is_hard_endurance,
    }
