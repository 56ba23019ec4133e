"""Hours since each muscle group was last trained."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from dawnrule.model.entities import Block, CheckIn, History
from tests.factories import (
    BERLIN,
    DAY,
    GROWTH,
    KIM,
    NOW,
    STRENGTH,
    at,
    days_ago,
    last_trained,
    logged,
    morning,
    part_of,
    session,
)

TONIGHT = replace(GROWTH, starts_at=days_ago(0))


def hours(check_in: CheckIn, history: History | None = None) -> dict[str, Any]:
    """The hours since training in the one planned part."""
    part = part_of(check_in, history)
    return {
        name.removeprefix("hours_since_"): value
        for name, value in part.facts.items()
        if name.startswith("hours_since_")
    }


def hours_from(training: datetime, start: datetime) -> Any:
    """The hours since growth work in a part that starts at a time, by the log and as told."""
    plan = replace(GROWTH, starts_at=start)
    check_in = CheckIn(KIM.id, start.date(), (plan,))
    by_log = part_of(check_in, logged(session(0, starts_at=training)))
    as_told = part_of(replace(check_in, last_trained=last_trained("quadriceps", training)))
    assert by_log.facts["hours_since_growth_work"] == as_told.facts["hours_since_growth_work"]
    return by_log.facts["hours_since_growth_work"]


def test_hours_run_from_the_start_of_the_last_training_to_the_planned_start() -> None:
    history = logged(session(3), session(2), session(5))
    assert hours(morning(0, TONIGHT), history)["growth_work"] == 48


def test_each_kind_of_work_has_its_own_hours() -> None:
    ride = Block("steady-endurance", ("quadriceps",))
    history = logged(session(3), session(2, STRENGTH), session(1, ride))
    assert hours(morning(0, TONIGHT), history) == {
        "growth_work": 72,
        "force_work": 48,
        "trained": 24,
    }


def test_nothing_is_known_of_a_muscle_group_that_was_not_trained() -> None:
    history = logged(session(1, Block("hypertrophy", ("chest",))))
    assert hours(morning(0, TONIGHT), history) == {}


@pytest.mark.parametrize(("told_days", "logged_days"), [(2, 4), (4, 2)])
def test_the_later_of_what_is_told_and_what_is_logged_counts(
    told_days: int, logged_days: int
) -> None:
    check_in = morning(0, TONIGHT, last_trained=last_trained("quadriceps", days_ago(told_days)))
    part = part_of(check_in, logged(session(logged_days)))
    assert part.facts["hours_since_growth_work"] == 48
    assert part.facts["log_differs_hours"] == 48


def test_how_far_log_and_athlete_differ_is_told_only_where_both_speak() -> None:
    reason = "needs a last training of this muscle group both told and logged"
    as_told = morning(0, TONIGHT, last_trained=last_trained("quadriceps", days_ago(2)))
    assert part_of(as_told).missing["log_differs_hours"] == reason
    by_log = part_of(morning(0, TONIGHT), logged(session(2)))
    assert by_log.missing["log_differs_hours"] == reason


def test_a_pattern_trains_its_muscle_groups() -> None:
    history = logged(session(2, Block("hypertrophy", pattern="squat")))
    assert hours(morning(0, TONIGHT), history)["growth_work"] == 48


def test_a_modality_trains_what_it_loads_whether_named_or_not() -> None:
    run = Block("steady-endurance", modality="flat-running")
    assert hours(morning(0, TONIGHT), logged(session(1, run))) == {"trained": 24}


def test_a_block_with_a_start_of_its_own_counts_from_there() -> None:
    late_block = replace(GROWTH, starts_at=days_ago(2, time(19)))
    assert hours(morning(0, TONIGHT), logged(session(2, late_block)))["growth_work"] == 47


def test_two_sessions_at_once_are_as_long_ago_as_one() -> None:
    history = logged(session(2), session(2, STRENGTH), session(2))
    assert hours(morning(0, TONIGHT), history) == {
        "growth_work": 48,
        "force_work": 48,
        "trained": 48,
    }


@pytest.mark.parametrize("minutes_later", [0, 1, 600])
def test_a_session_at_the_planned_start_or_later_is_not_before_it(minutes_later: int) -> None:
    done = session(0, starts_at=days_ago(0) + timedelta(minutes=minutes_later))
    assert hours(morning(0, TONIGHT), logged(session(2), done))["growth_work"] == 48


def test_a_training_that_is_told_but_starts_after_the_plan_was_just_now() -> None:
    check_in = morning(0, TONIGHT, last_trained=last_trained("quadriceps", days_ago(0, time(20))))
    assert hours(check_in)["growth_work"] == 0


def test_hours_run_to_the_report_where_the_plan_has_no_start() -> None:
    reported_at = days_ago(0, time(5))
    check_in = morning(0, GROWTH, reported_at=reported_at)
    assert hours(check_in, logged(session(1)))["growth_work"] == 11


def test_hours_run_to_now_where_neither_plan_nor_report_has_a_time() -> None:
    start = NOW - timedelta(hours=10)
    assert hours(morning(0, GROWTH), logged(session(0, starts_at=start)))["growth_work"] == 10


def test_hours_of_yesterday_posted_late_end_with_yesterday() -> None:
    check_in = morning(1, GROWTH, reported_at=NOW)
    history = logged(session(2), session(0, starts_at=days_ago(0, time(0, 30))))
    assert hours(check_in, history)["growth_work"] == 30


def test_hours_of_yesterday_posted_late_keep_the_planned_start() -> None:
    check_in = morning(1, replace(GROWTH, starts_at=days_ago(1)), reported_at=NOW)
    assert hours(check_in, logged(session(2), session(1)))["growth_work"] == 24


def test_the_end_of_yesterday_is_the_athletes_whatever_zone_the_service_runs_in() -> None:
    check_in = CheckIn("a-02", date(2026, 3, 8), (GROWTH,), reported_at=at("2026-03-09T00:00:00Z"))
    in_auckland = replace(KIM, time_zone="Pacific/Auckland")
    assert part_of(check_in, athlete=in_auckland).starts_at == at("2026-03-09T00:00:00+13:00")


NEW_YORK = ZoneInfo("America/New_York")


def evening(month: int, day: int, zone: ZoneInfo) -> datetime:
    """18:00 by the clock of a zone."""
    return datetime(2026, month, day, 18, tzinfo=zone)


@pytest.mark.parametrize(
    ("training", "start", "passed"),
    [
        # the clock is put forward in the night between
        (at("2026-03-27T18:00:00+01:00"), at("2026-03-29T18:00:00+02:00"), 47),
        (evening(3, 27, BERLIN), evening(3, 29, BERLIN), 47),
        (evening(3, 6, NEW_YORK), evening(3, 8, NEW_YORK), 47),
        # the clock is put back
        (at("2026-10-23T18:00:00+02:00"), at("2026-10-25T18:00:00+01:00"), 49),
        (evening(10, 23, BERLIN), evening(10, 25, BERLIN), 49),
        (evening(10, 30, NEW_YORK), evening(11, 1, NEW_YORK), 49),
    ],
)
def test_hours_are_those_that_passed_when_the_clock_was_changed(
    training: datetime, start: datetime, passed: int
) -> None:
    assert hours_from(training, start) == passed


def test_the_hour_that_is_skipped_counts_from_the_clock_before() -> None:
    skipped = datetime(2026, 3, 29, 2, 30, tzinfo=BERLIN)  # 01:30 UTC, then shown as 03:30
    assert hours_from(skipped, at("2026-03-29T04:30:00+02:00")) == 1


def test_the_two_equal_clock_times_of_autumn_are_an_hour_apart() -> None:
    first = datetime(2026, 10, 25, 2, 30, tzinfo=BERLIN)
    again = datetime(2026, 10, 25, 2, 30, fold=1, tzinfo=BERLIN)
    noon = datetime(2026, 10, 25, 12, tzinfo=BERLIN)
    assert hours_from(first, noon) == hours_from(again, noon) + 1
    assert hours_from(first, again) == 1


@pytest.mark.parametrize(
    ("training", "start", "passed"),
    [
        (
            at("2026-03-07T18:00:00+13:00"),
            at("2026-03-07T18:00:00-08:00"),
            21,
        ),  # over the date line
        (at("2026-03-07T18:00:00-08:00"), at("2026-03-09T18:00:00+13:00"), 27),
        (at("2026-03-08T23:30:00+14:00"), at("2026-03-09T00:30:00+14:00"), 1),  # Kiritimati
        (at("2024-02-28T18:00:00Z"), at("2024-02-29T18:00:00Z"), 24),
        (at("2024-02-28T18:00:00Z"), at("2024-03-01T18:00:00Z"), 48),
        (at("2028-02-28T18:00:00+01:00"), at("2028-03-01T18:00:00+01:00"), 48),
    ],
)
def test_hours_are_those_that_passed_on_a_journey_and_over_a_leap_day(
    training: datetime, start: datetime, passed: int
) -> None:
    assert hours_from(training, start) == passed


def test_a_training_longer_ago_than_the_fact_can_say_is_not_told() -> None:
    long_ago = datetime(1990, 1, 1, tzinfo=BERLIN)
    part = part_of(morning(0, TONIGHT, last_trained=last_trained("quadriceps", long_ago)))
    assert "hours_since_trained" not in part.facts
    assert part.missing["hours_since_trained"].startswith("needs a number from 0 to 100000, has ")


def test_a_block_without_muscle_groups_has_no_hours() -> None:
    assert hours(CheckIn(KIM.id, DAY, (Block("skill"),)), logged(session(1))) == {}
