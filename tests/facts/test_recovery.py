"""Facts of sleep, heart rate and soreness from earlier mornings."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace
from datetime import date
from math import log
from typing import Any

import pytest

from dawnrule.model.entities import CheckIn, History, Sleep
from tests.factories import GROWTH, KIM, facts, morning, part_of


def slept(hours: float | None) -> dict[str, Any]:
    return {"sleep": Sleep(hours=hours)}


def beat(bpm: int | None) -> dict[str, Any]:
    return {"resting_hr_bpm": bpm}


def varied(rmssd_ms: float | None) -> dict[str, Any]:
    return {"hrv_rmssd_ms": rmssd_ms}


def mornings(reported: Mapping[int, dict[str, Any]]) -> tuple[CheckIn, History]:
    """This morning and those before it, by how many days ago."""
    before = (morning(days, **values) for days, values in reported.items() if days)
    return morning(0, **reported.get(0, {})), History(check_ins=tuple(before))


def outcome(fact: str, reported: Mapping[int, dict[str, Any]], **athlete: Any) -> Any:
    """The day's fact, or why it could not be told."""
    check_in, history = mornings(reported)
    told = facts(check_in, history, replace(KIM, **athlete))
    assert (fact in told.day) is not (fact in told.missing)
    return told.day[fact] if fact in told.day else told.missing[fact]


# ---- sleep -----------------------------------------------------------------------------

SLEEP_MEAN = "sleep_mean_7_nights_hours"


def nights(hours: Iterable[float]) -> dict[int, dict[str, Any]]:
    """Hours slept, last night first."""
    return {days: slept(value) for days, value in enumerate(hours)}


def test_mean_sleep_is_that_of_the_seven_nights_that_end_this_morning() -> None:
    assert outcome(SLEEP_MEAN, nights([5, 6, 7, 8, 9, 7, 7, 0])) == 7


def test_mean_sleep_needs_four_of_the_seven_nights() -> None:
    assert outcome(SLEEP_MEAN, {d: slept(6) for d in (0, 2, 4, 6)}) == 6
    three_and_one_too_old = {d: slept(6) for d in (0, 2, 4, 7)}
    assert outcome(SLEEP_MEAN, three_and_one_too_old) == "needs 4 nights, has 3"


def test_a_night_that_was_not_reported_is_not_a_night_of_no_sleep() -> None:
    reported = {0: slept(None), 1: slept(6), 2: slept(6), 3: slept(6), 4: slept(6)}
    assert outcome(SLEEP_MEAN, reported) == 6


def test_a_later_morning_says_nothing_of_an_earlier_date() -> None:
    check_in, history = mornings(nights([6, 6, 6, 6]))
    later = History((*history.check_ins, morning(-1, **slept(0))))
    assert facts(check_in, later).day[SLEEP_MEAN] == 6


def test_this_mornings_check_in_counts_in_the_place_of_an_earlier_one_for_its_date() -> None:
    check_in, history = mornings(nights([6, 6, 6, 6]))
    both = History((*history.check_ins, morning(0, **slept(0))))
    assert facts(check_in, both).day[SLEEP_MEAN] == 6


SHORTFALL = "sleep_shortfall_hours"


@pytest.mark.parametrize(
    ("born", "shortfall"),
    [
        (date(1996, 3, 9), 1.0),
        (date(2012, 3, 9), 2.0),  # 14 today
        (date(2012, 3, 10), 3.0),  # 14 tomorrow
        (date(2008, 3, 9), 1.0),  # 18 today
        (date(2008, 3, 10), 2.0),  # 18 tomorrow
    ],
)
def test_the_shortfall_is_against_the_need_for_the_age(born: date, shortfall: float) -> None:
    """Least hours 9 from 6 years, 8 from 14, 7 from 18: Hirshkowitz 2015, Sleep Health
    1(1):40-43."""
    assert outcome(SHORTFALL, nights([6] * 7), date_of_birth=born) == shortfall


def test_there_is_no_shortfall_beyond_the_need() -> None:
    assert outcome(SHORTFALL, nights([9] * 7)) == 0


def test_the_shortfall_needs_the_date_of_birth() -> None:
    said = "needs the date of birth, which is not known"
    assert outcome(SHORTFALL, nights([6] * 7), date_of_birth=None) == said


def test_the_shortfall_needs_an_age_that_has_a_recommendation() -> None:
    five = date(2020, 3, 10)
    said = "there is no recommendation for 5 years of age in the table"
    assert outcome(SHORTFALL, nights([6] * 7), date_of_birth=five) == said


def test_the_shortfall_needs_as_many_nights_as_the_mean() -> None:
    assert outcome(SHORTFALL, nights([6] * 3)) == "needs 4 nights, has 3"


# ---- resting heart rate ----------------------------------------------------------------

ABOVE_MEDIAN = "resting_hr_above_median_bpm"


def test_resting_heart_rate_is_told_against_the_median_of_the_mornings_before() -> None:
    before = {days: beat(bpm) for days, bpm in enumerate([48, 50, 52, 54, 56, 58, 90, 47], 1)}
    assert outcome(ABOVE_MEDIAN, {0: beat(60), **before}) == 7  # against 53


def test_the_heart_rate_baseline_reaches_back_28_days_and_leaves_out_this_morning() -> None:
    oldest = {days: beat(50) for days in range(22, 29)}
    assert outcome(ABOVE_MEDIAN, {0: beat(60), **oldest}) == 10
    a_day_older = {days: beat(50) for days in range(23, 30)}
    said = "needs 7 mornings before this one, has 6"
    assert outcome(ABOVE_MEDIAN, {0: beat(60), **a_day_older}) == said


def test_a_heart_rate_that_was_not_measured_this_morning_is_not_compared() -> None:
    said = "needs this morning's value, which was not reported"
    assert outcome(ABOVE_MEDIAN, {days: beat(50) for days in range(1, 29)}) == said


# ---- soreness --------------------------------------------------------------------------


def soreness_outcome(today: dict[str, int], before: Mapping[int, int]) -> Any:
    history = History(tuple(morning(d, soreness={"quadriceps": s}) for d, s in before.items()))
    part = part_of(morning(0, GROWTH, soreness=today), history)
    fact = "soreness_above_usual"
    assert (fact in part.facts) is not (fact in part.missing)
    return part.facts[fact] if fact in part.facts else part.missing[fact]


def test_soreness_is_told_against_the_own_median_of_the_muscle_group() -> None:
    before = dict(enumerate([0, 1, 1, 2, 3, 3, 9, 2], 1))
    assert soreness_outcome({"quadriceps": 5, "chest": 9}, before) == 3
    assert soreness_outcome({"quadriceps": 0}, before) == -2


def test_the_soreness_baseline_needs_7_of_the_28_mornings_before() -> None:
    assert soreness_outcome({"quadriceps": 5}, dict.fromkeys(range(22, 29), 2)) == 3
    said = "needs 7 mornings before this one, has 6"
    assert soreness_outcome({"quadriceps": 5}, dict.fromkeys(range(23, 30), 2)) == said


def test_soreness_of_another_muscle_group_is_not_compared() -> None:
    said = "needs this morning's value, which was not reported"
    assert soreness_outcome({"chest": 5}, dict.fromkeys(range(1, 29), 2)) == said


# ---- heart-rate variability ------------------------------------------------------------

HRV_MEAN = "hrv_mean_7_days_ln"
BELOW_BAND = "hrv_below_band"


def test_variability_is_the_mean_logarithm_of_the_seven_days_that_end_this_morning() -> None:
    reported = {0: varied(40.0), 3: varied(50.0), 6: varied(60.0), 7: varied(500.0)}
    expected = (log(40) + log(50) + log(60)) / 3
    assert outcome(HRV_MEAN, reported) == pytest.approx(expected, rel=1e-15)


def test_variability_needs_three_of_the_seven_mornings() -> None:
    reported = {0: varied(40.0), 6: varied(60.0), 7: varied(60.0)}
    assert outcome(HRV_MEAN, reported) == "needs 3 mornings, has 2"
    assert outcome(BELOW_BAND, reported) == "needs 3 mornings, has 2"


def test_a_variability_of_zero_counts_as_not_reported() -> None:
    reported = {0: varied(0.0), 1: varied(40.0), 2: varied(40.0)}
    assert outcome(HRV_MEAN, reported) == "needs 3 mornings, has 2"


def test_a_variability_next_to_nothing_is_no_reason_to_fail() -> None:
    said = outcome(HRV_MEAN, {days: varied(1e-9) for days in range(7)})
    assert said.startswith("needs a number from -10 to 10, has -20.7")


def this_week_at(rmssd_ms: float) -> dict[int, dict[str, Any]]:
    return {days: varied(rmssd_ms) for days in range(7)}


BASELINE = {days: varied(60.0 if days % 2 else 70.0) for days in range(7, 35)}
"""The 28 days before this week: ln alternates between 4.094 and 4.248, mean 4.171, SD 0.078."""


@pytest.mark.parametrize(("rmssd_ms", "below"), [(62.2, True), (62.6, False)])
def test_variability_is_below_the_band_under_half_a_deviation_from_the_mean(
    rmssd_ms: float, below: bool
) -> None:
    """The band ends at exp(4.1714 - 0.5 x 0.0785) = 62.31 ms. Half a standard deviation:
    Vesterinen 2016, Med Sci Sports Exerc 48(7):1347-1354 (from memory)."""
    assert outcome(BELOW_BAND, this_week_at(rmssd_ms) | BASELINE) is below


def test_the_band_needs_14_of_the_28_mornings_before_the_week() -> None:
    at_both_ends = {days: BASELINE[days] for days in (*range(7, 14), *range(28, 35))}
    assert outcome(BELOW_BAND, this_week_at(30.0) | at_both_ends) is True
    one_too_old = {**at_both_ends, 35: varied(60.0)}
    del one_too_old[34]
    said = "needs 14 mornings in the baseline, has 13"
    assert outcome(BELOW_BAND, this_week_at(30.0) | one_too_old) == said


@pytest.mark.parametrize("mornings_this_week", range(3, 8))
@pytest.mark.parametrize("rmssd_ms", [20.1, 33.3, 60.0, 61.7, 104.2])
def test_variability_that_never_varies_is_inside_its_band(
    rmssd_ms: float, mornings_this_week: int
) -> None:
    always = {days: varied(rmssd_ms) for days in (*range(mornings_this_week), *range(7, 21))}
    assert outcome(BELOW_BAND, always) is False
