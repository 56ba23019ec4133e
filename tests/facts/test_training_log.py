"""The training log by the local dates of the athlete."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from datetime import date, datetime, time
from itertools import permutations

import pytest

from dawnrule.facts.history import TrainingLog, Unavailable, block_minutes
from dawnrule.model.entities import Block, History, Session
from tests.factories import BERLIN, DAY, GROWTH, KIM, at, days_ago, session


def log_of(
    sessions: Iterable[Session], time_zone: str = KIM.time_zone, today: date = DAY
) -> TrainingLog:
    athlete = replace(KIM, time_zone=time_zone)
    return TrainingLog.of(athlete, History(sessions=tuple(sessions)), today)


def blocks_with_minutes(log: TrainingLog) -> list[tuple[Block, float]]:
    last_days = log.between(DAY.replace(day=8), DAY)
    return [one for session in last_days for one in block_minutes(session)]


def dates(log: TrainingLog) -> list[str]:
    return [day.isoformat() for day, _ in log.sessions]


@pytest.mark.parametrize(
    ("start", "time_zone", "day"),
    [
        ("2026-03-08T23:30:00+01:00", "Europe/Berlin", "2026-03-08"),
        ("2026-03-09T00:10:00+01:00", "Europe/Berlin", "2026-03-09"),  # after midnight
        ("2026-03-08T22:30:00Z", "Europe/Berlin", "2026-03-08"),
        ("2026-03-08T23:30:00Z", "Europe/Berlin", "2026-03-09"),
        ("2026-03-08T12:00:00Z", "Pacific/Auckland", "2026-03-09"),
        ("2026-03-08T12:00:00Z", "Pacific/Kiritimati", "2026-03-09"),
        ("2026-03-08T09:59:00Z", "Pacific/Kiritimati", "2026-03-08"),
        ("2026-03-09T03:00:00Z", "America/New_York", "2026-03-08"),
        ("2026-03-29T02:30:00+01:00", "Europe/Berlin", "2026-03-29"),  # no clock there showed it
        ("2026-10-25T02:30:00+02:00", "Europe/Berlin", "2026-10-25"),  # and these it showed twice
        ("2026-10-25T02:30:00+01:00", "Europe/Berlin", "2026-10-25"),
        ("2026-03-28T23:59:00Z", "Europe/Berlin", "2026-03-29"),
        ("2028-02-29T23:30:00+01:00", "Europe/Berlin", "2028-02-29"),
    ],
)
def test_a_session_belongs_to_the_date_where_the_athlete_lives(
    start: str, time_zone: str, day: str
) -> None:
    assert dates(log_of([session(0, starts_at=at(start))], time_zone)) == [day]


def test_after_a_journey_all_dates_are_those_of_the_new_home() -> None:
    evenings = [
        session(0, starts_at=at("2026-03-06T20:00:00+13:00")),
        session(0, starts_at=at("2026-03-07T20:00:00+13:00")),
        session(0, starts_at=at("2026-03-07T20:00:00-08:00")),  # 21 h later, over the date line
    ]
    in_auckland = log_of(evenings, "Pacific/Auckland")
    assert dates(in_auckland) == ["2026-03-06", "2026-03-07", "2026-03-08"]
    in_los_angeles = log_of(evenings, "America/Los_Angeles")
    assert dates(in_los_angeles) == ["2026-03-05", "2026-03-06", "2026-03-07"]


def test_sessions_stand_in_the_order_in_which_they_began() -> None:
    first = session(0, starts_at=datetime(2026, 10, 25, 2, 45, tzinfo=BERLIN))
    second = session(0, starts_at=datetime(2026, 10, 25, 2, 15, fold=1, tzinfo=BERLIN))
    log = log_of([second, first], today=date(2026, 10, 26))
    assert [s for _, s in log.sessions] == [first, second]


@pytest.mark.parametrize("count", [2, 3])
def test_several_sessions_at_once_stand_in_one_order_however_they_came(count: int) -> None:
    at_once = [session(1, minutes=minutes) for minutes in (0.1, 0.2, 0.3)[:count]]
    assert len({log_of(order).sessions for order in permutations(at_once)}) == 1


def test_the_log_begins_with_its_first_session() -> None:
    log = log_of([session(9), session(3)])
    assert log.days_covered == 9
    assert log.covers(9)
    assert not log.covers(10)


def test_a_log_over_a_leap_day_is_a_day_longer() -> None:
    first = session(0, starts_at=at("2028-02-28T18:00:00+01:00"))
    assert log_of([first], today=date(2028, 3, 1)).days_covered == 2
    first = session(0, starts_at=at("2027-02-28T18:00:00+01:00"))
    assert log_of([first], today=date(2027, 3, 1)).days_covered == 1


@pytest.mark.parametrize("sessions", [[], [session(0)], [session(-1)]])
def test_a_log_without_a_day_before_today_covers_nothing(sessions: list[Session]) -> None:
    log = log_of(sessions)
    assert log.days_covered == 0
    assert not log.covers(1)


def test_the_last_days_leave_out_today_and_reach_as_far_as_they_say() -> None:
    log = log_of(session(days) for days in range(10))
    assert list(log.last(7)) == [session(days) for days in range(7, 0, -1)]


def test_each_day_has_the_load_of_all_its_sessions_and_a_day_off_has_none() -> None:
    sessions = [
        session(3, rpe=5.0, minutes=30.0),
        session(1, rpe=7.0, minutes=90.0),
        session(1, rpe=2.0, minutes=10.0, starts_at=days_ago(1, time(7))),
        session(0),
    ]
    assert log_of(sessions).daily_loads(3) == [150.0, 0.0, 650.0]


def test_the_loads_of_an_earlier_week_end_before_the_later_one() -> None:
    log = log_of(session(days, rpe=1.0, minutes=float(days)) for days in range(1, 15))
    assert log.daily_loads(7) == [7.0, 6.0, 5.0, 4.0, 3.0, 2.0, 1.0]
    assert log.daily_loads(7, ending=7) == [14.0, 13.0, 12.0, 11.0, 10.0, 9.0, 8.0]


def test_loads_need_a_log_that_goes_back_far_enough() -> None:
    assert log_of([session(6)]).daily_loads(7) == Unavailable("needs 7 days of the log, has 6")
    assert log_of([session(7)]).daily_loads(7) == [300.0, *[0.0] * 6]
    assert log_of([session(7)]).daily_loads(7, ending=7) == Unavailable(
        "needs 14 days of the log, has 7"
    )


def test_loads_need_an_rpe_for_each_session_of_the_days_asked_for() -> None:
    log = log_of([session(8, rpe=None), session(7), session(2, rpe=None)])
    assert log.daily_loads(7) == Unavailable(
        "needs each session's RPE, that of 2026-03-07 has none"
    )
    rated_since = log_of([session(8, rpe=None), session(7), session(0, rpe=None)])
    assert rated_since.daily_loads(7) == [300.0, *[0.0] * 6]


def test_blocks_that_do_not_say_their_minutes_share_what_is_left() -> None:
    told = replace(GROWTH, minutes=20.0)
    silent = Block("strength", ("chest",))
    log = log_of([session(1, told, silent, GROWTH, minutes=50.0)])
    assert blocks_with_minutes(log) == [
        (told, 20.0),
        (silent, 15.0),
        (GROWTH, 15.0),
    ]


def test_blocks_that_say_more_minutes_than_the_session_leave_nothing_to_share() -> None:
    told = replace(GROWTH, minutes=70.0)
    log = log_of([session(1, told, GROWTH, minutes=50.0)])
    assert [minutes for _, minutes in blocks_with_minutes(log)] == [70, 0]
