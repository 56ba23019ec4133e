"""Facts of training load, landing work and balance."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from datetime import time, timedelta
from typing import Any

import pytest

from dawnrule.model.entities import Block, CheckIn, Session
from tests.factories import GROWTH, STRENGTH, days_ago, facts, logged, morning, part_of, session


def outcome(fact: str, sessions: Iterable[Session], check_in: CheckIn | None = None) -> Any:
    """The day's fact, or why it could not be told."""
    told = facts(check_in or morning(), logged(*sessions))
    assert (fact in told.day) is not (fact in told.missing)
    return told.day[fact] if fact in told.day else told.missing[fact]


def loads(*daily: float) -> list[Session]:
    """A session on each day that has a load, the oldest day first and yesterday last."""
    of_days = zip(range(len(daily), 0, -1), daily, strict=True)
    return [session(days, rpe=1.0, minutes=load) for days, load in of_days if load]


# ---- days in a row ---------------------------------------------------------------------

IN_A_ROW = "days_trained_in_a_row"


def test_days_in_a_row_end_yesterday() -> None:
    assert outcome(IN_A_ROW, [session(days) for days in (0, 1, 2, 3, 5, 6)]) == 3


def test_two_sessions_on_a_day_are_one_day_in_a_row() -> None:
    morning_too = session(1, starts_at=days_ago(1, time(7)))
    assert outcome(IN_A_ROW, [session(1), morning_too, session(2)]) == 2


def test_a_day_off_yesterday_ends_the_row() -> None:
    assert outcome(IN_A_ROW, [session(2), session(3)]) == 0


def test_a_session_after_midnight_belongs_to_the_new_day() -> None:
    at_midnight = session(0, starts_at=days_ago(1, time(0, 10)))
    assert outcome(IN_A_ROW, [at_midnight, session(2)]) == 2
    assert outcome(IN_A_ROW, [session(0, starts_at=days_ago(0, time(0, 10))), session(2)]) == 0


@pytest.mark.parametrize("sessions", [[], [session(0)]])
def test_days_in_a_row_need_a_session_before_today(sessions: list[Session]) -> None:
    assert outcome(IN_A_ROW, sessions) == "needs one logged session before today, has none"


# ---- weekly load -----------------------------------------------------------------------


def test_weekly_load_is_that_of_the_seven_days_that_end_yesterday() -> None:
    assert outcome("weekly_load", [*loads(1000, 10, 20, 30, 0, 40, 50, 60), session(0)]) == 210


@pytest.mark.parametrize("fact", ["weekly_load", "monotony", "strain", "weekly_load_rise_percent"])
def test_the_facts_of_a_week_need_a_log_of_seven_days(fact: str) -> None:
    assert outcome(fact, loads(10, 20, 30, 0, 40, 60)) == "needs 7 days of the log, has 6"


@pytest.mark.parametrize("fact", ["weekly_load", "monotony", "strain", "weekly_load_rise_percent"])
def test_the_facts_of_a_week_need_each_session_rated(fact: str) -> None:
    sessions = [*loads(*[10, 20] * 20), session(7, rpe=None)]
    assert outcome(fact, sessions) == "needs each session's RPE, that of 2026-03-02 has none"


RISE = "weekly_load_rise_percent"


@pytest.mark.parametrize(
    ("weeks_before", "now", "rise"),
    [
        ([100, 100, 100, 100], 150, 50),
        ([999, 100, 100, 100, 100], 150, 50),  # a fifth week before does not count
        ([200, 100, 0, 100], 150, 50),
        ([100, 100], 115, 15),
        ([100, 100], 0, -100),
    ],
)
def test_the_rise_is_against_the_mean_of_the_four_weeks_before(
    weeks_before: list[float], now: float, rise: float
) -> None:
    weeks = [day for load in [*weeks_before, now] for day in (load, *[0] * 6)]
    began = session(len(weeks), rpe=0.0)  # so that the log covers an empty week, too
    assert outcome(RISE, [*loads(*weeks), began]) == rise


def test_the_rise_needs_two_weeks_before_this_one() -> None:
    assert outcome(RISE, loads(*[10] * 21)) == 0
    assert outcome(RISE, loads(*[10] * 20)) == "needs 2 rated weeks before this one, has 1"


def test_a_week_with_a_session_not_rated_does_not_count_in_the_rise() -> None:
    two_and_one_unrated = [*loads(*[10] * 28), session(10, rpe=None)]
    assert outcome(RISE, two_and_one_unrated) == 0
    one_and_one_unrated = [*loads(*[10] * 21), session(10, rpe=None)]
    assert outcome(RISE, one_and_one_unrated) == "needs 2 rated weeks before this one, has 1"


def test_the_rise_needs_load_in_the_weeks_before() -> None:
    after_a_long_break = [session(60), *loads(10, 10, 10)]
    assert outcome(RISE, after_a_long_break) == "needs load in the weeks before, has none"


def test_a_rise_from_next_to_nothing_is_no_reason_to_fail() -> None:
    said = outcome(RISE, loads(*[0.01] * 14, *[1000] * 7))
    assert said.startswith("needs a number from -100 to 1e+06, has ")


# ---- monotony and strain ---------------------------------------------------------------


def test_days_off_count_in_monotony_and_strain() -> None:
    """Mean 10, squared differences 6 x 100 + 3600 = 4200, over 6 is 700: 10 / sqrt(700), and 70
    times that. Foster 1998, Med Sci Sports Exerc 30(7):1164-1168; the figures are arithmetic."""
    week = [session(7, rpe=0.0), *loads(70)]
    assert outcome("monotony", week) == pytest.approx(10 / 700**0.5, rel=1e-12)
    assert outcome("strain", week) == pytest.approx(70 * 10 / 700**0.5, rel=1e-12)


@pytest.mark.parametrize("fact", ["monotony", "strain"])
@pytest.mark.parametrize("load", [0.0, 420.0])
def test_there_is_no_monotony_of_days_that_are_all_alike(fact: str, load: float) -> None:
    week = [session(days, rpe=load, minutes=1.0) for days in range(1, 8)]
    assert outcome(fact, week) == "needs days whose loads differ, all of the week are alike"


def test_days_that_differ_by_the_rounding_of_sums_only_are_alike() -> None:
    week = [session(days, rpe=7.0, minutes=100.0) for days in range(1, 7)]
    split = [session(7, rpe=7.0, minutes=minutes) for minutes in (33.3, 33.3, 33.4)]
    assert 7 * 33.3 + 7 * 33.3 + 7 * 33.4 != 700
    assert str(outcome("monotony", [*split, *week])).startswith("needs days whose loads differ")


# ---- weighted loads --------------------------------------------------------------------


def test_weighted_loads_begin_with_the_first_day_of_the_log() -> None:
    """Williams 2017, Br J Sports Med 51(3):209-210 (from memory); one step of 2 / 8, 2 / 29."""
    sessions = [session(28, rpe=1.0, minutes=100.0), session(1, rpe=1.0, minutes=200.0)]
    decayed = 100 * 0.75**26
    assert outcome("acute_load", sessions) == pytest.approx(decayed * 0.75 + 200 * 0.25)
    decayed = 100 * (27 / 29) ** 26
    assert outcome("chronic_load", sessions) == pytest.approx(decayed * 27 / 29 + 200 * 2 / 29)


@pytest.mark.parametrize("fact", ["acute_load", "chronic_load"])
def test_weighted_loads_need_a_log_of_28_days_each_session_rated(fact: str) -> None:
    assert outcome(fact, loads(*[10] * 27)) == "needs 28 days of the log, has 27"
    unrated = [*loads(*[10] * 28), session(28, rpe=None)]
    assert outcome(fact, unrated) == "needs each session's RPE, that of 2026-02-09 has none"


# ---- balance ---------------------------------------------------------------------------

MOVEMENTS = ["press", "pull", "hinge", "squat"]
PRESSES = [
    Block("strength", pattern="horizontal-press"),
    Block("hypertrophy", pattern="vertical-press"),
    Block("power", ("chest",)),
    Block("strength", ("biceps", "triceps")),
]


@pytest.mark.parametrize("press", PRESSES)
def test_a_press_of_the_week_or_of_the_plan_is_not_lacking(press: Block) -> None:
    assert outcome("week_lacks_press", [session(7, press)]) is False
    assert outcome("week_lacks_press", [session(8, press)]) is True
    assert outcome("week_lacks_press", [session(8, press)], morning(0, press)) is False


@pytest.mark.parametrize("movement", MOVEMENTS)
def test_only_work_against_a_load_counts_as_a_movement(movement: str) -> None:
    """A run works the muscles of a squat, and is none."""
    run = Block("intervals", ("quadriceps", "hamstrings", "chest", "lats"))
    assert outcome(f"week_lacks_{movement}", [session(7, run)]) is True


@pytest.mark.parametrize("movement", MOVEMENTS)
def test_the_balance_of_a_week_needs_a_log_of_the_week(movement: str) -> None:
    said = outcome(f"week_lacks_{movement}", [session(6)])
    assert said == "needs 7 days of the log, has 6"


# ---- landing ---------------------------------------------------------------------------

DOWNHILL = Block("steady-endurance", modality="downhill-running", minutes=30.0)
RUN = Block("steady-endurance", modality="flat-running", minutes=60.0)


def landed(*days: int) -> list[Session]:
    return [session(d, DOWNHILL, RUN, minutes=90.0) for d in days]


def test_landing_minutes_are_those_of_the_last_six_days_and_of_the_plan() -> None:
    sessions = landed(7, 6, 1, 0)
    assert outcome("landing_minutes_week", sessions) == 60
    assert outcome("landing_minutes_week", sessions, morning(0, DOWNHILL, RUN)) == 90


def test_a_landing_block_without_minutes_has_its_share_of_the_session() -> None:
    silent = replace(DOWNHILL, minutes=None)
    sessions = [session(6, silent, RUN, minutes=80.0)]
    assert outcome("landing_minutes_week", sessions) == 20


def test_landing_minutes_need_a_log_of_six_days() -> None:
    assert outcome("landing_minutes_week", landed(6)) == 30
    assert outcome("landing_minutes_week", landed(5)) == "needs 6 days of the log, has 5"


def test_landing_minutes_need_the_minutes_that_are_planned() -> None:
    plan = morning(0, replace(DOWNHILL, minutes=None))
    said = "the plan does not say its minutes"
    assert outcome("landing_minutes_week", landed(13), plan) == said
    assert outcome("landing_minutes_rise_percent", landed(13), plan) == said
    no_landing = morning(0, replace(RUN, minutes=None))
    assert outcome("landing_minutes_week", landed(13), no_landing) == 0


def test_the_rise_in_landing_minutes_is_against_the_seven_days_before() -> None:
    sessions = landed(13, 7, 6, 1)
    plan = morning(0, replace(DOWNHILL, minutes=20.0))
    assert outcome("landing_minutes_rise_percent", sessions, plan) == pytest.approx(100 / 3)
    too_old = [*sessions, *landed(14)]
    assert outcome("landing_minutes_rise_percent", too_old, plan) == pytest.approx(100 / 3)


def test_the_rise_in_landing_minutes_needs_a_log_of_both_weeks() -> None:
    said = "needs 13 days of the log, has 12"
    assert outcome("landing_minutes_rise_percent", landed(12)) == said
    assert outcome("landing_minutes_rise_percent", landed(13)) == -100


def test_the_rise_in_landing_minutes_needs_some_in_the_week_before() -> None:
    sessions = [session(13, RUN), *landed(6)]
    said = "needs such minutes in the week before, has none"
    assert outcome("landing_minutes_rise_percent", sessions) == said


FROM_NONE = "landing_minutes_from_none"


def test_the_first_landing_work_in_two_weeks_is_told() -> None:
    before = [session(20, RUN)]
    assert outcome(FROM_NONE, before, morning(0, DOWNHILL)) is True
    assert outcome(FROM_NONE, before, morning(0, RUN)) is False
    assert outcome(FROM_NONE, [*before, *landed(14)], morning(0, DOWNHILL)) is True
    assert outcome(FROM_NONE, [*before, *landed(13)], morning(0, DOWNHILL)) is False


def test_the_first_landing_work_needs_a_log_of_13_days() -> None:
    assert outcome(FROM_NONE, [session(13, RUN)], morning(0, DOWNHILL)) is True
    said = "needs 13 days of the log, has 12"
    assert outcome(FROM_NONE, [session(12, RUN)], morning(0, DOWNHILL)) == said


AGAIN = "landing_again_in_first_week"


def test_landing_work_again_in_the_first_week_of_it_is_told() -> None:
    before, today = [session(40, RUN)], morning(0, DOWNHILL)
    assert outcome(AGAIN, [*before, *landed(4)], today) is True
    assert outcome(AGAIN, [*before, *landed(6)], today) is True
    assert outcome(AGAIN, [*before, *landed(7)], today) is False
    assert outcome(AGAIN, before, today) is False
    assert outcome(AGAIN, [*before, *landed(4)], morning(0, RUN)) is False


def test_the_first_week_of_landing_work_begins_after_two_weeks_without() -> None:
    before, today = [session(40, RUN)], morning(0, DOWNHILL)
    assert outcome(AGAIN, [*before, *landed(4, 18)], today) is True
    assert outcome(AGAIN, [*before, *landed(4, 17)], today) is False
    assert outcome(AGAIN, [*before, *landed(2, 4, 18)], today) is True


def test_landing_work_again_needs_a_log_of_two_weeks_before_the_first() -> None:
    today = morning(0, DOWNHILL)
    assert outcome(AGAIN, [session(17, RUN), *landed(4)], today) is True
    said = "needs 17 days of the log, has 16"
    assert outcome(AGAIN, [session(16, RUN), *landed(4)], today) == said


# ---- hard sets -------------------------------------------------------------------------


def sets_outcome(*sessions: Session) -> Any:
    part = part_of(morning(0, GROWTH), logged(*sessions))
    assert ("hard_sets_week" in part.facts) is not ("hard_sets_week" in part.missing)
    return part.facts.get("hard_sets_week", part.missing.get("hard_sets_week"))


def test_hard_sets_are_those_of_lifting_for_the_muscle_group_in_seven_days() -> None:
    other_muscle = Block("strength", ("chest",), sets=9)
    other_goal = Block("muscular-endurance", ("quadriceps",), sets=9)
    by_pattern = Block("power", pattern="squat", sets=2)
    sessions = [session(7, GROWTH, STRENGTH), session(1, other_muscle, other_goal, by_pattern)]
    assert sets_outcome(*sessions, session(8), session(0)) == 4 + 5 + 2


def test_hard_sets_need_a_log_of_the_week_and_the_sets_of_each_block() -> None:
    assert sets_outcome(session(6)) == "needs 7 days of the log, has 6"
    silent = replace(GROWTH, sets=None)
    assert sets_outcome(session(7, silent)) == "a block of the week does not say its sets"
    assert sets_outcome(session(8, silent), session(7)) == 4


def test_a_check_in_posted_late_is_told_the_training_before_its_date_only() -> None:
    late = morning(2)
    history = logged(*loads(*[10] * 12))
    told = facts(late, history)
    assert told.day["weekly_load"] == 70
    assert told.day["days_trained_in_a_row"] == 10
    same = facts(late, logged(*(s for s in history.sessions if s.starts_at < days_ago(2, time(0)))))
    assert dict(told.day) == dict(same.day)


def test_a_session_that_is_logged_later_counts_from_then_on() -> None:
    before = loads(*[10] * 7)
    added = session(1, rpe=1.0, minutes=5.0, starts_at=days_ago(1) + timedelta(hours=2))
    assert outcome("weekly_load", before) == 70
    assert outcome("weekly_load", [*before, added]) == 75
