"""Published formulas of training load, over plain numbers (pure)."""

from __future__ import annotations

from collections.abc import Sequence
from math import isclose
from statistics import fmean, stdev


def session_load(rpe: float, minutes: float) -> float:
    """Return session RPE (CR10) times minutes, in arbitrary units.

    Foster 2001, J Strength Cond Res 15(1):109-115.
    """
    return rpe * minutes


def monotony(daily_loads: Sequence[float]) -> float | None:
    """Return the mean of a week's daily loads over their standard deviation; days off count as 0.

    The sample deviation (n - 1) is used: the paper does not say which, and the week is a sample of
    the athlete's days. None where all days are alike, as the ratio does not exist there; loads that
    differ by no more than the rounding of sums count as alike.
    Foster 1998, Med Sci Sports Exerc 30(7):1164-1168.
    """
    if isclose(min(daily_loads), max(daily_loads)):
        return None
    return fmean(daily_loads) / stdev(daily_loads)


def strain(daily_loads: Sequence[float], ratio: float) -> float:
    """Return the week's load times ``ratio``, its monotony.

    Foster 1998, Med Sci Sports Exerc 30(7):1164-1168.
    """
    return sum(daily_loads) * ratio


def weighted_load(daily_loads: Sequence[float], days: int) -> float:
    """Return the exponentially weighted mean of daily loads, oldest first, seeded with the first:
    today = load x lambda + yesterday x (1 - lambda), lambda = 2 / (days + 1).

    Williams 2017, Br J Sports Med 51(3):209-210.
    """
    weight = 2 / (days + 1)
    mean = daily_loads[0]
    for load in daily_loads[1:]:
        mean = load * weight + mean * (1 - weight)
    return mean


def rise_percent(now: float, before: float) -> float:
    """Return by how many percent ``now`` lies above ``before``, which must not be 0."""
    return (now - before) * 100 / before
