"""How sure can one be of a share that was counted? (pure)"""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt
from statistics import NormalDist
from typing import Self

CONFIDENCE = 0.95
"""Of intervals made in this way, the part that holds the true share."""

LEAST_MORNINGS = 10
"""With fewer nothing is claimed, only counted: house judgement, no source."""

_Z = NormalDist().inv_cdf((1 + CONFIDENCE) / 2)


def wilson_interval(count: int, of: int) -> tuple[float, float]:
    """The 95 % score interval of a share, ``of`` being 1 or more; it stays between 0 and 1 and
    does not shrink to a point at either end.

    Wilson 1927, J Am Stat Assoc 22(158):209-212.
    """
    share = count / of
    weight = _Z**2 / of
    middle = (share + weight / 2) / (1 + weight)
    half = _Z / (1 + weight) * sqrt(share * (1 - share) / of + weight / (4 * of))
    low = 0.0 if count == 0 else middle - half
    high = 1.0 if count == of else middle + half
    return low, high


@dataclass(frozen=True, slots=True)
class Share:
    """``count`` mornings of ``of``, and what may be said of it: ``share`` with the ends ``low``
    and ``high`` of its 95 % interval; all None, and ``why_none`` says why, when there are too few.
    """

    count: int
    of: int
    share: float | None
    low: float | None
    high: float | None
    why_none: str | None

    @classmethod
    def counted(cls, count: int, of: int) -> Self:
        """The share of a count."""
        if of < LEAST_MORNINGS:
            why = f"needs {LEAST_MORNINGS} mornings, has {of}"
            return cls(count, of, None, None, None, why)
        return cls(count, of, count / of, *wilson_interval(count, of), None)
