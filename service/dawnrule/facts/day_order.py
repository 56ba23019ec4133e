"""Facts of the blocks of one day in their order: planned and logged ones alike (pure)."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import datetime

from dawnrule.facts.history import Past
from dawnrule.facts.work import HARD_ENDURANCE, SPEED, Work, concentric_only
from dawnrule.model import FactValue, Vocabulary
from dawnrule.model.entities import Block
from dawnrule.model.training import groups_of, hours_between


@dataclass(frozen=True, slots=True)
class OtherBlocks:
    """The blocks of a plan before and after one of them."""

    before: tuple[Block, ...] = ()
    after: tuple[Block, ...] = ()

    @property
    def blocks(self) -> tuple[Block, ...]:
        """All of them."""
        return self.before + self.after

    def training(self, group: str | None, words: Vocabulary) -> OtherBlocks:
        """Return those that train a muscle group."""
        if not self.before and not self.after:
            return self
        before = tuple(one for one in self.before if group in groups_of(one, words))
        return OtherBlocks(
            before, tuple(one for one in self.after if group in groups_of(one, words))
        )


@dataclass(frozen=True, slots=True)
class Neighbour:
    """Another block of the same date that trains the same muscle group.

    ``hours_before`` is how long before this one it starts, negative for a later one; None where
    one of them has no start. ``is_earlier`` then goes by the order of the plan. When the facts of a
    later start are asked for, to find when a block opens, the hours until then count.
    """

    block: Block
    is_earlier: bool
    hours_before: float | None


def neighbours(
    logged: Iterable[Work],
    block: Block,
    start: datetime,
    others: OtherBlocks,
    planned_start: datetime,
) -> list[Neighbour]:
    """Find the neighbours of a block among the ``others`` of its plan and the ``logged`` work of
    the date, all of which train the muscle group and, where they are logged, began before
    ``start``.

    ``planned_start`` is that of the plan, ``start`` the one that is asked about.
    """
    is_later = start > planned_start
    is_timed = block.starts_at is not None or is_later
    found = []
    for places, is_earlier in ((others.before, True), (others.after, False)):
        for other in places:
            if is_timed and other.starts_at is not None:
                hours = _signed_hours(other.starts_at, start)
                found.append(Neighbour(other, hours > 0 or (hours == 0 and is_earlier), hours))
            else:
                hours_later = hours_between(planned_start, start) if is_later else None
                found.append(Neighbour(other, is_earlier, hours_later))
    for work in logged:
        hours_before = _signed_hours(work.began, start) if is_timed else None
        found.append(Neighbour(work.block, is_earlier=True, hours_before=hours_before))
    return found


def order_facts(
    past: Past, block: Block, others: Iterable[Neighbour]
) -> Iterator[tuple[str, FactValue]]:
    """Yield what the blocks of a date mean for one of them, by its neighbours."""
    words, beside = past.vocabulary, list(others)
    earlier_growth = [n for n in beside if n.is_earlier and _damages(n.block, words)]
    if earlier_growth:
        hours = min((n.hours_before or 0.0) for n in earlier_growth)
        yield "hours_since_growth_today", hours
    if block.goal in HARD_ENDURANCE:
        apart = [
            abs(n.hours_before)
            for n in beside
            if n.block.goal in words.lifting_goals and n.hours_before is not None
        ]
        if apart:
            fact = past.dictionary["hours_between_endurance_and_lifting"]
            yield fact.name, min(*apart, fact.greatest)
        hours = past.parameters("force_before_endurance")["hours"]
        yield (
            "force_before_endurance",
            any(_just_before(n, hours) and _is_force(n.block.goal, words) for n in beside),
        )
    if _is_force(block.goal, words):
        hours = past.parameters("endurance_before_force")["hours"]
        yield (
            "endurance_before_force",
            any(_just_before(n, hours) and n.block.goal in HARD_ENDURANCE for n in beside),
        )


def _damages(block: Block, words: Vocabulary) -> bool:
    return words.goals[block.goal] == "growth" and not concentric_only(block, words)


def _is_force(goal: str, words: Vocabulary) -> bool:
    """Return whether a goal is strength, power or speed."""
    return words.goals[goal] == "force" and (goal in words.lifting_goals or goal == SPEED)


def _just_before(neighbour: Neighbour, hours: float) -> bool:
    if not neighbour.is_earlier:
        return False
    return neighbour.hours_before is None or neighbour.hours_before < hours


def _signed_hours(earlier: datetime, later: datetime) -> float:
    if earlier > later:
        return -hours_between(later, earlier)
    return hours_between(earlier, later)
