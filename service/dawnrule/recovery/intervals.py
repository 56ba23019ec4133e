"""A log-normal number of hours, and the normal mass between two bounds with its slopes."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray
from scipy.special import log_ndtr, ndtri

Vector: TypeAlias = NDArray[np.float64]

_HALF_LOG_TWO_PI = 0.5 * np.log(2 * np.pi)
_LEAST_CURVATURE = 1e-9
_LEAST_LOG_MASS = -1e9


@dataclass(frozen=True, slots=True)
class LogNormal:
    """Hours whose logs are normal with this location and scale."""

    location: float
    scale: float

    def chance_within(self, hours: float, beyond: float = 0.0) -> float:
        """Return how probable at most so many hours are, where ``beyond`` hours have passed and
        it was not over yet."""
        if hours <= beyond:
            return 0.0
        later = log_ndtr(-self._standard(hours))
        return float(-np.expm1(later - log_ndtr(-self._standard(beyond))))

    def hours_at(self, chance: float) -> float:
        """Return the hours within which it is over with this chance, in (0, 1)."""
        return float(np.exp(self.location + self.scale * ndtri(chance)))

    def _standard(self, hours: float) -> float:
        with np.errstate(divide="ignore"):
            return float((np.log(hours) - self.location) / self.scale)


def log_mass(lower: Vector, upper: Vector) -> Vector:
    """Return the log of the standard normal mass between two bounds, exact in both tails."""
    flipped = lower > 0
    low, high = np.where(flipped, -upper, lower), np.where(flipped, -lower, upper)
    log_high, log_low = log_ndtr(high), log_ndtr(low)
    with np.errstate(divide="ignore"):
        mass: Vector = log_high + np.log(-np.expm1(np.minimum(log_low - log_high, 0.0)))
    return np.maximum(mass, _LEAST_LOG_MASS)


def slopes(lower: Vector, upper: Vector, sd: float) -> tuple[Vector, Vector]:
    """Return the first derivative of the log mass by the location, and minus the second."""
    mass = log_mass(lower, upper)
    at_low, at_high = _density_ratio(lower, mass), _density_ratio(upper, mass)
    first = (at_low - at_high) / sd
    with np.errstate(invalid="ignore"):
        moment = np.where(np.isfinite(upper), upper * at_high, 0.0) - np.where(
            np.isfinite(lower), lower * at_low, 0.0
        )
    second = moment / sd**2 + first**2
    return first, np.clip(second, _LEAST_CURVATURE, None)


def _density_ratio(at: Vector, mass: Vector) -> Vector:
    ratio: Vector = np.exp(-0.5 * np.square(at) - _HALF_LOG_TWO_PI - mass)
    return np.where(np.isfinite(at), ratio, 0.0)
