"""Published checks: Wilson 1927 intervals (J Am Stat Assoc 22(158):209-212)."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import binomtest

from dawnrule.analytics.scorecard import LEAST_MORNINGS, Share, wilson_interval


@pytest.mark.parametrize(
    ("count", "of", "low", "high"),
    [
        (81, 263, 0.2553, 0.3662),
        (15, 148, 0.0624, 0.1605),
        (0, 20, 0.0000, 0.1611),
        (1, 29, 0.0061, 0.1718),
    ],
)
def test_the_intervals_are_those_of_a_published_comparison(
    count: int, of: int, low: float, high: float
) -> None:
    """Newcombe 1998, Stat Med 17:857-872, table I, score method (from memory)."""
    found = wilson_interval(count, of)
    assert [round(end, 4) for end in found] == [low, high]


@given(st.integers(1, 5_000).flatmap(lambda of: st.tuples(st.integers(0, of), st.just(of))))
def test_the_intervals_are_those_of_scipy(counted: tuple[int, int]) -> None:
    """Wilson 1927, as ``scipy.stats.binomtest(...).proportion_ci(method="wilson")`` has it."""
    count, of = counted
    theirs = binomtest(count, of).proportion_ci(0.95, method="wilson")
    assert wilson_interval(count, of) == pytest.approx((theirs.low, theirs.high), abs=1e-12)


def test_an_interval_stays_between_nothing_and_all() -> None:
    """Wilson 1927: unlike the plain interval, it never leaves 0 to 1."""
    assert wilson_interval(0, 3)[0] == 0
    assert wilson_interval(3, 3)[1] == 1


def test_nothing_is_claimed_from_fewer_than_ten_mornings() -> None:
    """House judgement: ten mornings are the least that a share is told from."""
    assert LEAST_MORNINGS == 10
    nine = Share.counted(9, 9)
    assert (nine.count, nine.of) == (9, 9)
    assert (nine.share, nine.low, nine.high) == (None, None, None)
    assert nine.why_none == "needs 10 mornings, has 9"


def test_ten_mornings_are_enough() -> None:
    """The interval: Wilson 1927, worked by its formula."""
    ten = Share.counted(5, 10)
    assert (ten.share, ten.why_none) == (0.5, None)
    assert (ten.low, ten.high) == pytest.approx((0.2366, 0.7634), abs=5e-5)
