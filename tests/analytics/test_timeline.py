"""Timelines: an athlete's days as reported, with gaps where nothing was."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from math import exp, log
from typing import Any

import pytest

from dawnrule.analytics.timeline import AthleteDay, describe_days, read_weeks
from dawnrule.application.check_ins import history_before
from dawnrule.facts.derive import derive_facts
from dawnrule.facts.history import CHECK_IN_DAYS
from dawnrule.model.entities import Athlete, Block, CheckIn, Session, Sleep
from dawnrule.model.serialization import to_json
from dawnrule.store import Store, StoredAdvice, StoredCheckIn, StoredSession, Transaction

TODAY = date(2026, 3, 9)
KIM = Athlete("a-01", "Kim", "Pacific/Auckland", date_of_birth=date(2008, 3, 5))
AT = datetime(2026, 3, 9, tzinfo=UTC)
GROWTH = Block("hypertrophy", ("quadriceps",))


def ago(days: int) -> date:
    return TODAY - timedelta(days=days)


@pytest.fixture
def told(store: Store) -> Callable[[int], list[AthleteDay]]:
    """The days of the athlete as the store has them."""
    store.write(lambda transaction: transaction.athletes.put(KIM))

    def tell(days: int) -> list[AthleteDay]:
        return describe_days(
            store.read(lambda transaction: read_weeks(transaction, KIM, TODAY, days)), days
        )

    return tell


def check_in(store: Store, days_ago: int, **reported: Any) -> None:
    one = replace(CheckIn(KIM.id, ago(days_ago), ()), **reported)
    body = to_json(one)
    number = f"c-{days_ago}-{hash(str(body))}"
    store.write(lambda b: b.check_ins.add(StoredCheckIn(number, KIM.id, one.date, body, AT, None)))


def train(store: Store, starts_at: str, minutes: float, rpe: float | None) -> None:
    one = Session(KIM.id, datetime.fromisoformat(starts_at), minutes, (GROWTH,), rpe=rpe)
    store.write(lambda b: b.sessions.add(StoredSession(starts_at, one, AT, None)))


Told = Callable[[int], list[AthleteDay]]


def test_the_days_end_today_and_none_is_left_out(told: Told) -> None:
    assert [day.date for day in told(7)] == [ago(days) for days in (6, 5, 4, 3, 2, 1, 0)]


def test_a_day_without_a_check_in_is_a_gap(store: Store, told: Told) -> None:
    check_in(store, 2, sleep=Sleep(hours=7.5), resting_hr_bpm=50, hrv_rmssd_ms=60.0)
    check_in(store, 0, sleep=Sleep(hours=6.0), soreness={"chest": 0})
    two_ago, one_ago, today = told(3)
    assert [day.sleep_hours for day in (two_ago, one_ago, today)] == [7.5, None, 6.0]
    assert not one_ago.checked_in
    assert one_ago.soreness == {}
    assert (today.soreness, two_ago.soreness) == ({"chest": 0}, {})
    assert (two_ago.heart.resting_hr_bpm, today.heart.resting_hr_bpm) == (50, None)
    assert (two_ago.heart.hrv_ln, today.heart.hrv_ln) == (log(60), None)


def test_a_changed_check_in_takes_the_place_of_the_first(store: Store, told: Told) -> None:
    check_in(store, 0, sleep=Sleep(hours=8.0))
    check_in(store, 0, sleep=Sleep(hours=5.0))
    assert told(1)[0].sleep_hours == 5.0


def test_load_is_effort_times_minutes_and_nothing_on_a_day_off(store: Store, told: Told) -> None:
    """Foster 2001, J Strength Cond Res 15(1):109-115: 6 x 50 and 4 x 30 on one day are 420."""
    train(store, "2026-03-06T07:00:00+13:00", 50, rpe=6)
    train(store, "2026-03-06T17:00:00+13:00", 30, rpe=4)
    train(store, "2026-03-08T07:00:00+13:00", 45, rpe=None)
    loads = {(TODAY - day.date).days: day.load for day in told(5)}
    assert loads == {4: None, 3: 420, 2: 0, 1: None, 0: None}


def test_training_stands_on_the_date_where_the_athlete_lives(store: Store, told: Told) -> None:
    """23:30 UTC is the next morning in Auckland, and 10:30 UTC the evening of the same day."""
    train(store, "2026-03-07T23:30:00+00:00", 60, rpe=5)
    train(store, "2026-03-07T10:30:00+00:00", 60, rpe=3)
    loads = {(TODAY - day.date).days: day.load for day in told(3)}
    assert (loads[1], loads[2]) == (300, 180)


def test_the_least_sleep_goes_with_the_age_of_the_day(store: Store, told: Told) -> None:
    """8 h at 14 to 17 years, 7 h from 18 on: Hirshkowitz 2015, Sleep Health 1(1):40-43. The
    athlete turns 18 four days before today."""
    for days in range(7):
        check_in(store, days, sleep=Sleep(hours=8))
    assert [day.sleep_need_hours for day in told(7)] == [8, 8, 7, 7, 7, 7, 7]


def test_resting_heart_rate_is_held_against_the_median_of_the_mornings_before(
    store: Store, told: Told
) -> None:
    """48, 50, 52, 54, 56, 58, 60 before: the median is 54. With six before there is none yet."""
    for days, bpm in zip(range(7, 0, -1), (48, 50, 52, 54, 56, 58, 60), strict=True):
        check_in(store, days, resting_hr_bpm=bpm)
    check_in(store, 0, resting_hr_bpm=70)
    yesterday, today = told(2)
    assert yesterday.heart.resting_hr_median_bpm is None
    assert today.heart.resting_hr_median_bpm == 54


def test_the_band_is_half_a_deviation_to_both_sides_of_the_mean_of_the_baseline(
    store: Store, told: Told
) -> None:
    """Seven mornings of e^4.2 ms, and before them 14 that go between e^4 and e^4.4: their logs
    have the mean 4.2 and the deviation (n - 1) 0.2 x sqrt(14/13) = 0.207550; half of that under
    and over the mean are 4.096225 and 4.303775. Vesterinen 2016, Med Sci Sports Exerc
    48(7):1347-1354."""
    for days in range(7):
        check_in(store, days, hrv_rmssd_ms=exp(4.2))
    for days in range(7, 21):
        check_in(store, days, hrv_rmssd_ms=exp(4.0 if days % 2 else 4.4))
    today = told(1)[0].heart
    assert today.hrv_ln == pytest.approx(4.2)
    assert today.hrv_mean_ln == pytest.approx(4.2)
    assert today.hrv_band_low_ln == pytest.approx(4.096225, abs=1e-6)
    assert today.hrv_band_high_ln == pytest.approx(4.303775, abs=1e-6)


def test_what_a_morning_is_held_against_is_what_its_facts_say(store: Store, told: Told) -> None:
    """Whether the mean lies under the band, and how far the heart rate is above its median."""
    for days in range(60):
        uneven = (days * 7) % 11
        if uneven != 3:
            check_in(store, days, hrv_rmssd_ms=50.0 + 3 * uneven, resting_hr_bpm=50 + uneven)
    compared = 0
    for day in told(28):
        facts = facts_of(store, day.date)
        heart = day.heart
        if "hrv_below_band" in facts:
            assert heart.hrv_mean_ln is not None
            assert heart.hrv_band_low_ln is not None
            assert facts["hrv_mean_7_days_ln"] == heart.hrv_mean_ln
            assert facts["hrv_below_band"] == (heart.hrv_mean_ln < heart.hrv_band_low_ln)
            assert heart.resting_hr_bpm is not None
            assert heart.resting_hr_median_bpm is not None
            above = heart.resting_hr_bpm - heart.resting_hr_median_bpm
            assert facts["resting_hr_above_median_bpm"] == above
            compared += 1
        else:
            assert not day.checked_in
    assert compared > 20


def facts_of(store: Store, day: date) -> dict[str, object]:
    """What the facts of a morning say, from the store as the service reads it."""

    def read(transaction: Transaction) -> dict[str, object]:
        one = next(iter(transaction.check_ins.before(KIM.id, day + timedelta(1), 1)), None)
        if one is None:
            return {}
        return dict(derive_facts(KIM, one, history_before(transaction, one, AT), AT).day)

    return store.read(read)


def test_the_verdict_is_that_of_the_advice_that_holds(store: Store, told: Told) -> None:
    check_in(store, 1)
    [check_in_id] = [store.read(lambda b: b.check_ins.latest(KIM.id, ago(1)))]
    assert check_in_id is not None

    def advise(advice_id: str, verdict: str, supersedes: str | None) -> StoredAdvice:
        return StoredAdvice(
            advice_id, check_in_id.id, KIM.id, ago(1), verdict, None, "d", "{}", AT, supersedes
        )

    store.write(lambda b: b.advice.add(advise("v-1", "rest", None)))
    store.write(lambda b: b.advice.add(advise("v-2", "train-as-planned", "v-1")))
    yesterday, today = told(2)
    assert (yesterday.advice_id, yesterday.verdict) == ("v-2", "train-as-planned")
    assert (today.advice_id, today.verdict) == (None, None)


def test_no_more_is_read_after_years_than_after_weeks(store: Store, told: Told) -> None:
    for days in range(200):
        check_in(store, days, resting_hr_bpm=50)
    weeks = store.read(lambda transaction: read_weeks(transaction, KIM, TODAY, 28))
    assert len(weeks.check_ins) == 28 + CHECK_IN_DAYS
