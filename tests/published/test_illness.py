"""Published checks: illness and the 'neck check'.

Eichner 1993, Phys Sportsmed 21:125-135 (from memory); Schwellnus 2016, Br J Sports Med
50:1043-1052 (from memory). Symptoms above the neck only: easy exercise, stop if worse. Fever, or
symptoms below the neck: none.
"""

from __future__ import annotations

import pytest

from dawnrule.model import Verdict
from tests.published.mornings import (
    Baseline,
    check_in,
    everything_at_its_best,
    one_block_of_each_goal,
)


@pytest.mark.parametrize(
    ("illness", "verdict"),
    [
        ("none", Verdict.TRAIN),
        ("above-neck", Verdict.SWAP),
        ("below-neck", Verdict.REST),
        ("fever", Verdict.REST),
    ],
)
def test_the_neck_check(baseline: Baseline, illness: str, verdict: Verdict) -> None:
    """Source: Eichner 1993, Schwellnus 2016 (from memory). With symptoms above the neck only easy
    exercise is allowed, so since 2.0.0 mobility goes on as planned, with a note."""
    best = everything_at_its_best() | {"illness": illness}
    for block in one_block_of_each_goal():
        decided = baseline.decide(check_in(block, **best))
        is_easy = baseline.is_second_edition and block.goal == "mobility"
        if is_easy and illness == "above-neck":
            assert decided.verdict is Verdict.TRAIN
            assert "illness-above-neck-easy-work" in decided.fired
        else:
            assert decided.verdict is verdict, block.goal


def test_with_a_cold_one_stops_if_it_gets_worse(baseline: Baseline) -> None:
    """Source: Eichner 1993 (from memory). With easy work too."""
    for block in one_block_of_each_goal():
        fired = baseline.decide(check_in(block, illness="above-neck")).fired
        assert any("Stop if it gets worse" in baseline.rule(name).caution for name in fired)
