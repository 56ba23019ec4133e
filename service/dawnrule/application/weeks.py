"""Weeks laid out for one athlete or for a group that shares a room; nothing is stored."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, timedelta
from itertools import starmap
from threading import Lock
from typing import TYPE_CHECKING

from dawnrule.advice.advisor import Advisor
from dawnrule.application.athletes import require_athlete
from dawnrule.application.check_ins import history_before
from dawnrule.application.groups import members
from dawnrule.application.recoveries import Recoveries
from dawnrule.application.week_fallbacks import Fallbacks
from dawnrule.errors import FieldError, InvalidInput
from dawnrule.facts.history import TrainingLog
from dawnrule.i18n.catalog import Texts
from dawnrule.i18n.lazy import lazy
from dawnrule.model.entities import Athlete, Block, CheckIn, History
from dawnrule.model.weeks import WeekOrder
from dawnrule.rules.rule_set import RuleSet
from dawnrule.rules.text import Wording
from dawnrule.store import Transaction
from dawnrule.week.request import Placed, Room, WeekRequest

if TYPE_CHECKING:
    from dawnrule.week.expected_soreness import ExpectedSoreness
    from dawnrule.week.judge import Ruling
    from dawnrule.week.planner import Planner, Refusal, Week
    from dawnrule.week.report import NoLongerHolds, Reporter, WeekReport

SEVEN_DAYS = timedelta(days=7)
_ONE_LAYOUT = Lock()


@dataclass(frozen=True, slots=True)
class Situation:
    """What laying out a week needs to know of one athlete."""

    athlete: Athlete
    check_in: CheckIn | None
    history: History
    rule_set: RuleSet
    soreness: ExpectedSoreness


@dataclass(frozen=True, slots=True)
class Weeks:
    """Lays out weeks. ``rule_set_for`` says which rule set decides for an athlete on a date."""

    advisor: Advisor
    recoveries: Recoveries
    rule_set_for: Callable[[Transaction, str, date], RuleSet]

    def situations(
        self, transaction: Transaction, order: WeekOrder, now: datetime
    ) -> list[Situation]:
        """Read what is known of the athletes. Raises ``NotFound``, and ``InvalidInput`` for a week
        that is over."""
        if order.group is not None:
            athletes = members(transaction, order.group)
        else:
            athletes = [require_athlete(transaction, order.athlete_id or "")]
        return [self._situation(transaction, order, athlete, now) for athlete in athletes]

    def lay_out(
        self, situations: Sequence[Situation], order: WeekOrder, texts: Texts, now: datetime
    ) -> list[WeekReport]:
        """Lay out the week of each athlete; who comes later finds the room that is left. Where
        that leaves something out, those whom it hits come first in a second round. One layout is
        made at a time, so that check-ins find a core."""
        with _ONE_LAYOUT:
            return self._lay_out(situations, order, texts, now)

    def check(
        self, situations: Sequence[Situation], order: WeekOrder, texts: Texts, now: datetime
    ) -> list[WeekReport]:
        """Judge the sessions that are kept where they stand; nothing is moved or added, and no
        solver is asked. What is refused is among those that no longer hold."""
        return [self._checked(situation, order, texts, now) for situation in situations]

    def no_longer_holds(
        self, transaction: Transaction, order: WeekOrder, texts: Texts, now: datetime
    ) -> tuple[NoLongerHolds, ...]:
        """Say which of the sessions that the week of one athlete keeps are refused where they
        stand. Raises as ``situations`` does."""
        [situation] = self.situations(transaction, order, now)
        planner = self._planner(situation, order, now)
        request = _request_of(order, situation.athlete)
        refused = _refused(planner.standing(request, request.keep))
        reporter = self._reporter(situation, planner, texts, now)
        return tuple(starmap(reporter.refused, refused))

    def _checked(
        self, situation: Situation, order: WeekOrder, texts: Texts, now: datetime
    ) -> WeekReport:
        from dawnrule.week.planner import Week

        planner = self._planner(situation, order, now)
        request = _request_of(order, situation.athlete)
        standing = planner.standing(request, request.keep)
        let_through = tuple(ruling for ruling, refusal in standing if refusal is None)
        refused = _refused(standing)
        week = Week(request, let_through, {}, not refused)
        return self._reporter(situation, planner, texts, now).report(week, [], refused)

    def _lay_out(
        self, situations: Sequence[Situation], order: WeekOrder, texts: Texts, now: datetime
    ) -> list[WeekReport]:
        first = self._in_turn(situations, order, now)
        without = [
            one for one, (_, week, _) in zip(situations, first, strict=True) if week.missing()
        ]
        if order.room and without and len(situations) > 1:
            others = [one for one in situations if one not in without]
            second = self._in_turn([*without, *others], order, now)
            if _missing(second) < _missing(first):
                situations, first = [*without, *others], second
        reports = [
            self._report(situation, *laid, texts, now)
            for situation, laid in zip(situations, first, strict=True)
        ]
        return sorted(reports, key=lambda report: report.athlete_id)

    def _situation(
        self, transaction: Transaction, order: WeekOrder, athlete: Athlete, now: datetime
    ) -> Situation:
        from dawnrule.week.expected_soreness import ExpectedSoreness
        from dawnrule.week.numbers import WeekNumbers

        today = athlete.today(now)
        if order.first + timedelta(days=order.days) <= today:
            detail = lazy("field.week_is_over", today=today.isoformat())
            raise InvalidInput(detail, [FieldError("/from", order.first.isoformat(), detail)])
        stored = transaction.check_ins.latest(athlete.id, today)
        check_in = stored.check_in if stored else None
        history = history_before(transaction, check_in or CheckIn(athlete.id, today, ()), now)
        numbers = self.recoveries.numbers
        soreness = ExpectedSoreness(
            self.recoveries.of_each_kind(transaction, athlete, now),
            numbers.low_under,
            history.sessions,
            WeekNumbers.bundled().likely,
            self.recoveries.vocabulary,
        )
        rule_set = self.rule_set_for(transaction, athlete.id, today)
        return Situation(athlete, check_in, history, rule_set, soreness)

    def _in_turn(
        self, situations: Sequence[Situation], order: WeekOrder, now: datetime
    ) -> list[tuple[Planner, Week, Room]]:
        room, found = Room({one.name: one.places for one in order.room}), []
        for situation in situations:
            planner = self._planner(situation, order, now)
            week = planner.plan(_request_of(order, situation.athlete), room)
            found.append((planner, week, room))
            room = room.with_sessions(
                [
                    (name, one.starts_at, one.ends_at)
                    for one in week.placed
                    if one.wish is not None and (name := order.wishes[one.wish].room)
                ]
            )
        return found

    def _planner(self, situation: Situation, order: WeekOrder, now: datetime) -> Planner:
        from dawnrule.week.judge import Judge, Known
        from dawnrule.week.planner import Planner

        what_if = self.advisor.library.what_if(situation.rule_set)
        known = Known(situation.athlete, situation.history, situation.check_in, now)
        judge = Judge(
            known,
            self.advisor.library.decider(situation.rule_set),
            self.advisor.composer.dictionary.edition_of(what_if.facts_read),
            situation.soreness.at,
            order.travel,
        )
        today = situation.athlete.today(now)
        log = TrainingLog.of(situation.athlete, situation.history, today)
        trained = frozenset(day for day, _ in log.sessions if day > today - SEVEN_DAYS)
        return Planner(judge, trained, self._usual_sets(log))

    def _usual_sets(self, log: TrainingLog) -> dict[str, float]:
        """Average the hard sets of each muscle group over the last weeks; none where the log does
        not go back so far."""
        from dawnrule.week.house_limits import HouseLimits
        from dawnrule.week.numbers import WeekNumbers

        numbers = WeekNumbers.bundled()
        days = numbers.sets_weeks * SEVEN_DAYS.days
        if not log.covers(days):
            return {}
        done = (block for session in log.last(days) for block in session.blocks)
        sets = HouseLimits(numbers, self.recoveries.vocabulary).sets_of(done)
        return {group: count / numbers.sets_weeks for group, count in sets.items() if count}

    def _report(
        self,
        situation: Situation,
        planner: Planner,
        week: Week,
        room: Room,
        texts: Texts,
        now: datetime,
    ) -> WeekReport:
        from dawnrule.week.explanation import unplaced

        refused = _refused(planner.standing(week.request, week.request.keep))
        left_out = list(unplaced(planner, week, room))
        return self._reporter(situation, planner, texts, now).report(week, left_out, refused)

    def _reporter(
        self, situation: Situation, planner: Planner, texts: Texts, now: datetime
    ) -> Reporter:
        from dawnrule.week.report import Reporter

        composer = replace(self.advisor.composer, texts=texts)
        just_too_sore = max(self.recoveries.numbers.low_under.values()) + 1
        fallbacks = Fallbacks(
            replace(self.advisor, composer=composer),
            situation.rule_set,
            planner.judge,
            just_too_sore,
        )
        return Reporter(
            situation.athlete,
            self.advisor.library.what_if(situation.rule_set),
            situation.soreness,
            Wording(composer.dictionary, composer.vocabulary, texts),
            composer.vocabulary,
            texts,
            now.astimezone(UTC),
            fallbacks.of,
        )


def sessions_of(order: WeekOrder) -> list[Block]:
    """List the blocks, each with its start, of the sessions that an order keeps or fixes; the only
    block of a session takes all of its time."""
    wishes = {wish.name: wish for wish in order.wishes}
    placed = [Placed.fixed(session) for session in order.fixed]
    placed += [
        Placed.of(wishes[one.name], 0, one.starts_at) for one in order.keep if one.name in wishes
    ]
    return [
        replace(block, minutes=session.minutes) if len(session.blocks) == 1 else block
        for session in placed
        for block in session.timed_blocks()
    ]


def _refused(
    standing: Sequence[tuple[Ruling, Refusal | None]],
) -> list[tuple[Placed, Refusal]]:
    """Return the sessions that do not stand, with what refuses each."""
    return [(ruling.session, refusal) for ruling, refusal in standing if refusal is not None]


def _missing(laid: Sequence[tuple[Planner, Week, Room]]) -> int:
    return sum(sum(week.missing().values()) for _, week, _ in laid)


def _request_of(order: WeekOrder, athlete: Athlete) -> WeekRequest:
    names = {wish.name: place for place, wish in enumerate(order.wishes)}
    keep = (
        Placed.of(order.wishes[names[kept.name]], names[kept.name], kept.starts_at)
        for kept in order.keep
        if kept.name in names
    )
    return WeekRequest(
        athlete,
        order.first,
        order.days,
        order.windows,
        order.wishes,
        order.fixed,
        order.travel,
        tuple(keep),
        order.repeats,
    )
