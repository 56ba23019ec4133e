"""What do beats and heart-rate variability say? The published formulas, over plain numbers."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from math import fsum, log, sqrt
from statistics import mean, stdev


def rmssd_ms(rr_intervals_ms: Sequence[float]) -> float | None:
    """Square root of the mean of the squared successive differences of RR intervals, in ms; None
    for fewer than two intervals.

    Task Force of ESC and NASPE 1996, Eur Heart J 17:354-381.
    """
    squares = [(later - earlier) ** 2 for earlier, later in pairwise(rr_intervals_ms)]
    return sqrt(fsum(squares) / len(squares)) if squares else None


def mean_ln(rmssd_values_ms: Sequence[float]) -> float:
    """Mean of the natural logarithms of rMSSD values above 0, without rounding on the way: values
    that never vary have to lie inside their own band.

    Plews 2013, Sports Med 43(9):773-781.
    """
    return mean(log(value) for value in rmssd_values_ms)


def own_band(rmssd_values_ms: Sequence[float], band_sd: float) -> tuple[float, float]:
    """Mean of ln(rMSSD) less and plus ``band_sd`` standard deviations (n - 1): the smallest change
    that is worth noticing. Needs at least two values above 0.

    Vesterinen 2016, Med Sci Sports Exerc 48(7):1347-1354.
    """
    logs = [log(value) for value in rmssd_values_ms]
    middle, half = mean(logs), band_sd * stdev(logs)
    return middle - half, middle + half
