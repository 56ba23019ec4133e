"""Published checks: hours since training.

After sets to failure: below baseline at 24 h, not different from it at 48 h (McLester 2003,
J Strength Cond Res 17(2):259-273); failure adds up to 24-48 h (Moran-Navarro 2017, Eur J Appl
Physiol 117(12):2387-2399); squat speed still 8.6 % down at 72 h (Belcher 2019, Appl Physiol Nutr
Metab 44(10):1033-1042). No paper gives a cut-off; 48 h and 72 h are common practice, no source.
"""

from __future__ import annotations

import pytest

from dawnrule.model import Verdict
from tests.published.mornings import (
    Baseline,
    Decided,
    check_in,
    everything_at_its_best,
    planned,
    trained,
)


def after_growth_work(baseline: Baseline, goal: str, hours: float) -> Decided:
    best = everything_at_its_best() | {"last_trained": trained(hours, "hypertrophy", ["chest"])}
    return baseline.decide(check_in(planned(goal, "chest"), **best))


@pytest.mark.parametrize("hours", [4, 20, 24])
def test_growth_work_is_not_repeated_within_a_day(baseline: Baseline, hours: float) -> None:
    """Source: McLester 2003; Moran-Navarro 2017. Muscle protein synthesis is 109 % above rest at
    24 h: Chesley 1992, J Appl Physiol 73(4):1383-1388."""
    assert after_growth_work(baseline, "hypertrophy", hours).verdict is Verdict.SWAP


def test_growth_work_between_two_and_three_days_goes_with_a_note(baseline: Baseline) -> None:
    """Source: McLester 2003 (back at 48 h), Belcher 2019 (not yet at 72 h): they differ."""
    decided = after_growth_work(baseline, "hypertrophy", 60)
    assert decided.verdict is Verdict.TRAIN
    assert decided.fired == {"growth-work-before-three-days"}


def test_after_four_days_time_says_nothing_more(baseline: Baseline) -> None:
    """Source: McLester 2003, where 96 h was the last and a recovered time."""
    assert after_growth_work(baseline, "hypertrophy", 96).fired == set()


@pytest.mark.parametrize("goal", ["strength", "power"])
def test_force_may_still_be_down_the_day_after_growth_work(baseline: Baseline, goal: str) -> None:
    """Source: McLester 2003; Moran-Navarro 2017. That it is a note and no swap: common practice,
    no source (daily strength work of one muscle is fine)."""
    day_after = after_growth_work(baseline, goal, 24)
    assert day_after.verdict is Verdict.TRAIN
    assert "force-work-after-growth-work" in day_after.fired
    four_days_after = after_growth_work(baseline, goal, 96)
    assert "force-work-after-growth-work" not in four_days_after.fired
