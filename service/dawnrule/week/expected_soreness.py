"""The soreness that is expected on a morning of the week, from an athlete's own recovery."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime

from dawnrule.model import Vocabulary
from dawnrule.model.entities import Session
from dawnrule.recovery.episodes import Work, works_by_group
from dawnrule.recovery.forecast import AthleteRecovery, UnderWay
from dawnrule.week.request import Placed


@dataclass(frozen=True, slots=True)
class ExpectedSoreness:
    """Forecasts soreness 0 to 10: just under the limit of a kind of goal where that is likely
    enough, just above it where it is not. Muscle groups of which too little was seen are expected
    not to be sore; ``is_known`` tells them apart.

    ``recoveries`` are by kind of goal, ``low_under`` the limit of each, the strictest first.
    """

    recoveries: dict[str, AthleteRecovery]
    low_under: dict[str, float]
    logged: tuple[Session, ...]
    likely: float
    vocabulary: Vocabulary
    _known: dict[str, bool] = field(default_factory=dict)
    _under_way: dict[tuple[str, str, Work], UnderWay] = field(default_factory=dict)
    _works: dict[tuple[Placed, ...], dict[str, list[Work]]] = field(default_factory=dict)

    def at(self, placed: Sequence[Placed], at: datetime) -> dict[str, float]:
        """Return what is expected at a time after what is placed before it."""
        soreness = dict.fromkeys(self.vocabulary.muscle_groups, 0.0)
        for group in filter(self.is_known, soreness):
            if (last := self._last_work(group, placed, at)) is not None:
                soreness[group] = self._expected(group, last, at)
        return soreness

    def is_known(self, group: str) -> bool:
        """Return whether enough was seen of a muscle group to forecast it."""
        if group not in self._known:
            recoveries = self.recoveries.values()
            self._known[group] = all(recovery.is_own(group) for recovery in recoveries)
        return self._known[group]

    def chance_at(self, kind: str, group: str, placed: Sequence[Placed], at: datetime) -> float:
        """Return how likely soreness of a muscle group is low for a kind of goal at a time."""
        last = self._last_work(group, placed, at)
        return 1.0 if last is None else self._chance(kind, group, last, at)

    def _last_work(self, group: str, placed: Sequence[Placed], at: datetime) -> Work | None:
        """Find the last work of a muscle group before a time. The works of a whole log are sorted
        once for all mornings that have the same sessions before them."""
        key = tuple(placed)
        if key not in self._works:
            done = (session.as_done("") for session in placed)
            self._works[key] = works_by_group((*self.logged, *done), self.vocabulary)
        works = self._works[key].get(group, ())
        return next((work for work in reversed(works) if work.began < at), None)

    def _expected(self, group: str, work: Work, at: datetime) -> float:
        expected = 0.0
        for kind, limit in sorted(self.low_under.items(), key=lambda item: item[1]):
            if self._chance(kind, group, work, at) >= self.likely:
                return max(expected, limit - 1)
            expected = limit + 1
        return expected

    def _chance(self, kind: str, group: str, work: Work, at: datetime) -> float:
        key = (kind, group, work)
        if key not in self._under_way:
            self._under_way[key] = self.recoveries[kind].under_way(group, work)
        return self._under_way[key].chance_at(at)
