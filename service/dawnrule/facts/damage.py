"""Hours since work that damages: landings, jumps, matches, muscular endurance (pure)."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
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

KindsOfWork = Callable[[Block, float | None, float | None], Iterable[str]]
"""The facts that tell the hours since a block like this, of so many minutes and rated so hard
(CR10)."""


@dataclass(frozen=True, slots=True)
class DamagingWork:
    """When each muscle group did work that damages (UTC, oldest first), by the fact that tells the
    hours since then."""

    kinds: KindsOfWork
    began: Mapping[str, Mapping[str, Sequence[datetime]]]

    @classmethod
    def of(cls, past: Past, log: WorkLog) -> Self:
        """Find the work that damages in the log."""
        kinds = _kinds_of_work(past)
        began: dict[str, dict[str, list[datetime]]] = {}
        for work in log.done:
            for fact in kinds(work.block, work.minutes, work.rpe):
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
            for fact in self.kinds(other, other.minutes, other.effort):
                hours[fact] = min(hours.get(fact, since), since)
        return hours


def _planned_hours(block: Block, other: Block, start: datetime) -> float:
    if block.starts_at is None or other.starts_at is None:
        return 0.0
    return hours_between(other.starts_at, start)


def _kinds_of_work(past: Past) -> KindsOfWork:
    words = past.vocabulary
    landing, jumps = (
        past.parameters("hours_since_hard_landing"),
        past.parameters("hours_since_jumps"),
    )
    match = past.parameters("hours_since_match")
    hard = past.parameters("hours_since_hard_muscular_endurance")

    def kinds(block: Block, minutes: float | None, rpe: float | None) -> Iterator[str]:
        contacts = contacts_of(block, words, jumps["modality"]) or 0
        lasting, rated = minutes or 0, rpe or 0
        enough = lasting >= landing["minutes"] or contacts >= landing["contacts"]
        if enough and lands_hard(block, words):
            yield "hours_since_hard_landing"
        if block.modality == jumps["modality"] or contacts >= jumps["contacts"]:
            yield "hours_since_jumps"
        long_and_hard = lasting >= match["minutes"] and rated >= match["rpe"]
        if block.competition or (long_and_hard and is_court_sport(block, words)):
            yield "hours_since_match"
        if block.goal == MUSCULAR_ENDURANCE:
            if is_to_failure(block):
                yield "hours_since_failure_endurance"
            if rated >= hard["rpe"]:
                yield "hours_since_hard_muscular_endurance"

    return kinds
