"""Plausibility checks of check-ins and athletes."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date, datetime, time, timedelta

from dawnrule.errors import FieldError
from dawnrule.i18n.lazy import lazy, lazy_number
from dawnrule.model import FactDictionary
from dawnrule.model.entities import Athlete, CheckIn
from dawnrule.model.time_zones import zone_named
from dawnrule.model.training import ONE_DAY

CLOCKS_MAY_DIFFER = timedelta(minutes=10)
"""How far a phone's clock may run ahead of ours before a time counts as in the future."""


def implausible(athlete: Athlete, check_in: CheckIn, now: datetime) -> Iterator[FieldError]:
    """Find the fields that cannot be true: a date or a time that has not come yet where the athlete
    lives, a training after its report, in the future or longer ago than counts, a report or a
    planned start that is far from the check-in's date, a date outside of the athlete's life."""
    today = athlete.today(now + CLOCKS_MAY_DIFFER)
    if check_in.date > today:
        yield FieldError(
            "/date",
            check_in.date.isoformat(),
            lazy("field.after_today", today=today, zone=athlete.time_zone),
        )
    if check_in.reported_at is not None:
        yield from in_future("/reported_at", check_in.reported_at, now)
        yield from _long_before_date(athlete, check_in, check_in.reported_at)
    for group, last in check_in.last_trained.items():
        ahead = list(in_future(f"/last_trained/{group}/at", last.at, now))
        yield from ahead or _after_the_report(athlete, check_in, group, last.at)
    yield from _too_long_ago(athlete, check_in)
    yield from starts_elsewhere(athlete, check_in)
    yield from _impossible_arrival(check_in)
    yield from _impossible_age(athlete, check_in.date, "/date", check_in.date)


def implausible_athlete(athlete: Athlete, now: datetime) -> Iterator[FieldError]:
    """Find a date of birth that gives nobody's age."""
    if athlete.date_of_birth is not None:
        today = athlete.today(now)
        yield from _impossible_age(athlete, today, "/date_of_birth", athlete.date_of_birth)


def in_future(pointer: str, at: datetime, now: datetime) -> Iterator[FieldError]:
    """Yield an error for a time in the future, allowing for a clock that runs ahead."""
    if at > now + CLOCKS_MAY_DIFFER:
        detail = lazy("field.in_future", now=now.isoformat(timespec="seconds"))
        yield FieldError(pointer, at.isoformat(), detail)


def _long_before_date(
    athlete: Athlete, check_in: CheckIn, reported_at: datetime
) -> Iterator[FieldError]:
    """Refuse the time of a clock that was never set: everything in the log would seem later."""
    if reported_at < _midnight(athlete, check_in) - ONE_DAY:
        detail = lazy("field.long_before_date", date=check_in.date)
        yield FieldError("/reported_at", reported_at.isoformat(), detail)


def _after_the_report(
    athlete: Athlete, check_in: CheckIn, group: str, at: datetime
) -> Iterator[FieldError]:
    """Refuse a training after its report; without a time of report, after its date."""
    reported_at = check_in.reported_at
    latest = reported_at or _midnight(athlete, check_in) + ONE_DAY
    if at > latest + CLOCKS_MAY_DIFFER:
        after_date = lazy("field.after_date")
        after = (
            lazy("field.after_report", at=reported_at.isoformat()) if reported_at else after_date
        )
        yield FieldError(f"/last_trained/{group}/at", at.isoformat(), after)


def _midnight(athlete: Athlete, check_in: CheckIn) -> datetime:
    """Return when the check-in's date begins where the athlete lives."""
    return datetime.combine(check_in.date, time.min, zone_named(athlete.time_zone))


def starts_elsewhere(athlete: Athlete, check_in: CheckIn) -> Iterator[FieldError]:
    """Find starts that are more than a day off the date that they are planned for. A plan may
    start in the night after its date, or on the date of another time zone for a traveller."""
    midnight = _midnight(athlete, check_in)
    for index, block in enumerate(check_in.plan):
        start = block.starts_at
        if start is not None and not midnight - ONE_DAY <= start < midnight + 2 * ONE_DAY:
            detail = lazy("field.starts_elsewhere", date=check_in.date)
            yield FieldError(f"/plan/{index}/starts_at", start.isoformat(), detail)


def _too_long_ago(athlete: Athlete, check_in: CheckIn) -> Iterator[FieldError]:
    """Refuse what exceeds the range of hours since training, counted to the latest start."""
    longest = FactDictionary.bundled()["hours_since_trained"].greatest
    earliest = _midnight(athlete, check_in) + 2 * ONE_DAY - timedelta(hours=longest)
    for group, last in check_in.last_trained.items():
        if last.at < earliest:
            detail = lazy("field.too_long_ago", hours=lazy_number(longest))
            yield FieldError(f"/last_trained/{group}/at", last.at.isoformat(), detail)


def _impossible_arrival(check_in: CheckIn) -> Iterator[FieldError]:
    """Refuse a journey that ends after the check-in, or ended too long ago to count."""
    if check_in.journey is None:
        return
    arrived = check_in.journey.arrived_on
    longest = int(FactDictionary.bundled()["days_since_arrival"].greatest)
    if arrived > check_in.date:
        detail = lazy("field.arrived_after")
    elif check_in.date - arrived > timedelta(days=longest):
        detail = lazy("field.arrived_long_ago", days=longest)
    else:
        return
    yield FieldError("/journey/arrived_on", arrived.isoformat(), detail)


def _impossible_age(athlete: Athlete, on: date, pointer: str, value: date) -> Iterator[FieldError]:
    age = athlete.age_years(on)
    known = FactDictionary.bundled()["age_years"]
    if age is not None and not known.accepts(age):
        detail = lazy("field.impossible_age", accepted=known.allowed(), age=age)
        yield FieldError(pointer, value.isoformat(), detail)
