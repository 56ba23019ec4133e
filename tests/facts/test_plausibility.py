"""Check-ins that cannot be true for this athlete at this moment."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from datetime import date, datetime, time, timedelta

import pytest

from dawnrule.errors import FieldError
from dawnrule.facts.plausibility import implausible, implausible_athlete
from dawnrule.model.entities import Athlete, CheckIn
from tests.factories import BERLIN, DAY, GROWTH, KIM, NOW, at, days_ago, last_trained, morning

IN_KIRITIMATI = replace(KIM, time_zone="Pacific/Kiritimati")
IN_NEW_YORK = replace(KIM, time_zone="America/New_York")


def pointers(errors: Iterable[FieldError]) -> list[str]:
    return [error.pointer for error in errors]


def wrong(check_in: CheckIn, athlete: Athlete = KIM, now: datetime = NOW) -> list[str]:
    return pointers(implausible(athlete, check_in, now))


def starting(start: datetime) -> CheckIn:
    return morning(0, GROWTH, replace(GROWTH, starts_at=start))


def test_an_ordinary_morning_can_be_true() -> None:
    yesterday = last_trained("quadriceps", days_ago(1))
    plan = replace(GROWTH, starts_at=days_ago(0))
    assert wrong(morning(0, plan, reported_at=NOW, last_trained=yesterday)) == []


@pytest.mark.parametrize(
    ("athlete", "day", "errors"),
    [
        (KIM, DAY, []),
        (KIM, date(2026, 3, 10), ["/date"]),
        (IN_KIRITIMATI, DAY, []),
        (IN_KIRITIMATI, date(2026, 3, 10), ["/date"]),
        (IN_NEW_YORK, DAY, []),
    ],
)
def test_a_date_has_begun_where_the_athlete_lives(
    athlete: Athlete, day: date, errors: list[str]
) -> None:
    assert wrong(CheckIn(KIM.id, day, ()), athlete) == errors


def test_it_is_tomorrow_in_kiritimati_while_it_is_still_yesterday_in_new_york() -> None:
    now = at("2026-03-09T10:30:00Z")
    assert wrong(CheckIn(KIM.id, date(2026, 3, 10), ()), IN_KIRITIMATI, now) == []
    now = at("2026-03-09T03:30:00Z")
    assert wrong(CheckIn(KIM.id, date(2026, 3, 9), ()), IN_NEW_YORK, now) == ["/date"]


def test_a_check_in_may_be_posted_late() -> None:
    assert wrong(morning(1, GROWTH, reported_at=NOW)) == []
    assert wrong(morning(300, GROWTH, reported_at=NOW)) == []


TEN_MINUTES = timedelta(minutes=10)


@pytest.mark.parametrize(("ahead", "possible"), [(TEN_MINUTES, True), (TEN_MINUTES * 1.01, False)])
def test_a_clock_may_run_ten_minutes_ahead(ahead: timedelta, possible: bool) -> None:
    reported = morning(0, reported_at=NOW + ahead)
    assert wrong(reported) == ([] if possible else ["/reported_at"])
    trained = morning(0, last_trained=last_trained("chest", NOW + ahead))
    assert wrong(trained) == ([] if possible else ["/last_trained/chest/at"])
    tomorrow = morning(-1)
    nearly_tomorrow = datetime.combine(tomorrow.date, time.min, BERLIN) - ahead
    assert wrong(tomorrow, now=nearly_tomorrow) == ([] if possible else ["/date"])


def test_a_training_is_not_later_than_the_report_of_it() -> None:
    reported = days_ago(3, time(7))
    before, after = (
        last_trained("chest", reported + minutes) for minutes in (-TEN_MINUTES, TEN_MINUTES * 2)
    )
    assert wrong(morning(3, reported_at=reported, last_trained=before)) == []
    assert wrong(morning(3, reported_at=reported, last_trained=after)) == ["/last_trained/chest/at"]


def test_without_a_time_of_report_a_training_is_not_later_than_the_date() -> None:
    same_day, next_day = (
        last_trained("chest", days_ago(3, time(22))),
        last_trained("chest", days_ago(2, time(7))),
    )
    assert wrong(morning(3, last_trained=same_day)) == []
    assert wrong(morning(3, last_trained=next_day)) == ["/last_trained/chest/at"]


def test_a_report_from_a_clock_that_was_never_set_cannot_be_true() -> None:
    midnight = days_ago(0, time.min)
    a_day = timedelta(days=1)
    assert wrong(morning(0, reported_at=midnight - a_day)) == []
    assert wrong(morning(0, reported_at=midnight - a_day * 1.001)) == ["/reported_at"]
    assert wrong(morning(0, reported_at=at("1970-01-01T00:00:00Z"))) == ["/reported_at"]


@pytest.mark.parametrize(
    ("start", "errors"),
    [
        (days_ago(1, time.min), []),
        (days_ago(1, time.min) - timedelta(seconds=1), ["/plan/1/starts_at"]),
        (days_ago(-1, time(23, 59)), []),
        (days_ago(-2, time.min), ["/plan/1/starts_at"]),
        (at("2026-03-09T23:30:00-11:00"), []),  # the same date, on a journey
        (at("2026-03-09T00:30:00+14:00"), []),
    ],
)
def test_a_plan_starts_within_a_day_of_the_check_ins_date(
    start: datetime, errors: list[str]
) -> None:
    assert wrong(starting(start)) == errors


def test_a_plan_may_start_within_a_day_also_when_the_clock_is_changed() -> None:
    sunday = CheckIn(
        KIM.id, date(2026, 10, 25), (replace(GROWTH, starts_at=at("2026-10-26T23:59:00+01:00")),)
    )
    assert wrong(sunday, now=at("2026-10-25T07:00:00+01:00")) == []


def test_a_training_longer_ago_than_counts_cannot_be_told() -> None:
    longest = timedelta(hours=100_000)
    latest_start = days_ago(-2, time.min)
    assert wrong(morning(0, last_trained=last_trained("chest", latest_start - longest))) == []
    longer = last_trained("chest", latest_start - longest - timedelta(hours=1))
    assert wrong(morning(0, last_trained=longer)) == ["/last_trained/chest/at"]


@pytest.mark.parametrize(
    ("born", "possible"),
    [
        (DAY, True),
        (date(2026, 3, 10), False),
        (date(1906, 3, 9), True),
        (date(1905, 3, 9), False),
        (date(2024, 2, 29), True),
    ],
)
def test_nobody_is_unborn_or_older_than_120(born: date, possible: bool) -> None:
    athlete = replace(KIM, date_of_birth=born)
    assert wrong(morning(), athlete) == ([] if possible else ["/date"])
    errors = pointers(implausible_athlete(athlete, NOW))
    assert errors == ([] if possible else ["/date_of_birth"])


def test_an_athlete_whose_date_of_birth_is_not_known_is_plausible() -> None:
    assert pointers(implausible_athlete(replace(KIM, date_of_birth=None), NOW)) == []


def test_everything_wrong_is_said_at_once_with_what_came() -> None:
    tomorrow = morning(-1, replace(GROWTH, starts_at=days_ago(9)), reported_at=days_ago(-1))
    errors = list(implausible(KIM, tomorrow, NOW))
    assert [(error.pointer, error.value) for error in errors] == [
        ("/date", "2026-03-10"),
        ("/reported_at", days_ago(-1).isoformat()),
        ("/plan/0/starts_at", days_ago(9).isoformat()),
    ]
    assert errors[0].detail == "must not be after 2026-03-09, which is today in Europe/Berlin"
