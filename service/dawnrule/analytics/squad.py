"""The squad's morning by verdict, most protected first."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import date, datetime
from itertools import groupby
from typing import Any

from dawnrule.i18n.catalog import capital
from dawnrule.model import Verdict, Vocabulary
from dawnrule.model.advice import Advice, PartAdvice
from dawnrule.model.entities import Athlete
from dawnrule.store import StoredAdvice, Transaction

NOT_CHECKED_IN = "not-checked-in"
"""The place of athletes without a check-in, and so without a verdict."""

PLACES = (*(verdict.value for verdict in reversed(Verdict)), NOT_CHECKED_IN)
"""The places of a squad's morning, in reading order: verdicts, then not checked in."""


@dataclass(frozen=True, slots=True)
class AthleteMorning:
    """One athlete's morning of a local date: the advice that holds, None without a check-in, and
    the date of the last check-in before it, None when there never was one."""

    athlete: Athlete
    on: date
    stored: StoredAdvice | None
    last_check_in: date | None

    @property
    def place(self) -> str:
        """The verdict, or ``NOT_CHECKED_IN``."""
        return self.stored.verdict if self.stored else NOT_CHECKED_IN

    @property
    def days_without(self) -> int | None:
        """Days since the last check-in; None when there never was one."""
        return (self.on - self.last_check_in).days if self.last_check_in else None


def squad_mornings(
    transaction: Transaction, now: datetime, on: date | None = None
) -> list[AthleteMorning]:
    """Read the morning of every athlete on a date, by default each one's own today. ``now`` is
    aware."""
    squad = [(athlete, on or athlete.today_or_utc(now)) for athlete in transaction.athletes.all()]
    dates = {day for _, day in squad}
    given = {
        (one.athlete_id, day): one for day in dates for one in transaction.advice.for_date(day)
    }
    last = {day: transaction.check_ins.last_dates(day) for day in dates}
    return [
        AthleteMorning(athlete, day, given.get((athlete.id, day)), last[day].get(athlete.id))
        for athlete, day in squad
    ]


@dataclass(frozen=True, slots=True)
class MorningSummary:
    """A morning with its advice, None where there is none."""

    morning: AthleteMorning
    advice: Advice | None

    @property
    def order(self) -> tuple[int, str, str]:
        """Sort key: most protected first, then by name."""
        athlete = self.morning.athlete
        return PLACES.index(self.morning.place), athlete.name.casefold(), athlete.id

    @property
    def rules(self) -> dict[str, str]:
        """The rules that decided on the day and its parts: titles by id."""
        advised = self.advice.day_and_parts if self.advice else ()
        return {one.rule.id: one.rule.title for one in advised if one.rule}


@dataclass(frozen=True, slots=True)
class SquadFilter:
    """A filter on a squad; empty fields admit everybody. Muscle group and goal must meet in one
    part."""

    place: str = ""
    muscle_group: str = ""
    goal: str = ""
    rule: str = ""
    name: str = ""

    def admits(self, summary: MorningSummary) -> bool:
        """Whether an athlete passes the filter."""
        return (
            self.place in ("", summary.morning.place)
            and (not self.rule or self.rule in summary.rules)
            and self._has_part(summary.advice)
            and self._is_named(summary.morning.athlete)
        )

    def _has_part(self, advice: Advice | None) -> bool:
        if not self.muscle_group and not self.goal:
            return True
        return any(
            self.muscle_group in ("", part.muscle_group) and self.goal in ("", part.goal)
            for part in (advice.parts if advice else ())
        )

    def _is_named(self, athlete: Athlete) -> bool:
        sought = self.name.strip().casefold()
        return sought in athlete.name.casefold() or sought == athlete.id.casefold()


def by_place(squad: Iterable[MorningSummary]) -> dict[str, list[MorningSummary]]:
    """Group the squad by place, in reading order; empty places are left out."""
    in_order = sorted(squad, key=lambda summary: summary.order)
    grouped = groupby(in_order, lambda summary: summary.morning.place)
    return {place: list(summaries) for place, summaries in grouped}


@dataclass(frozen=True, slots=True)
class PartGroup:
    """Parts of one block with the same advice: their muscle groups, none for a block without; the
    reason without the muscle group's name, empty when it is that of the day; and the caution of a
    part that rests, empty when it is that of the day."""

    goal: str
    muscle_groups: tuple[str, ...]
    verdict: Verdict
    reason: str
    caution: str
    opens_at: datetime | None
    opens_note: str | None


def group_parts(advice: Advice, vocabulary: Vocabulary) -> Iterator[PartGroup]:
    """Group the parts of an advice that differ in the muscle group only."""
    alike: dict[Any, list[PartAdvice]] = {}
    for part in advice.parts:
        reason = _nameless_reason(part, vocabulary)
        key = (part.block, part.verdict, reason, part.opens_at, part.opens_note)
        alike.setdefault(key, []).append(part)
    for (_, verdict, reason, opens_at, opens_note), parts in alike.items():
        is_reason_of_day = all(part.reason == advice.reason for part in parts)
        yield PartGroup(
            goal=parts[0].goal,
            muscle_groups=tuple(part.muscle_group for part in parts if part.muscle_group),
            verdict=verdict,
            reason="" if is_reason_of_day else reason,
            caution=_caution_of_rest(parts[0], advice),
            opens_at=opens_at,
            opens_note=opens_note,
        )


def _caution_of_rest(part: PartAdvice, advice: Advice) -> str:
    """The caution of a part that rests, unless it is that of the day."""
    differs = part.verdict is Verdict.REST and part.caution != advice.caution
    return part.caution if differs else ""


def _nameless_reason(part: PartAdvice, vocabulary: Vocabulary) -> str:
    """Drop the muscle group from a reason: "Chest: soreness 3 of 10" and the same of the shoulders
    are alike."""
    if part.rule is None:
        return ""
    label = vocabulary.label(part.muscle_group) if part.muscle_group else ""
    named, _, rest = part.reason.partition(": ")
    return capital(rest if rest and named.casefold() == label.casefold() else part.reason)
