"""The numbers of a week, from ``rules/week.yaml``."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import Any, Self

from dawnrule.i18n.resources import read_data, rules_folder


@dataclass(frozen=True, slots=True)
class WeekNumbers:
    """``rules/week.yaml``; ``order`` lists the goals of one day, first to last."""

    likely: float
    growth_minutes_at_most: float
    sets_at_most: int
    sets_rise_percent: float
    sets_weeks: int
    days_off: int
    days_off_young: int
    young_under_years: int
    before_competition_hours: float
    after_competition_hours: float
    strength_endurance_hours: float
    strength_endurance_better_hours: float
    growth_best_hours: float
    hard_best_hours: float
    order: tuple[tuple[str, ...], ...]
    step_minutes: int

    @classmethod
    @cache
    def bundled(cls) -> Self:
        """Read the numbers that ship with the service."""
        data: dict[str, Any] = dict(read_data(rules_folder() / "week.yaml"))
        data["order"] = tuple(map(tuple, data["order"]))
        return cls(**data)

    def days_off_at(self, age_years: int | None) -> int:
        """Return how many days of seven are free at an age; an adult's where it is not known."""
        is_young = age_years is not None and age_years < self.young_under_years
        return self.days_off_young if is_young else self.days_off

    def place_in_day(self, goal: str) -> int:
        """Return the place of a goal in the order of a day."""
        return next(place for place, goals in enumerate(self.order) if goal in goals)
