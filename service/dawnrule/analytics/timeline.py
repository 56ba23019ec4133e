"""Timeline of an athlete's last weeks, day by day.

Values that were not reported are None and stay a gap: neither zero nor interpolated. Reference
values (the athlete's own median and band) come from the same functions as the facts of a morning.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from math import log
from typing import TypeVar
from zoneinfo import ZoneInfo

from dawnrule.advice.done import Comparison, compare_with_done
from dawnrule.facts import recovery
from dawnrule.facts.history import CHECK_IN_DAYS, Past, TrainingLog, Unavailable
from dawnrule.facts.load_formulas import session_load
from dawnrule.model import FactDictionary, Vocabulary
from dawnrule.model.concerns import Concern
from dawnrule.model.entities import Athlete, CheckIn, Session
from dawnrule.model.record import Record
from dawnrule.model.time_zones import zone_named
from dawnrule.store import Transaction

ONE_DAY = timedelta(days=1)
Known = TypeVar("Known")


@dataclass(frozen=True, slots=True)
class Heart:
    """A morning's heart figures and their references: resting heart rate and the own median
    (beats a minute); ln(rMSSD in ms), its mean over the last days, and both ends of the
    own band."""

    resting_hr_bpm: int | None = None
    resting_hr_median_bpm: float | None = None
    hrv_ln: float | None = None
    hrv_mean_ln: float | None = None
    hrv_band_low_ln: float | None = None
    hrv_band_high_ln: float | None = None


@dataclass(frozen=True, slots=True)
class AthleteDay:
    """One local date of an athlete. ``load`` is session RPE times minutes over the day's sessions:
    0 for a day off, None before the log begins, for today without a session, and where a session
    has no RPE. ``sleep_need_hours`` is the least recommended at the age. ``verdict`` and
    ``advice_id`` are those of the advice that holds; ``done`` is what was done beside it, None
    without advice, before the log begins, and for today without a session. ``check_in`` is what
    was reported, None without a check-in; ``concerns`` what was open on the date, by what is known
    now."""

    date: date
    checked_in: bool
    soreness: Mapping[str, float]
    sleep_hours: float | None
    sleep_need_hours: float | None
    heart: Heart
    sessions: tuple[Session, ...]
    load: float | None
    advice_id: str | None = None
    verdict: str | None = None
    done: Comparison | None = None
    check_in: CheckIn | None = None
    concerns: tuple[Concern, ...] = ()


@dataclass(frozen=True, slots=True)
class Weeks:
    """The stored data of the days shown and those before. ``log_begins`` is the date of the first
    session, None without any."""

    athlete: Athlete
    today: date
    check_ins: Mapping[date, CheckIn]
    sessions: Mapping[date, tuple[Session, ...]]
    log_begins: date | None
    verdicts: Mapping[date, tuple[str, str]]
    records: Mapping[date, str]
    concerns: Sequence[Concern] = ()


def read_weeks(transaction: Transaction, athlete: Athlete, today: date, days: int) -> Weeks:
    """Read the data of the last ``days`` days up to ``today`` (a local date); the amount read does
    not grow with the years."""
    first = today - timedelta(days=days - 1)
    check_ins = transaction.check_ins.before(athlete.id, today + ONE_DAY, days + CHECK_IN_DAYS)
    zone = zone_named(athlete.time_zone)
    midnights = [datetime.combine(day, time.min, zone) for day in (first, today + ONE_DAY)]
    sessions = transaction.sessions.window(athlete.id, *(at.astimezone(UTC) for at in midnights))
    began = transaction.sessions.first_start(athlete.id)
    return Weeks(
        athlete=athlete,
        today=today,
        check_ins={check_in.date: check_in for check_in in check_ins},
        sessions=_by_date((session for _, session in sessions), zone),
        log_begins=began.astimezone(zone).date() if began else None,
        verdicts=transaction.advice.verdicts(athlete.id, first, today),
        records=transaction.advice.records(athlete.id, first, today),
        concerns=transaction.concerns.of_athlete(athlete.id),
    )


def describe_days(weeks: Weeks, days: int) -> list[AthleteDay]:
    """Describe the last ``days`` days, oldest first, today last (pure)."""
    dates = (weeks.today - timedelta(days=ago) for ago in range(days - 1, -1, -1))
    return [_day(weeks, day) for day in dates]


def _by_date(sessions: Iterable[Session], zone: ZoneInfo) -> dict[date, tuple[Session, ...]]:
    found: dict[date, tuple[Session, ...]] = {}
    for session in sessions:
        day = session.starts_at.astimezone(zone).date()
        found[day] = (*found.get(day, ()), session)
    return found


def _day(weeks: Weeks, day: date) -> AthleteDay:
    check_in = weeks.check_ins.get(day)
    advice_id, verdict = weeks.verdicts.get(day, (None, None))
    return AthleteDay(
        date=day,
        checked_in=check_in is not None,
        soreness=check_in.soreness if check_in else {},
        sleep_hours=check_in.sleep.hours if check_in else None,
        sleep_need_hours=_sleep_need_hours(weeks.athlete, day) if check_in else None,
        heart=_heart(weeks, check_in) if check_in else Heart(),
        sessions=weeks.sessions.get(day, ()),
        load=_load(weeks, day),
        advice_id=advice_id,
        verdict=verdict,
        done=_done(weeks, day),
        check_in=check_in,
        concerns=tuple(one for one in weeks.concerns if _was_open(one, day)),
    )


def _done(weeks: Weeks, day: date) -> Comparison | None:
    sessions = weeks.sessions.get(day, ())
    if weeks.log_begins is None or day < weeks.log_begins or (day == weeks.today and not sessions):
        return None
    if day not in weeks.records:
        return None
    record = Record.from_text(weeks.records[day])
    plan = record.check_in.plan
    return compare_with_done(record.advice, plan, sessions, Vocabulary.bundled())


def _was_open(concern: Concern, day: date) -> bool:
    """Tell whether a concern was open on a date; one that was a typing error never was."""
    has_ended = concern.closed_on is not None and concern.closed_on <= day
    return not concern.is_void and concern.began_on <= day and not has_ended


def _sleep_need_hours(athlete: Athlete, day: date) -> float | None:
    age = athlete.age_years(day)
    table = FactDictionary.bundled()["sleep_shortfall_hours"].parameters["least_hours_from_age"]
    return None if age is None else recovery.sleep_need_hours(age, table)


def _heart(weeks: Weeks, check_in: CheckIn) -> Heart:
    past = _past(weeks, check_in)
    rmssd = recovery.hrv_rmssd_ms(check_in)
    low, high = _known(recovery.hrv_band_ln(past)) or (None, None)
    return Heart(
        resting_hr_bpm=check_in.resting_hr_bpm,
        resting_hr_median_bpm=_known(recovery.resting_hr_median_bpm(past)),
        hrv_ln=log(rmssd) if rmssd else None,
        hrv_mean_ln=_known(recovery.hrv_mean_ln(past)),
        hrv_band_low_ln=low,
        hrv_band_high_ln=high,
    )


def _past(weeks: Weeks, check_in: CheckIn) -> Past:
    """Build the history that the facts of a morning see, without its training."""
    ages = {(check_in.date - day).days: known for day, known in weeks.check_ins.items()}
    mornings = {age: known for age, known in ages.items() if 0 <= age <= CHECK_IN_DAYS}
    return Past(
        athlete=weeks.athlete,
        check_in=check_in,
        mornings=mornings,
        log=TrainingLog(check_in.date, ()),
        dictionary=FactDictionary.bundled(),
        vocabulary=Vocabulary.bundled(),
    )


def _load(weeks: Weeks, day: date) -> float | None:
    sessions = weeks.sessions.get(day, ())
    if not sessions and (day == weeks.today or weeks.log_begins is None):
        return None
    if weeks.log_begins is not None and day < weeks.log_begins:
        return None
    loads = [session_load(s.rpe, s.minutes) for s in sessions if s.rpe is not None]
    return sum(loads) if len(loads) == len(sessions) else None


def _known(derived: Known | Unavailable) -> Known | None:
    return None if isinstance(derived, Unavailable) else derived
