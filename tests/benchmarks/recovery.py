"""Own recovery: the fit of one athlete with three years and of a squad of thirty, beside lifelines'
fit of the same intervals without pooling.

``python -m tests.benchmarks.recovery``
"""

from __future__ import annotations

import time
import warnings
from collections.abc import Callable
from statistics import median

import numpy as np
from lifelines import LogNormalFitter

from dawnrule.recovery.model import fit, fit_spreads
from tests.recovery.simulated import PRIOR, SPREADS, simulate

_EPISODES = 1000  # three a week of two muscle groups, over three years
_RUNS = 7


def _seconds(work: Callable[[], object]) -> float:
    taken = []
    for _ in range(_RUNS):
        began = time.process_time()
        work()
        taken.append(time.process_time() - began)
    return median(taken)


def main() -> None:
    """Print medians of processor time in milliseconds, and the ratio to the peer."""
    rng = np.random.default_rng(1)
    one = simulate(rng, athletes=1, groups=8, each=_EPISODES).episodes
    squad = simulate(rng, athletes=30, groups=8, each=150).episodes
    lower = np.maximum(one.above_hours, 1e-9)

    def peer() -> None:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            LogNormalFitter().fit_interval_censoring(lower, one.within_hours)

    own, theirs = _seconds(lambda: fit(one, SPREADS, PRIOR)), _seconds(peer)
    everybody = _seconds(lambda: fit_spreads(squad, SPREADS, PRIOR, log_sd=0.5))
    print(f"one athlete, {_EPISODES} episodes: {own * 1000:.1f} ms")
    print(f"lifelines, without pooling: {theirs * 1000:.1f} ms; ratio {own / theirs:.3f}")
    print(f"thirty athletes with their spreads: {everybody * 1000:.0f} ms, once a day")


if __name__ == "__main__":
    main()
