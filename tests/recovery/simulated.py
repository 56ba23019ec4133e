"""Simulated recovery: hours drawn from the model itself, seen between mornings only."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from dawnrule.recovery.intervals import Vector
from dawnrule.recovery.model import Coefficients, Episodes, Matrix, Spreads

SPREADS = Spreads(episode=0.25, athlete=0.25, muscle_group=0.15)
PRIOR = Coefficients(np.array([3.9, 0.2]), np.diag([1 / 0.3**2, 1 / 0.2**2]))


@dataclass(frozen=True, slots=True)
class Simulated:
    """Episodes with the true hours of each, and the true location of their logs."""

    episodes: Episodes
    hours: Vector
    locations: Vector
    features: Matrix


def simulate(
    rng: np.random.Generator, athletes: int, groups: int, each: int, seen_share: float = 0.9
) -> Simulated:
    """Draw coefficients, athletes, muscle groups and episodes; some mornings are missing."""
    coefficients = rng.multivariate_normal(PRIOR.mean, np.linalg.inv(PRIOR.precision))
    of_athlete = rng.normal(0, SPREADS.athlete, athletes)
    of_group = rng.normal(0, SPREADS.muscle_group, (athletes, groups))
    athlete = np.repeat(np.arange(athletes), each)
    group = np.tile(np.arange(each) % groups, athletes)
    features = np.column_stack([np.ones(len(athlete)), rng.integers(0, 2, len(athlete))])
    locations = features @ coefficients + of_athlete[athlete] + of_group[athlete, group]
    hours = np.exp(locations + rng.normal(0, SPREADS.episode, len(athlete)))
    intervals = [_between_mornings(rng, one, seen_share) for one in hours]
    cells = athlete * groups + group
    episodes = Episodes.of(intervals, features, athlete.tolist(), cells.tolist())
    return Simulated(episodes, hours, locations, features)


def _between_mornings(
    rng: np.random.Generator, hours: float, seen_share: float
) -> tuple[float, float]:
    mornings = rng.uniform(8, 20) + 24 * np.arange(14)
    mornings = mornings[rng.uniform(size=14) < seen_share]
    before, after = mornings[mornings < hours], mornings[mornings >= hours]
    return float(before.max(initial=0.0)), float(after.min(initial=np.inf))
