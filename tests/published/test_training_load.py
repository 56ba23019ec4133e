"""Published checks: session load, monotony, strain and weighted loads.

Load = session RPE x minutes: Foster 2001, J Strength Cond Res 15(1):109-115. Monotony = mean of
the week's daily loads over their standard deviation, strain = load x monotony: Foster 1998, Med
Sci Sports Exerc 30(7):1164-1168. Weighted load, lambda = 2 / (N + 1): Williams 2017, Br J Sports
Med 51(3):209-210. The numbers that are no paper's own are arithmetic by these formulas.
"""

from __future__ import annotations

import math
import re
from collections.abc import Sequence

import numpy as np
import pandas as pd
import pytest

from dawnrule.facts.load_formulas import monotony, session_load, strain, weighted_load
from tests.published.mornings import Baseline, facts_after, session

WEEK = [420.0, 0.0, 450.0, 290.0, 0.0, 720.0, 135.0]
"""Monday to Sunday: 60 min at 7; off; 75 at 6; 40 at 5 and 30 at 3; off; 90 at 8; 45 at 3."""

SESSIONS_OF_THE_WEEK = (
    session(2, minutes=90, rpe=8),
    session(7, minutes=60, rpe=7),
    session(4, minutes=30, rpe=3, hour=9),
    session(5, minutes=75, rpe=6),
    session(1, minutes=45, rpe=3),
    session(4, minutes=40, rpe=5),
)
"""The same as sessions: in no order, two on Thursday, none on the days off."""

ACUTE_DAYS, CHRONIC_DAYS = 7, 28


@pytest.mark.parametrize(
    ("minutes", "rpe", "load"),
    [(30, 5, 150), (90, 7, 630), (40, 7, 280), (75, 8, 600), (25, 2, 50), (60, 0, 0)],
)
def test_session_load_is_rpe_times_minutes(minutes: float, rpe: float, load: float) -> None:
    """Source: Foster 2001."""
    assert session_load(rpe, minutes) == load
    assert facts_after(session(7, minutes, rpe)).day["weekly_load"] == load


def test_the_worked_week_comes_out_by_hand() -> None:
    """Source: Foster 1998. By hand: the loads sum to 2015 and their squares to 999 625; less
    2015 x 2015 / 7 that leaves 419 592.857, a sixth of which is 69 932.143, whose root is 264.447;
    287.857 / 264.447 = 1.0885, and 2015 times that is 2193.4."""
    facts = facts_after(*SESSIONS_OF_THE_WEEK).day
    assert facts["weekly_load"] == 2015
    assert facts["monotony"] == pytest.approx(1.0885, abs=0.00005)
    assert facts["strain"] == pytest.approx(2193.4, abs=0.05)


def test_the_worked_week_comes_out_by_the_published_formula() -> None:
    """Source: Foster 1998; the standard deviation is the sample's (n - 1)."""
    mean = sum(WEEK) / len(WEEK)
    deviation = math.sqrt(sum((load - mean) ** 2 for load in WEEK) / (len(WEEK) - 1))
    facts = facts_after(*SESSIONS_OF_THE_WEEK).day
    assert facts["monotony"] == pytest.approx(mean / deviation)
    assert facts["strain"] == pytest.approx(sum(WEEK) * mean / deviation)


def test_the_worked_week_comes_out_by_numpy() -> None:
    """Source: Foster 1998, by numpy.mean and numpy.std(ddof=1)."""
    loads = np.array(WEEK)
    ratio = loads.mean() / loads.std(ddof=1)
    facts = facts_after(*SESSIONS_OF_THE_WEEK).day
    assert facts["monotony"] == pytest.approx(ratio)
    assert facts["strain"] == pytest.approx(loads.sum() * ratio)


def test_days_off_count_and_the_deviation_is_the_samples() -> None:
    """Source: Foster 1998, which does not say which deviation: with n it would be 1.1757 and
    2369.1, and with the days off left out 1.861."""
    with_n = np.mean(WEEK) / np.std(WEEK)
    assert with_n == pytest.approx(1.1757, abs=0.00005)
    assert sum(WEEK) * with_n == pytest.approx(2369.1, abs=0.05)
    without_days_off = monotony([load for load in WEEK if load])
    assert without_days_off == pytest.approx(1.861, abs=0.0005)
    said = facts_after(*SESSIONS_OF_THE_WEEK).day["monotony"]
    assert said not in (pytest.approx(with_n), pytest.approx(without_days_off))


@pytest.mark.parametrize(
    ("minutes_and_rpe", "load"),
    [
        ([(50, 8)] * 7, 2800),
        ([(60, 0)] * 7, 0),
        ([(33, 1), (30, 1.1), (10, 3.3), (15, 2.2), (11, 3), (6, 5.5), (5, 6.6)], 231),
    ],
    ids=["400 each day", "no effort", "33 each day, on seven ways"],
)
def test_a_week_of_equal_days_has_no_monotony(
    minutes_and_rpe: Sequence[tuple[float, float]], load: float
) -> None:
    """Source: Foster 1998: over a deviation of 0 there is no ratio; it is not reported, with the
    reason, and nothing is ever infinite."""
    days = enumerate(minutes_and_rpe, start=1)
    morning = facts_after(*(session(day, minutes, rpe) for day, (minutes, rpe) in days))
    assert morning.day["weekly_load"] == pytest.approx(load)
    for fact in ("monotony", "strain"):
        assert fact not in morning.day
        assert "alike" in morning.missing[fact]
    assert all(math.isfinite(v) for v in morning.day.values() if isinstance(v, int | float))


def test_a_week_without_rpe_or_with_too_short_a_log_has_no_load() -> None:
    """House judgement: an unknown load is not reported, and never taken for 0."""
    unrated = facts_after(*SESSIONS_OF_THE_WEEK, session(3, minutes=60, rpe=None))
    short_log = facts_after(*(s for s in SESSIONS_OF_THE_WEEK if s.minutes != 60))
    for morning in (unrated, short_log):
        assert not {"weekly_load", "monotony", "strain"} & set(morning.day)
    assert re.search(r"RPE.* 2026-03-06", unrated.missing["weekly_load"])
    assert re.search(r"needs .*7 days.* has 5", short_log.missing["weekly_load"])


def test_strain_is_load_times_monotony() -> None:
    """Source: Foster 2001, Table 5, which prints a load of 3400, a monotony of 1.26 and a strain of
    4284. Only that product is checked: its days, here, do not give 1.26 by any deviation."""
    days = [940.0, 50.0, 840.0 + 280.0, 180.0, 390.0, 50.0, 390.0 + 280.0]
    ratio = monotony(days)
    assert ratio is not None
    assert strain(days, ratio) == pytest.approx(3400 * ratio)
    assert pytest.approx(4284) == 3400 * 1.26


@pytest.mark.parametrize(("days", "weight"), [(7, 0.25), (28, 0.0689655172)])
def test_the_weight_of_today_is_two_over_n_plus_one(days: int, weight: float) -> None:
    """Source: Williams 2017 (lambda = 2 / (N + 1), from memory)."""
    assert weighted_load([0, 1], days) == pytest.approx(weight)


def test_a_step_in_load_is_followed_as_the_formula_has_it() -> None:
    """Source: Williams 2017; 28 days of nothing, then 100 a day, by arithmetic."""
    acute = [25, 43.75, 57.8125, 68.359375, 76.269531, 82.202148, 86.651611]
    steps = [[0.0] * 28 + [100.0] * day for day in range(1, 8)]
    assert [weighted_load(loads, ACUTE_DAYS) for loads in steps] == pytest.approx(acute)
    assert weighted_load(steps[-1], CHRONIC_DAYS) == pytest.approx(39.359836)


@pytest.mark.parametrize("days", [ACUTE_DAYS, CHRONIC_DAYS])
@pytest.mark.parametrize(
    "loads",
    [[300.0, 0.0, 450.0, 200.0, 0.0, 600.0, 0.0], WEEK * 9, [100.0] * 60],
    ids=["one week", "nine weeks", "the same each day"],
)
def test_weighted_load_is_that_of_pandas(loads: Sequence[float], days: int) -> None:
    """Source: Williams 2017, by pandas, Series.ewm(span=N, adjust=False)."""
    reference = pd.Series(loads).ewm(span=days, adjust=False).mean()
    ours = [weighted_load(loads[: day + 1], days) for day in range(len(loads))]
    assert ours == pytest.approx(reference.tolist())


def test_weighted_load_sees_when_in_a_week_the_load_came() -> None:
    """Source: Williams 2017, in kind only: three athletes with one rolling ratio had weighted
    ratios of 1.25, 1.41 and 1.55. Their series was not printed; this one is ours."""
    weeks = {
        "front": [200.0, 150.0, 100.0, 50.0, 50.0, 50.0, 0.0],
        "flat": [600 / 7] * 7,
        "back": [0.0, 50.0, 50.0, 50.0, 100.0, 150.0, 200.0],
    }
    histories = [[50.0] * 21 + week for week in weeks.values()]
    ratios = [weighted_load(h, ACUTE_DAYS) / weighted_load(h, CHRONIC_DAYS) for h in histories]
    assert ratios == pytest.approx([0.8906, 1.2637, 1.6451], abs=0.00005)
    rolling = [sum(h[-7:]) / (sum(h) / 4) for h in histories]
    assert rolling == pytest.approx([1.4545] * 3, abs=0.00005)


@pytest.mark.parametrize("week", [(200, 150, 100, 50, 50, 50, 0), (0, 50, 50, 50, 100, 150, 200)])
def test_only_the_ratio_of_acute_to_chronic_load_decides_nothing(
    baseline: Baseline, week: Sequence[int]
) -> None:
    """Source: Impellizzeri 2020, Int J Sports Physiol Perform 15(6):907-913 (from memory)."""
    before = [session(day, minutes=50, rpe=1) for day in range(8, 29)]
    this_week = [session(7 - day, load, rpe=1) for day, load in enumerate(week)]
    facts = facts_after(*before, *this_week)
    assert {"acute_load", "chronic_load"} <= set(facts.day)
    fired = [rule.id for rule in baseline.decider.fired("day", facts.day)]
    for acute, chronic in ((0, 1000), (1000, 0), (1000, 1000)):
        other = {**facts.day, "acute_load": acute, "chronic_load": chronic}
        assert [rule.id for rule in baseline.decider.fired("day", other)] == fired
