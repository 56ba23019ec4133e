"""Weekly targets before a competition: build, deload and taper as shares of the usual week."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from functools import cache
from typing import Any, Self

from dawnrule.facts.history import block_minutes
from dawnrule.facts.work import lands_hard
from dawnrule.i18n.resources import read_data, rules_folder
from dawnrule.model import Vocabulary
from dawnrule.model.entities import Athlete, Session
from dawnrule.model.time_zones import zone_named
from dawnrule.model.training import groups_of

_WEEK = timedelta(days=7)
_USUAL_WEEKS = 4
_PER_CENT = 100
BUILD, DELOAD, TAPER = "build", "deload", "taper"


@dataclass(frozen=True, slots=True)
class TargetNumbers:
    """``rules/targets.yaml``; shares are percent of the usual week, by weeks to the competition."""

    weeks: int
    taper: dict[int, int]
    taper_source: str
    deload: dict[int, int]
    deload_source: str
    build_percent: float
    build_source: str
    ranks: tuple[str, ...]

    @classmethod
    @cache
    def bundled(cls) -> Self:
        """Read the numbers that ship with the service."""
        data: dict[str, Any] = dict(read_data(rules_folder() / "targets.yaml"))
        for phase in (TAPER, DELOAD):
            data[phase] = {one["week"]: one["percent"] for one in data[phase]}
        data["ranks"] = tuple(data["ranks"])
        return cls(**data)


@dataclass(frozen=True, slots=True)
class UsualWeek:
    """What an athlete usually does in a week: hard sets, landing minutes and minutes of training,
    over the trained weeks among the last four."""

    sets: float
    landing_minutes: float
    minutes: float

    @classmethod
    def of(cls, athlete: Athlete, sessions: Sequence[Session], today: date) -> Self | None:
        """Average the weeks before a local date; None where none of them was trained."""
        words, zone = Vocabulary.bundled(), zone_named(athlete.time_zone)
        weeks: dict[int, list[Session]] = {}
        for session in sessions:
            ago = (today - session.starts_at.astimezone(zone).date()).days
            if 0 < ago <= _USUAL_WEEKS * _WEEK.days:
                weeks.setdefault((ago - 1) // _WEEK.days, []).append(session)
        if not weeks:
            return None
        done = [session for of_week in weeks.values() for session in of_week]
        sets = sum(
            block.sets or 0
            for session in done
            for block in session.blocks
            if block.goal in words.lifting_goals and groups_of(block, words)
        )
        landing = sum(
            minutes
            for session in done
            for block, minutes in block_minutes(session)
            if lands_hard(block, words)
        )
        minutes = sum(session.minutes for session in done)
        return cls(*(total / len(weeks) for total in (sets, landing, minutes)))


@dataclass(frozen=True, slots=True)
class WeekTarget:
    """The target of one week, seven days from ``first`` (a local date) on; ``weeks_to_go`` is 1 for
    the week that ends with the competition. What is not known of the usual week is left out."""

    first: date
    weeks_to_go: int
    phase: str
    percent: int
    sets: int | None
    landing_minutes: int | None
    minutes: int | None
    source: str

    @property
    def last(self) -> date:
        """The last day of the week, a local date."""
        return self.first + _WEEK - timedelta(days=1)


def next_competition(athlete: Athlete, now: datetime) -> date | None:
    """Return the date of the next competition that is prepared for, None without one."""
    ranks, today = TargetNumbers.bundled().ranks, athlete.today(now)
    known = athlete.competitions or ()
    dates = (one.date for one in known if one.rank in ranks and one.date > today)
    return min(dates, default=None)


def targets(competition: date, usual: UsualWeek | None, today: date) -> Iterator[WeekTarget]:
    """Yield the weeks up to a competition that are not over, the next first."""
    numbers = TargetNumbers.bundled()
    for to_go in range(numbers.weeks, 0, -1):
        first = competition + timedelta(days=1) - to_go * _WEEK
        if first + _WEEK <= today:
            continue
        phase, percent, source = _phase(numbers, to_go, today, competition)
        yield WeekTarget(
            first,
            to_go,
            phase,
            percent,
            None if usual is None else round(usual.sets * percent / _PER_CENT),
            None if usual is None else round(usual.landing_minutes * percent / _PER_CENT),
            None if usual is None else round(usual.minutes * percent / _PER_CENT),
            source,
        )


def _phase(
    numbers: TargetNumbers, to_go: int, today: date, competition: date
) -> tuple[str, int, str]:
    if to_go in numbers.taper:
        return TAPER, numbers.taper[to_go], numbers.taper_source
    if to_go in numbers.deload:
        return DELOAD, numbers.deload[to_go], numbers.deload_source
    weeks_left = ((competition - today).days - 1) // _WEEK.days + 1
    begun = min(weeks_left, numbers.weeks)
    lighter = sum(to_go < week <= begun for week in numbers.deload)
    builds = max(begun - to_go - lighter, 0)
    return BUILD, round(_PER_CENT + builds * numbers.build_percent), numbers.build_source
