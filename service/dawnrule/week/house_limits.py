"""What holds for a week besides the rule set: house limits, each with a name and its number."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import timedelta
from itertools import product
from math import floor

from dawnrule.facts.work import HARD_ENDURANCE, SPEED, lands_hard
from dawnrule.model import Vocabulary
from dawnrule.model.entities import Block
from dawnrule.model.training import groups_of
from dawnrule.week.numbers import WeekNumbers
from dawnrule.week.request import Placed

_FORCE = "force"
_GROWTH = "growth"


@dataclass(frozen=True, slots=True)
class HouseLimit:
    """A limit that a session would break: its name among the texts, the number that holds, and
    the number that was found."""

    name: str
    limit: float
    found: float


TRAVELLING = HouseLimit("travelling", 0, 0)
"""What keeps a session from the time of a journey."""


@dataclass(frozen=True, slots=True)
class HouseLimits:
    """The house limits of sessions by themselves and of pairs of sessions."""

    numbers: WeekNumbers
    vocabulary: Vocabulary

    def broken_by(self, session: Placed, others: Iterable[Placed]) -> Iterator[HouseLimit]:
        """Yield what a session breaks by itself and beside others."""
        yield from self._of_session(session)
        for other in others:
            if session.starts_at < other.ends_at and other.starts_at < session.ends_at:
                yield HouseLimit("overlap", 0, 0)
            yield from self.of_pair(session, other)

    def _of_session(self, session: Placed) -> Iterator[HouseLimit]:
        growth = [block for block in session.blocks if self._kind(block) == _GROWTH]
        if growth and session.minutes > self.numbers.growth_minutes_at_most:
            yield HouseLimit("growth_minutes", self.numbers.growth_minutes_at_most, session.minutes)
        sets = self.sets_of(session.blocks)
        if sets and max(sets.values()) > self.numbers.sets_at_most:
            yield HouseLimit("sets", self.numbers.sets_at_most, max(sets.values()))

    def of_pair(self, session: Placed, other: Placed) -> Iterator[HouseLimit]:
        """Yield what a session breaks beside another one."""
        before = (other.starts_at - session.starts_at) / timedelta(hours=1)
        numbers = self.numbers
        if any(block.competition for block in other.blocks):
            if 0 <= before < numbers.before_competition_hours and self._spoils(session):
                yield HouseLimit("before_competition", numbers.before_competition_hours, before)
            if 0 < -before < numbers.after_competition_hours and self._is_hard_on_legs(session):
                yield HouseLimit("after_competition", numbers.after_competition_hours, -before)
        apart = abs(before)
        if apart < numbers.strength_endurance_hours and self._interfere(session, other):
            yield HouseLimit("strength_endurance", numbers.strength_endurance_hours, apart)

    def sets_of(self, blocks: Iterable[Block]) -> dict[str, int]:
        """Count the hard sets of each muscle group."""
        sets: dict[str, int] = {}
        for block in blocks:
            if block.goal in self.vocabulary.lifting_goals:
                for group in groups_of(block, self.vocabulary):
                    sets[group] = sets.get(group, 0) + (block.sets or 0)
        return sets

    def most_sets(self, usual: Mapping[str, float], fixed: Mapping[str, int]) -> dict[str, int]:
        """Return how many sets of each muscle group wishes may add to the fixed ones; muscle groups
        without a usual week have no limit."""
        most = {
            group: sets * (100 + self.numbers.sets_rise_percent) / 100
            for group, sets in usual.items()
        }
        return {group: max(floor(sets) - fixed.get(group, 0), 0) for group, sets in most.items()}

    def _spoils(self, session: Placed) -> bool:
        """Whether it may leave the legs sore on the day."""
        return any(
            self._kind(block) == _GROWTH or block.new_exercise or lands_hard(block, self.vocabulary)
            for block in session.blocks
            if self._trains_legs(block)
        )

    def _is_hard_on_legs(self, session: Placed) -> bool:
        return any(
            self._kind(block) == _GROWTH or block.goal == SPEED or bool(block.contacts)
            for block in session.blocks
            if self._trains_legs(block)
        )

    def _interfere(self, one: Placed, other: Placed) -> bool:
        """Whether one is strength or power and the other hard endurance of the same muscles."""
        pairs = (*product(one.blocks, other.blocks), *product(other.blocks, one.blocks))
        return any(
            not set(groups_of(force, self.vocabulary)).isdisjoint(groups_of(hard, self.vocabulary))
            for force, hard in pairs
            if self._kind(force) == _FORCE and hard.goal in HARD_ENDURANCE
        )

    def _trains_legs(self, block: Block) -> bool:
        groups = groups_of(block, self.vocabulary)
        return not groups or not set(groups).isdisjoint(self.vocabulary.leg_groups)

    def _kind(self, block: Block) -> str:
        return self.vocabulary.goals[block.goal]
