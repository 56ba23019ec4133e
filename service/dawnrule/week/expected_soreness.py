"""The soreness that is expected on a morning of the week, from an athlete's own recovery."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime

from dawnrule.i18n.catalog import Texts
from dawnrule.model import Vocabulary
from dawnrule.model.entities import Session
from dawnrule.recovery.episodes import Work, works_by_group
from dawnrule.recovery.forecast import AthleteRecovery, UnderWay
from dawnrule.week.request import Placed


@dataclass(frozen=True, slots=True)
class ExpectedSoreness:
    """Forecasts soreness 0 to 10: just under the limit of a kind of goal where that is likely
    enough, just above it where it is not. Muscle groups of which too little was seen are expected
    not to be sore unless they were at the last answer; ``is_known`` tells them apart.

    ``recoveries`` are by kind of goal, ``low_under`` the limit of each, the strictest first.
    """

    recoveries: dict[str, AthleteRecovery]
    low_under: dict[str, float]
    logged: tuple[Session, ...]
    likely: float
    vocabulary: Vocabulary
    _known: dict[str, bool] = field(default_factory=dict)
    _on_the_way: dict[tuple[str, str, Work | None], UnderWay | None] = field(default_factory=dict)
    _works: dict[tuple[Placed, ...], dict[str, list[Work]]] = field(default_factory=dict)

    def at(self, placed: Sequence[Placed], at: datetime) -> dict[str, float]:
        """Return what is expected at a time after what is placed before it."""
        soreness = dict.fromkeys(self.vocabulary.muscle_groups, 0.0)
        for group in soreness:
            if self.is_known(group) or self.is_sore(group):
                soreness[group] = self._expected(group, self._last_work(group, placed, at), at)
        return soreness

    def is_known(self, group: str) -> bool:
        """Return whether enough was seen of a muscle group to forecast it."""
        if group not in self._known:
            recoveries = self.recoveries.values()
            self._known[group] = all(recovery.is_own(group) for recovery in recoveries)
        return self._known[group]

    def is_sore(self, group: str) -> bool:
        """Return whether the last answer about a muscle group was not low for some kind of goal."""
        return any(group in recovery.own.sore_at for recovery in self.recoveries.values())

    def chance_at(self, kind: str, group: str, placed: Sequence[Placed], at: datetime) -> float:
        """Return how likely soreness of a muscle group is low for a kind of goal at a time."""
        return self._chance(kind, group, self._last_work(group, placed, at), at)

    def low_words(self, kind: str, group: str, texts: Texts) -> str:
        """Say what counts as low for a kind of goal: "under 3", or back to an own usual."""
        return self.recoveries[kind].low(group).words(texts, self.low_under[kind])

    def _last_work(self, group: str, placed: Sequence[Placed], at: datetime) -> Work | None:
        """Find the last work of a muscle group before a time. The works of a whole log are sorted
        once for all mornings that have the same sessions before them."""
        key = tuple(placed)
        if key not in self._works:
            done = (session.as_done("") for session in placed)
            self._works[key] = works_by_group((*self.logged, *done), self.vocabulary)
        works = self._works[key].get(group, ())
        return next((work for work in reversed(works) if work.began < at), None)

    def _expected(self, group: str, last: Work | None, at: datetime) -> float:
        expected = 0.0
        for kind, limit in sorted(self.low_under.items(), key=lambda item: item[1]):
            if self._known_way(kind, group, last) is None:
                return expected
            if self._chance(kind, group, last, at) >= self.likely:
                return max(expected, limit - 1)
            expected = limit + 1
        return expected

    def _chance(self, kind: str, group: str, last: Work | None, at: datetime) -> float:
        on_the_way = self._known_way(kind, group, last)
        return 1.0 if on_the_way is None else on_the_way.chance_at(at)

    def _known_way(self, kind: str, group: str, last: Work | None) -> UnderWay | None:
        key = (kind, group, last)
        if key not in self._on_the_way:
            self._on_the_way[key] = self.recoveries[kind].on_the_way(group, last)
        return self._on_the_way[key]
