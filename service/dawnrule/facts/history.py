"""Past check-ins and the training log, as facts read them (pure)."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime, timedelta
from operator import itemgetter
from typing import Any, Self, TypeAlias, TypeVar

from dawnrule.facts.load_formulas import session_load
from dawnrule.model import EVERY_EDITION, SECOND_EDITION, FactDictionary, FactValue, Vocabulary
from dawnrule.model.concerns import Concern
from dawnrule.model.entities import Athlete, Block, CheckIn, History, Session
from dawnrule.model.time_zones import zone_named

CHECK_IN_DAYS = 36
"""How far back facts look at check-ins: a week, and the 28 days of a baseline before it."""

SESSION_DAYS = 120
"""How far back facts look at sessions: a 28-day weighted mean has forgotten its start by then."""


@dataclass(frozen=True, slots=True)
class Unavailable:
    """A fact that cannot be derived from the data; ``reason`` says what was needed and what
    came."""

    reason: str


@dataclass(frozen=True, slots=True)
class Derived:
    """Facts that could be derived, and the reasons why others could not."""

    facts: dict[str, FactValue] = field(default_factory=dict)
    missing: dict[str, str] = field(default_factory=dict)

    @classmethod
    def of(
        cls,
        findings: Iterable[tuple[str, FactValue | Unavailable | None]],
        dictionary: FactDictionary,
    ) -> Derived:
        """Sort findings into facts and missing ones, and leave out None. A value outside the range
        of the dictionary, such as a ratio to next to nothing, counts as missing."""
        facts: dict[str, FactValue] = {}
        missing: dict[str, str] = {}
        for name, finding in findings:
            if finding is None:
                continue
            if isinstance(finding, Unavailable):
                missing[name] = finding.reason
            elif not dictionary[name].accepts(finding):
                missing[name] = f"needs {dictionary[name].allowed()}, has {finding}"
            else:
                facts[name] = finding
        return cls(facts, missing)


def too_few(what: str, least: int, found: int) -> Unavailable:
    """Return the usual reason: so many were needed, and fewer were there."""
    return Unavailable(f"needs {least} {what}, has {found}")


def block_minutes(session: Session) -> Iterator[tuple[Block, float]]:
    """Iterate over the blocks of a session with their minutes; blocks without minutes share what
    is left of the session's."""
    known = [block.minutes for block in session.blocks if block.minutes is not None]
    unknown = len(session.blocks) - len(known)
    share = max(session.minutes - sum(known), 0) / unknown if unknown else 0.0
    for block in session.blocks:
        yield block, share if block.minutes is None else block.minutes


@dataclass(frozen=True, slots=True)
class TrainingLog:
    """An athlete's sessions by local date, oldest first, as seen on the morning of ``today``.

    The log begins with its first session: an earlier day is unknown, a later one without a
    session is a day off.
    """

    today: date
    sessions: tuple[tuple[date, Session], ...]
    loads: Mapping[date, float] = field(default_factory=dict)
    """The load of the rated sessions of a date, of the dates that have any."""
    unrated: tuple[date, ...] = ()
    """The dates of sessions that were not rated, oldest first."""

    @classmethod
    def of(cls, athlete: Athlete, history: History, today: date) -> Self:
        """Build the log of an athlete; the order in which sessions arrived does not matter."""
        zone = zone_named(athlete.time_zone)
        sessions = _oldest_first(history.sessions)
        by_date = tuple([(began.astimezone(zone).date(), one) for began, one in sessions])
        loads: dict[date, float] = {}
        for day, session in by_date:
            if session.rpe is not None:
                load = session_load(session.rpe, session.minutes)
                loads[day] = loads.get(day, 0.0) + load
        unrated = tuple([day for day, session in by_date if session.rpe is None])
        return cls(today, by_date, loads, unrated)

    def covers(self, days: int) -> bool:
        """Return whether the log goes back so many days before today."""
        return bool(self.sessions) and self.sessions[0][0] <= self.today - timedelta(days=days)

    @property
    def days_covered(self) -> int:
        """How many days before today the log goes back; 0 when nothing stands there."""
        return max((self.today - self.sessions[0][0]).days, 0) if self.sessions else 0

    def too_short(self, days: int) -> Unavailable:
        """Return the reason when the log does not go back so many days."""
        return too_few("days of the log", days, self.days_covered)

    def last(self, days: int) -> Iterator[Session]:
        """Iterate over the sessions of so many days before today, without today."""
        return self.between(self.today - timedelta(days=days), self.today)

    def between(self, first: date, end: date) -> Iterator[Session]:
        """Iterate over the sessions from ``first`` on and before ``end``."""
        return (session for day, session in self.sessions if first <= day < end)

    def daily_loads(self, days: int, *, ending: int = 0) -> list[float] | Unavailable:
        """Return the load of each of so many days, oldest first, the last being the day before
        ``ending`` days ago; days off are 0."""
        end = self.today - timedelta(days=ending)
        first = end - timedelta(days=days)
        if not self.covers(days + ending):
            return self.too_short(days + ending)
        for day in self.unrated:
            if first <= day < end:
                return Unavailable(f"needs each session's RPE, that of {day.isoformat()} has none")
        loads = [0.0] * days
        for day, load in self.loads.items():
            if first <= day < end:
                loads[(day - first).days] = load
        return loads


def _oldest_first(sessions: Iterable[Session]) -> list[tuple[datetime, Session]]:
    """Sort sessions by their start (UTC), which each is given with; simultaneous ones by their
    content, so that the order of arrival does not matter."""
    began = [(session.starts_at.astimezone(UTC), session) for session in sessions]
    if len({start for start, _ in began}) == len(began):
        return sorted(began, key=itemgetter(0))
    return sorted(began, key=lambda one: (one[0], repr(one[1])))


T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class Past:
    """This morning and all before it; windows and minima stand in the fact dictionary."""

    athlete: Athlete
    check_in: CheckIn
    mornings: Mapping[int, CheckIn]
    """Check-ins by how many days ago they were; this morning's is 0."""
    log: TrainingLog
    dictionary: FactDictionary
    vocabulary: Vocabulary
    last_answers: Sequence[CheckIn] = ()
    """Check-ins that newer ones of the same date may have followed, the newest first."""
    edition: int = EVERY_EDITION
    """Facts of later editions are left out."""
    concerns: tuple[Concern, ...] = ()
    """What is open about the athlete, with what this morning's check-in changed."""
    later: frozenset[str] = frozenset()
    """The facts of later editions."""

    @property
    def is_second_edition(self) -> bool:
        """Whether facts of the second edition are derived."""
        return self.edition >= SECOND_EDITION

    def known(self, derived: Derived) -> Derived:
        """Leave out facts of later editions, derived or missing."""
        if not self.later:
            return derived
        return Derived(
            {name: value for name, value in derived.facts.items() if name not in self.later},
            {name: reason for name, reason in derived.missing.items() if name not in self.later},
        )

    @classmethod
    def of(
        cls,
        athlete: Athlete,
        check_in: CheckIn,
        history: History,
        dictionary: FactDictionary,
        vocabulary: Vocabulary,
        edition: int = EVERY_EDITION,
    ) -> Self:
        """Build the past of a morning; the order of arrival does not matter."""
        mornings = {(check_in.date - c.date).days: c for c in history.check_ins}
        mornings = {age: c for age, c in mornings.items() if age > 0} | {0: check_in}
        answers = history.last_answers[::-1]
        log = TrainingLog.of(athlete, history, check_in.date)
        known = tuple(sorted(history.concerns, key=lambda concern: concern.id))
        return cls(
            athlete,
            check_in,
            mornings,
            log,
            dictionary,
            vocabulary,
            answers,
            edition,
            known,
            dictionary.later_than(edition),
        )

    def with_check_in(self, check_in: CheckIn) -> Self:
        """Return the same past of another check-in of the morning."""
        return replace(self, check_in=check_in, mornings={**self.mornings, 0: check_in})

    def parameters(self, fact: str) -> Mapping[str, Any]:
        """Return the numbers that a fact is computed with."""
        return self.dictionary[fact].parameters

    def check_ins_on(self, days_ago: int) -> Iterator[CheckIn]:
        """Iterate over the known check-ins of a date, the newest first."""
        if days_ago in self.mornings:
            yield self.mornings[days_ago]
        day = self.check_in.date - timedelta(days=days_ago)
        yield from (answer for answer in self.last_answers if answer.date == day)

    def reported(self, read: Callable[[CheckIn], T | None], first: int, days: int) -> list[T]:
        """Return what ``read`` finds in so many mornings, the latest ``first`` days ago; the
        latest comes first, and what was not reported is left out."""
        ages = (age for age in range(first, first + days) if age in self.mornings)
        found = (read(self.mornings[age]) for age in ages)
        return [value for value in found if value is not None]


FactFunction: TypeAlias = Callable[[Past], FactValue | Unavailable]
"""Derives one fact of a day from the past, or says why it cannot be derived."""
