"""What the rules say of a week: every session is decided by both evaluations, on the history and
all that is placed before it, as the service would on its morning."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime, timedelta
from typing import TypeAlias

from dawnrule.facts.derive import FactSource, PartFacts
from dawnrule.facts.history import CHECK_IN_DAYS
from dawnrule.model import Facts, Verdict, Vocabulary
from dawnrule.model.entities import Athlete, CheckIn, History, Journey
from dawnrule.model.time_zones import zone_named
from dawnrule.model.weeks import Travel
from dawnrule.recovery.episodes import morning_of
from dawnrule.recovery.numbers import RecoveryNumbers
from dawnrule.rules.evaluation.decider import Decider
from dawnrule.rules.evaluation.decision import Decision
from dawnrule.rules.rule_set import Rule
from dawnrule.rules.staged_returns import BundledReturns
from dawnrule.week.request import ONE_DAY, Placed

_TIME_ZONES = "time_zones_crossed"

SorenessAt: TypeAlias = Callable[[Sequence[Placed], datetime], dict[str, float]]
"""Forecasts soreness 0 to 10 by muscle group at a time, after what is placed before it."""


def no_soreness(_: Sequence[Placed], __: datetime) -> dict[str, float]:
    """Forecast that no muscle group is sore."""
    return dict.fromkeys(Vocabulary.bundled().muscle_groups, 0.0)


@dataclass(frozen=True, slots=True)
class Ruling:
    """How a session came out: the verdict on each of its parts, and the facts that each had."""

    session: Placed
    verdict: Verdict
    deciding: Rule | None
    parts: tuple[tuple[PartFacts, Decision], ...]
    after_journey: str = ""
    """The title of the rule that notes the time zones crossed; empty where none does."""

    @property
    def is_let_through(self) -> bool:
        """Whether it comes out train-as-planned for all its groups."""
        return self.verdict is Verdict.TRAIN

    @property
    def facts(self) -> Facts:
        """The facts of the part that decided, else of the first."""
        deciding = (p for p, d in self.parts if self.deciding in d.fired)
        part = next(deciding, None) or (self.parts[0][0] if self.parts else None)
        return part.facts if part else {}


@dataclass(frozen=True, slots=True)
class Known:
    """What is known now: the athlete, the history, today's check-in where there is one, and the
    time (aware)."""

    athlete: Athlete
    history: History
    today: CheckIn | None
    now: datetime


@dataclass(frozen=True, slots=True)
class Judge:
    """Decides the sessions of a week. Days that were decided with the same sessions up to them are
    not decided again."""

    known: Known
    decider: Decider
    edition: int
    soreness_at: SorenessAt = no_soreness
    travel: tuple[Travel, ...] = ()
    _decided: dict[tuple[Placed, ...], tuple[Ruling, ...]] = field(default_factory=dict)

    def rulings(self, sessions: Iterable[Placed]) -> list[Ruling]:
        """Decide sessions in the order of their time."""
        ordered = sorted(sessions, key=lambda session: (session.starts_at, session.name))
        found: list[Ruling] = []
        days = sorted({self.date_of(session) for session in ordered})
        for day in days:
            found += self._of_day(
                tuple(session for session in ordered if self.date_of(session) <= day), day
            )
        return found

    def ruling(self, session: Placed, others: Iterable[Placed]) -> Ruling:
        """Decide one session on a week that also holds others."""
        whole = self.rulings([*others, session])
        return next(one for one in whole if one.session == session)

    def morning(self, sessions: Sequence[Placed], day: date) -> tuple[CheckIn, History]:
        """Return the check-in that is expected on a date, and the history before it: a day without
        pain, illness or signs, with the soreness that is forecast, after sessions as planned."""
        before = [session for session in sessions if self.date_of(session) < day]
        todays = [session for session in sessions if self.date_of(session) == day]
        history = self._history(before, day)
        return self._check_in(before, todays, day), history

    def _of_day(self, sessions: tuple[Placed, ...], day: date) -> tuple[Ruling, ...]:
        if sessions not in self._decided:
            self._decided[sessions] = tuple(self._decide(sessions, day))
        return self._decided[sessions]

    def _decide(self, sessions: tuple[Placed, ...], day: date) -> Iterator[Ruling]:
        check_in, history = self.morning(sessions, day)
        now = max(check_in.reported_at or self.known.now, self.known.now)
        source = FactSource.of(
            self.known.athlete, check_in, history, now, self.edition, BundledReturns()
        )
        facts = source.morning()
        decision = self.decider.decide(
            facts.day, [part.facts for part in facts.parts], facts.blocks
        )
        parts = list(zip(facts.parts, decision.parts, strict=True))
        first = 0
        for session in (one for one in sessions if self.date_of(one) == day):
            last = first + len(session.blocks)
            own = tuple((p, d) for p, d in parts if first <= p.block < last)
            decisions = [decision.day, *(d for _, d in own)]
            worst = max(decisions, key=lambda one: list(Verdict).index(one.verdict))
            yield Ruling(session, worst.verdict, worst.deciding, own, _on_a_journey(decision.day))
            first = last

    def _check_in(self, before: Sequence[Placed], todays: Sequence[Placed], day: date) -> CheckIn:
        plan = tuple(block for session in todays for block in session.timed_blocks())
        if self.known.today is not None and self.known.today.date == day:
            return replace(self.known.today, plan=plan)
        begins = min((session.starts_at for session in todays), default=None)
        morning = morning_of(self.known.athlete, day, RecoveryNumbers.bundled())
        reported_at = morning if begins is None else min(morning, begins)
        return CheckIn(
            self.known.athlete.id,
            day,
            plan,
            reported_at=reported_at,
            soreness=self.soreness_at(before, reported_at),
            pain=(),
            illness="none",
            warning_signs=(),
            journey=self._journey(day),
        )

    def _journey(self, day: date) -> Journey | None:
        """Return the last journey that is over by a date: one of today's check-in, or to come."""
        own = [self.known.today.journey] if self.known.today and self.known.today.journey else []
        zone = zone_named(self.known.athlete.time_zone)
        own += [
            Journey(one.time_zones_crossed, one.arrives_at.astimezone(zone).date())
            for one in self.travel
        ]
        over = [journey for journey in own if journey.arrived_on <= day]
        return max(over, key=lambda journey: journey.arrived_on, default=None)

    def _history(self, before: Sequence[Placed], day: date) -> History:
        known, athlete_id = self.known.history, self.known.athlete.id
        past = [*known.check_ins, *([self.known.today] if self.known.today else [])]
        first = day - timedelta(days=CHECK_IN_DAYS)
        check_ins = (*past, *self._expected(before, day))
        return replace(
            known,
            check_ins=tuple(one for one in check_ins if first <= one.date < day),
            sessions=(*known.sessions, *(one.as_done(athlete_id) for one in before)),
        )

    def _expected(self, before: Sequence[Placed], end: date) -> Iterator[CheckIn]:
        """Yield the check-ins that are expected before a date, from today or tomorrow on."""
        day = self.known.athlete.today(self.known.now)
        if self.known.today is not None:
            day += ONE_DAY
        while day < end:
            earlier = [session for session in before if self.date_of(session) < day]
            todays = [session for session in before if self.date_of(session) == day]
            yield self._check_in(earlier, todays, day)
            day += ONE_DAY

    def date_of(self, session: Placed) -> date:
        """Return the date of a session, where the athlete lives."""
        return session.starts_at.astimezone(zone_named(self.known.athlete.time_zone)).date()


def _on_a_journey(day: Decision) -> str:
    return next((rule.title for rule in day.fired if _TIME_ZONES in rule.reads), "")
