"""Opening times: when time alone turns the verdict to train as planned."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from dawnrule.model import Facts, Verdict
from dawnrule.model.training import hours_between
from dawnrule.rules.conditions import Condition, Operator, Test, all_of, any_of, none_of
from dawnrule.rules.counterfactuals import Opening, WhatIf, opening_of
from tests.factories import BERLIN, a_rule, a_rule_set, at

GROWTH_HOURS = "hours_since_growth_work"
ANY_HOURS = "hours_since_trained"
START = at("2026-03-09T18:00:00+01:00")


def hours(operator: Operator, value: float, fact: str = GROWTH_HOURS) -> Test:
    return Test(fact, operator, value)


SOON = hours(Operator.BELOW, 48)
SORE = Test("soreness", Operator.AT_LEAST, 3)


@dataclass(frozen=True)
class Muscle:
    """A muscle group by the times of its growth work and of other work, and its soreness."""

    grown: tuple[datetime, ...] = ()
    other: tuple[datetime, ...] = ()
    soreness: int = 0

    def facts_at(self, start: datetime) -> Facts:
        facts: dict[str, float] = {"soreness": self.soreness}
        grown = [time for time in self.grown if time < start]
        trained = [time for time in (*self.grown, *self.other) if time < start]
        if grown:
            facts[GROWTH_HOURS] = hours_between(max(grown), start)
        if trained:
            facts[ANY_HOURS] = hours_between(max(trained), start)
        return facts


def opening(muscle: Muscle, *conditions: Condition, start: datetime = START) -> Opening:
    """Find the opening under one rule that rests for each condition."""
    rules = [a_rule(when, f"rule-{number}") for number, when in enumerate(conditions)]
    what_if = WhatIf(a_rule_set(rules))
    assert what_if.decision(muscle.facts_at(start)).verdict is Verdict.REST
    since = (*muscle.grown, *muscle.other)
    return opening_of(what_if, muscle.facts_at, start, since)


A_DAY = timedelta(hours=24)
TO_48_HOURS = Muscle(grown=(START - A_DAY,))


@pytest.mark.parametrize(
    ("condition", "opens_after"),
    [
        (hours(Operator.BELOW, 48), timedelta(hours=48)),
        (none_of(hours(Operator.AT_LEAST, 48)), timedelta(hours=48)),
        (hours(Operator.AT_MOST, 48), timedelta(hours=48, minutes=1)),
        (none_of(hours(Operator.ABOVE, 48)), timedelta(hours=48, minutes=1)),
        (none_of(hours(Operator.IS, 48)), timedelta(hours=48)),
        (none_of(Test(GROWTH_HOURS, Operator.IN, (60, 48, 72))), timedelta(hours=48)),
        (hours(Operator.BELOW, 33.3), timedelta(hours=33, minutes=18)),
        (hours(Operator.BELOW, 33.333), timedelta(hours=33, minutes=20)),
        (hours(Operator.BELOW, math.nextafter(48, math.inf)), timedelta(hours=48, minutes=1)),
        (hours(Operator.BELOW, math.nextafter(48, 0)), timedelta(hours=48)),
    ],
)
def test_a_part_opens_in_the_minute_in_which_a_threshold_is_crossed(
    condition: Condition, opens_after: timedelta
) -> None:
    assert opening(TO_48_HOURS, condition).at == START - A_DAY + opens_after


def test_a_threshold_that_is_met_when_it_is_planned_is_passed_a_minute_later() -> None:
    muscle = Muscle(grown=(START - 2 * A_DAY,))
    assert opening(muscle, hours(Operator.AT_MOST, 48)).at == START + timedelta(minutes=1)


def test_it_opens_in_whole_minutes_also_when_the_training_began_between_two() -> None:
    muscle = Muscle(grown=(at("2026-03-08T18:00:30+01:00"),))
    assert opening(muscle, SOON).at == at("2026-03-10T18:01:00+01:00")
    assert opening(muscle, hours(Operator.AT_MOST, 48)).at == at("2026-03-10T18:01:00+01:00")


def test_of_several_trainings_the_one_that_holds_it_back_longest_counts() -> None:
    muscle = Muscle(grown=(START - A_DAY, START - 2 * A_DAY, START - 40 * A_DAY))
    assert opening(muscle, SOON).at == START + A_DAY


def test_of_several_rules_the_one_that_holds_it_back_longest_counts() -> None:
    muscle = Muscle(grown=(START - A_DAY,), other=(START - A_DAY / 2,))
    any_work = hours(Operator.BELOW, 40, ANY_HOURS)
    assert opening(muscle, SOON, any_work).at == START - A_DAY / 2 + timedelta(hours=40)
    assert opening(muscle, SOON, hours(Operator.BELOW, 30, ANY_HOURS)).at == START + A_DAY


def test_it_opens_in_a_gap_between_two_rules() -> None:
    too_late = hours(Operator.AT_LEAST, 72)
    assert opening(TO_48_HOURS, SOON, too_late).at == START + A_DAY


def test_where_the_gap_is_no_minute_wide_it_does_not_open() -> None:
    assert opening(TO_48_HOURS, SOON, hours(Operator.AT_LEAST, 48)).at is None
    only_then = none_of(hours(Operator.IS, 48))
    off_the_minute = Muscle(grown=(START - A_DAY + timedelta(seconds=30),))
    assert opening(off_the_minute, only_then).at is None


def test_a_training_logged_after_the_planned_start_holds_back_from_then_on() -> None:
    """Planned at 18:00 and 40 h after growth work, posted late; there was more at 20:00."""
    later = START + timedelta(hours=2)
    muscle = Muscle(grown=(START - timedelta(hours=40), later))
    assert opening(muscle, SOON).at == later + timedelta(hours=48)


def test_it_opens_before_a_training_logged_later_where_there_is_time_enough() -> None:
    muscle = Muscle(grown=(START - timedelta(hours=40), START + timedelta(hours=9)))
    assert opening(muscle, SOON).at == START + timedelta(hours=8)


def test_it_opens_with_a_training_logged_later_where_the_last_was_too_long_ago() -> None:
    later = START + timedelta(hours=2)
    muscle = Muscle(grown=(START - 10 * A_DAY, later))
    assert opening(muscle, hours(Operator.ABOVE, 168)).at == later + timedelta(minutes=1)


def test_what_does_not_change_with_time_never_opens() -> None:
    assert opening(Muscle(soreness=5), SORE) == Opening(None, START)


def test_time_has_done_what_it_can_when_the_last_rule_about_time_is_silent() -> None:
    muscle = Muscle(grown=(START - A_DAY,), other=(START - A_DAY / 2,), soreness=5)
    closed = opening(muscle, SOON, SORE, hours(Operator.BELOW, 30, ANY_HOURS))
    assert closed == Opening(None, START + A_DAY)


def test_a_rule_that_needs_soreness_and_hours_opens_by_hours_alone() -> None:
    muscle = Muscle(grown=(START - A_DAY,), soreness=5)
    assert opening(muscle, all_of(SORE, SOON)).at == START + A_DAY
    assert opening(muscle, any_of(SORE, SOON)).at is None


def test_a_rule_about_hours_never_opens_what_was_never_trained() -> None:
    unknown = Test(GROWTH_HOURS, Operator.REPORTED, False)
    assert opening(Muscle(), unknown) == Opening(None, START)


@pytest.mark.parametrize(
    ("training", "start", "opens_at"),
    [
        # the clock is put forward in the night between, and put back
        ("2026-03-27T18:00:00+01:00", "2026-03-29T18:00:00+02:00", "2026-03-29T19:00:00+02:00"),
        ("2026-10-23T18:00:00+02:00", "2026-10-24T18:00:00+02:00", "2026-10-25T17:00:00+01:00"),
        ("2026-10-23T02:30:00+02:00", "2026-10-24T18:00:00+02:00", "2026-10-25T02:30:00+02:00"),
        ("2026-10-23T03:30:00+02:00", "2026-10-24T18:00:00+02:00", "2026-10-25T02:30:00+01:00"),
        # the 29th of February
        ("2024-02-28T18:00:00Z", "2024-02-29T18:00:00Z", "2024-03-01T18:00:00Z"),
        ("2023-02-27T18:00:00Z", "2023-02-28T18:00:00Z", "2023-03-01T18:00:00Z"),
    ],
)
@pytest.mark.parametrize("zone", [None, BERLIN], ids=["as offsets", "in a time zone"])
def test_the_hours_until_it_opens_are_those_that_pass(
    training: str, start: str, opens_at: str, zone: ZoneInfo | None
) -> None:
    trained, planned = at(training), at(start)
    if zone:
        trained, planned = trained.astimezone(zone), planned.astimezone(zone)
    opened = opening(Muscle(grown=(trained,)), SOON, start=planned).at
    assert opened == at(opens_at)
    assert opened is not None
    assert opened.tzinfo is UTC
