"""The hours until soreness is low again: log-normal, seen between mornings, pooled over a squad.

The log of the hours of an episode is normal with standard deviation ``spread`` about

    features · coefficients + athlete + athlete's muscle group

where athletes and muscle groups deviate normally about 0 (Gelman and Hill 2007, Data analysis
using regression and multilevel models, chapter 12), and only the interval in which the hours lie
is known (Sun 2006, The statistical analysis of interval-censored failure time data, chapter 2).
The likelihood is log-concave (Pratt 1981, J Am Stat Assoc 76:103-106), so the posterior has one
mode, which Newton's method finds, and is close to the normal one about it (Laplace).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize

from dawnrule.recovery.intervals import LogNormal, Vector, log_mass, slopes

Matrix: TypeAlias = NDArray[np.float64]
Index: TypeAlias = NDArray[np.intp]

_MOST_STEPS = 60
_CONVERGED = 1e-9


@dataclass(frozen=True, slots=True)
class Spreads:
    """Standard deviations of the log of the hours: between episodes of the same kind, between
    athletes, and between the muscle groups of one athlete."""

    episode: float
    athlete: float
    muscle_group: float


@dataclass(frozen=True, slots=True)
class Coefficients:
    """What is known of the coefficients of the features: normal, with mean (p) and precision
    (p by p), the inverse of the covariance."""

    mean: Vector
    precision: Matrix


@dataclass(frozen=True, slots=True)
class Episodes:
    """Episodes of several athletes as columns of n rows.

    ``above_hours`` is the last time at which soreness was not low (0 where it always was),
    ``within_hours`` the first at which it was (infinite where that was not seen). ``features`` is
    n by p. ``athletes`` numbers the athlete of a row, ``cells`` the athlete's muscle group, and
    ``athlete_of_cell`` the athlete of each of those.
    """

    above_hours: Vector
    within_hours: Vector
    features: Matrix
    athletes: Index
    cells: Index
    athlete_of_cell: Index
    athlete_count: int

    @classmethod
    def of(
        cls,
        intervals: Sequence[tuple[float, float]],
        features: Matrix,
        athletes: Sequence[int],
        cells: Sequence[int],
    ) -> Episodes:
        """Build the columns from intervals in hours; athletes and cells count from 0. Each cell
        belongs to one athlete."""
        bounds = np.asarray(intervals, dtype=float).reshape(len(intervals), 2)
        athlete, cell = np.asarray(athletes, dtype=np.intp), np.asarray(cells, dtype=np.intp)
        athlete_of_cell = np.zeros(int(cell.max(initial=-1)) + 1, dtype=np.intp)
        athlete_of_cell[cell] = athlete
        count = int(athlete.max(initial=-1)) + 1
        return cls(bounds[:, 0], bounds[:, 1], features, athlete, cell, athlete_of_cell, count)

    @property
    def log_bounds(self) -> tuple[Vector, Vector]:
        """The logs of both bounds; the log of 0 is minus infinity."""
        with np.errstate(divide="ignore"):
            return np.log(self.above_hours), np.log(self.within_hours)


@dataclass(frozen=True, slots=True)
class Posterior:
    """The normal posterior about its mode.

    ``coefficients`` hold the precision that is left when athletes and muscle groups are averaged
    out. ``athlete`` and ``muscle_group`` are the deviations of each, ``log_evidence`` the log of
    how probable the episodes are under the spreads.
    """

    spreads: Spreads
    coefficients: Coefficients
    athlete: Vector
    muscle_group: Vector
    log_evidence: float
    _curvature: _Curvature

    def predict(self, features: Vector, cell: int | None, athlete: int | None = 0) -> LogNormal:
        """Return the hours of a further episode with these features (p), of a cell that was seen,
        of another muscle group of the athlete (None), or of another athlete (both None)."""
        location = float(features @ self.coefficients.mean)
        variance = self.spreads.episode**2
        weights = features
        if athlete is None:
            variance += self.spreads.athlete**2 + self.spreads.muscle_group**2
        else:
            location += float(self.athlete[athlete])
            weights, own = self._curvature.seen_by(features, cell, athlete)
            variance += own
            if cell is None:
                variance += self.spreads.muscle_group**2
            else:
                location += float(self.muscle_group[cell])
        variance += float(weights @ np.linalg.solve(self.coefficients.precision, weights))
        return LogNormal(location, float(np.sqrt(variance)))

    def factor_of(self, athlete: int) -> LogNormal:
        """Return by what factor the hours of an athlete differ from those of all."""
        along, variance = self._curvature.deviation_of(athlete)
        variance += float(along @ np.linalg.solve(self.coefficients.precision, along))
        return LogNormal(float(self.athlete[athlete]), float(np.sqrt(variance)))

    def without(self, athlete: int) -> Coefficients:
        """Return what the others alone say of the coefficients: the athlete's share is divided
        out of the posterior, so that nobody's episodes count twice."""
        precision = self.coefficients.precision - self._curvature.share[athlete]
        shift = np.linalg.solve(precision, self._curvature.slope[athlete])
        return Coefficients(self.coefficients.mean - shift, precision)


def fit(episodes: Episodes, spreads: Spreads, prior: Coefficients) -> Posterior:
    """Fit athletes, muscle groups and coefficients to episodes under given spreads."""
    state = _State(
        prior.mean.copy(),
        np.zeros(episodes.athlete_count),
        np.zeros(len(episodes.athlete_of_cell)),
    )
    value = _log_joint(episodes, spreads, prior, state)
    for _ in range(_MOST_STEPS):
        curvature = _Curvature.at(episodes, spreads, prior, state)
        step = curvature.newton_step(spreads, prior, state)
        state, value, gain = _climb(episodes, spreads, prior, state, step, value)
        if gain < _CONVERGED:
            break
    curvature = _Curvature.at(episodes, spreads, prior, state)
    return Posterior(
        spreads,
        Coefficients(state.coefficients, curvature.schur),
        state.athlete,
        state.muscle_group,
        value - 0.5 * curvature.log_determinant(),
        curvature,
    )


def fit_spreads(
    episodes: Episodes, usual: Spreads, prior: Coefficients, log_sd: float
) -> Posterior:
    """Fit the spreads too: those that make the episodes most probable, each log-normal about its
    usual value with ``log_sd`` beforehand."""
    centre = np.log([usual.episode, usual.athlete, usual.muscle_group])

    def loss(log_spreads: Vector) -> float:
        at = Spreads(*np.exp(log_spreads))
        distance = (log_spreads - centre) / log_sd
        return 0.5 * float(distance @ distance) - fit(episodes, at, prior).log_evidence

    found = minimize(loss, centre, method="Nelder-Mead", options={"xatol": 0.01, "fatol": 0.01})
    return fit(episodes, Spreads(*np.exp(found.x)), prior)


@dataclass(frozen=True, slots=True)
class _State:
    coefficients: Vector
    athlete: Vector
    muscle_group: Vector

    def plus(self, step: _State, length: float) -> _State:
        return _State(
            self.coefficients + length * step.coefficients,
            self.athlete + length * step.athlete,
            self.muscle_group + length * step.muscle_group,
        )

    def locations(self, episodes: Episodes) -> Vector:
        by_work: Vector = episodes.features @ self.coefficients
        return by_work + self.athlete[episodes.athletes] + self.muscle_group[episodes.cells]


def _climb(
    episodes: Episodes,
    spreads: Spreads,
    prior: Coefficients,
    state: _State,
    step: _State,
    value: float,
) -> tuple[_State, float, float]:
    """Go along a step as far as that helps; return where it led, the value there and the gain."""
    length = 1.0
    while length > _CONVERGED:
        further = state.plus(step, length)
        reached = _log_joint(episodes, spreads, prior, further)
        if reached >= value:
            return further, reached, reached - value
        length /= 2
    return state, value, 0.0


def _log_joint(episodes: Episodes, spreads: Spreads, prior: Coefficients, state: _State) -> float:
    """Return the log of the joint density, with each normal but for its share of 2π, which the
    log determinant of the Laplace approximation leaves out too."""
    distance = state.coefficients - prior.mean
    _, prior_log_determinant = np.linalg.slogdet(prior.precision)
    lower, upper = _standardised(episodes, spreads, state)
    return float(
        log_mass(lower, upper).sum()
        - 0.5 * distance @ prior.precision @ distance
        + 0.5 * prior_log_determinant
        + _log_normals(state.athlete, spreads.athlete)
        + _log_normals(state.muscle_group, spreads.muscle_group)
    )


def _log_normals(values: Vector, sd: float) -> float:
    return float(-0.5 * (values @ values) / sd**2 - len(values) * np.log(sd))


def _standardised(episodes: Episodes, spreads: Spreads, state: _State) -> tuple[Vector, Vector]:
    locations = state.locations(episodes)
    lower, upper = episodes.log_bounds
    return (lower - locations) / spreads.episode, (upper - locations) / spreads.episode


@dataclass(frozen=True, slots=True)
class _Curvature:
    """Slope and curvature of the log joint density, from which muscle groups are eliminated first,
    then athletes: nothing larger than p by p is ever solved.

    Per cell: ``cell_weight``, ``cell_features`` (p), ``cell_slope`` and ``cell_diagonal``. Per
    athlete: ``athlete_diagonal`` and ``athlete_features`` after the cells, ``share`` (p by p) and
    ``slope`` (p) of what the athlete says of the coefficients. ``schur`` is their precision.
    """

    episodes: Episodes
    cell_weight: Vector
    cell_features: Matrix
    cell_slope: Vector
    cell_diagonal: Vector
    cell_prior: float
    athlete_diagonal: Vector
    athlete_features: Matrix
    share: NDArray[np.float64]
    slope: Matrix
    schur: Matrix

    @classmethod
    def at(
        cls, episodes: Episodes, spreads: Spreads, prior: Coefficients, state: _State
    ) -> _Curvature:
        first, weight = slopes(*_standardised(episodes, spreads, state), spreads.episode)
        features, cells, owner = episodes.features, episodes.cells, episodes.athlete_of_cell
        cell_count, count = len(owner), episodes.athlete_count
        cell_weight = _counts(cells, weight, cell_count)
        cell_features = _sums(features * weight[:, None], cells, cell_count)
        cell_prior = spreads.muscle_group**-2
        cell_diagonal = cell_weight + cell_prior
        left = cell_prior / cell_diagonal
        athlete_diagonal = spreads.athlete**-2 + _counts(owner, cell_weight * left, count)
        athlete_features = _sums(cell_features * left[:, None], owner, count)
        squares = np.einsum("ij,ik,i->ijk", features, features, weight)
        by_cell = np.einsum("ij,ik,i->ijk", cell_features, cell_features, 1 / cell_diagonal)
        by_athlete = np.einsum(
            "ij,ik,i->ijk", athlete_features, athlete_features, 1 / athlete_diagonal
        )
        share = _sums(squares, episodes.athletes, count) - _sums(by_cell, owner, count) - by_athlete
        return cls(
            episodes,
            cell_weight,
            cell_features,
            _counts(cells, first, cell_count),
            cell_diagonal,
            cell_prior,
            athlete_diagonal,
            athlete_features,
            share,
            _sums(features * first[:, None], episodes.athletes, count),
            prior.precision + share.sum(axis=0),
        )

    def newton_step(self, spreads: Spreads, prior: Coefficients, state: _State) -> _State:
        """Solve for the step to the top of the quadratic that touches here."""
        owner, count = self.episodes.athlete_of_cell, self.episodes.athlete_count
        by_cell = self.cell_slope - self.cell_prior * state.muscle_group
        by_athlete = _counts(owner, self.cell_slope, count) - state.athlete / spreads.athlete**2
        by_athlete = by_athlete - _counts(
            owner, self.cell_weight * by_cell / self.cell_diagonal, count
        )
        whole = self.slope.sum(axis=0) - prior.precision @ (state.coefficients - prior.mean)
        whole = whole - self.cell_features.T @ (by_cell / self.cell_diagonal)
        whole = whole - self.athlete_features.T @ (by_athlete / self.athlete_diagonal)
        coefficients = np.linalg.solve(self.schur, whole)
        athlete = (by_athlete - self.athlete_features @ coefficients) / self.athlete_diagonal
        muscle_group = (
            by_cell - self.cell_features @ coefficients - self.cell_weight * athlete[owner]
        ) / self.cell_diagonal
        return _State(coefficients, athlete, muscle_group)

    def log_determinant(self) -> float:
        """Return the log of the determinant of the whole precision."""
        _, of_coefficients = np.linalg.slogdet(self.schur)
        return float(
            np.log(self.cell_diagonal).sum() + np.log(self.athlete_diagonal).sum() + of_coefficients
        )

    def seen_by(self, features: Vector, cell: int | None, athlete: int) -> tuple[Vector, float]:
        """Return the weights with which uncertain coefficients enter a prediction, once athlete
        and muscle group follow them, and the variance that those two have of their own."""
        along, variance, of_athlete = features, 0.0, 1.0
        if cell is not None:
            variance += 1 / self.cell_diagonal[cell]
            along = along - self.cell_features[cell] / self.cell_diagonal[cell]
            of_athlete -= self.cell_weight[cell] / self.cell_diagonal[cell]
        variance += of_athlete**2 / self.athlete_diagonal[athlete]
        along = along - of_athlete * self.athlete_features[athlete] / self.athlete_diagonal[athlete]
        return along, float(variance)

    def deviation_of(self, athlete: int) -> tuple[Vector, float]:
        """Return how an athlete's deviation follows the coefficients, and its own variance."""
        diagonal = self.athlete_diagonal[athlete]
        return -self.athlete_features[athlete] / diagonal, float(1 / diagonal)


def _counts(of: Index, weights: Vector, count: int) -> Vector:
    """Add up weights by number."""
    return np.bincount(of, weights, count).astype(float, copy=False)


def _sums(rows: NDArray[np.float64], of: Index, count: int) -> NDArray[np.float64]:
    """Add up rows by number; keeps the shape of a row."""
    total = np.zeros((count, *rows.shape[1:]))
    np.add.at(total, of, rows)
    return total
