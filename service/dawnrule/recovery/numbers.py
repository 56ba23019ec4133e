"""The numbers of own recovery, from ``rules/recovery.yaml``."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import time
from functools import cache
from typing import Any, Self

from dawnrule.i18n.resources import read_data, rules_folder


@dataclass(frozen=True, slots=True)
class Effect:
    """An effect on the log of the hours: its mean and standard deviation beforehand."""

    mean: float
    sd: float
    source: str


@dataclass(frozen=True, slots=True)
class UsualWork:
    """What usual work is, and the longest break that counts."""

    sets: int
    minutes: float
    days_since: float
    days_since_at_most: float
    age_years: int


@dataclass(frozen=True, slots=True)
class RecoveryNumbers:
    """``rules/recovery.yaml``. Soreness is 0 to 10; ``spreads`` and ``effects`` are on the log of
    hours; ``low_under`` is by kind of goal."""

    low_under: dict[str, float]
    usual_counts_under: float
    usual_after_hours: float
    rises_for_hours: float
    ends_after_hours: float
    morning: time
    days: int
    least_episodes: int
    likely: float
    rule_hours: float
    spreads: dict[str, float]
    usual_work: UsualWork
    effects: dict[str, Effect]

    @classmethod
    @cache
    def bundled(cls) -> Self:
        """Read the numbers that ship with the service."""
        data: dict[str, Any] = dict(read_data(rules_folder() / "recovery.yaml"))
        data["morning"] = time.fromisoformat(data["morning"])
        data["usual_work"] = UsualWork(**data["usual_work"])
        data["effects"] = {name: Effect(**effect) for name, effect in data["effects"].items()}
        return cls(**data)
