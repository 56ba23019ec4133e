"""Logged work by muscle group, and what damages: landings, contacts, braking (pure)."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Self

from dawnrule.facts.history import Past, block_minutes
from dawnrule.model import Vocabulary
from dawnrule.model.entities import Block
from dawnrule.model.training import groups_of

LOW = "low"
"""The eccentric load that damages least: the first of its kind in the fact dictionary."""

SPEED, STEADY_ENDURANCE, MUSCULAR_ENDURANCE = "speed", "steady-endurance", "muscular-endurance"
HARD_ENDURANCE = frozenset({"intervals", "long-endurance"})
ENDURANCE = frozenset({"intervals", "long-endurance", STEADY_ENDURANCE})
BRAKELESS = frozenset({"concentric", "isometric"})


@dataclass(frozen=True, slots=True)
class Work:
    """A block that was done: when it began (UTC), on which local date, for how many minutes, how
    hard its session was rated (CR10), and the muscle groups that it trained."""

    block: Block
    began: datetime
    day: date
    minutes: float
    rpe: float | None
    groups: frozenset[str]


@dataclass(frozen=True, slots=True)
class WorkLog:
    """All blocks of the training log, oldest first."""

    done: tuple[Work, ...] = ()
    of_groups: Mapping[str, list[Work]] = field(default_factory=dict, compare=False)
    """Those that trained a muscle group, oldest first."""
    of_dates: Mapping[date, list[Work]] = field(default_factory=dict, compare=False)
    """Those of a local date, oldest first."""

    @classmethod
    def of(cls, past: Past) -> Self:
        """Collect the blocks of the log, in an order that does not hang on that of arrival."""
        done = (
            Work(
                block,
                session.start_of(block),
                day,
                minutes,
                session.rpe,
                frozenset(groups_of(block, past.vocabulary)),
            )
            for day, session in past.log.sessions
            for block, minutes in block_minutes(session)
        )
        oldest_first = tuple(sorted(done, key=_began))
        of_groups: dict[str, list[Work]] = {}
        of_dates: dict[date, list[Work]] = {}
        for work in oldest_first:
            of_dates.setdefault(work.day, []).append(work)
            for group in work.groups:
                of_groups.setdefault(group, []).append(work)
        return cls(oldest_first, of_groups, of_dates)

    def between(self, first: date, end: date) -> Iterator[Work]:
        """Iterate over the work from a local date on and before another."""
        return (work for work in self.done if first <= work.day < end)

    def on(self, day: date) -> Sequence[Work]:
        """Return the work of a local date, oldest first."""
        return self.of_dates.get(day, ())

    def of_group(self, group: str) -> Sequence[Work]:
        """Return the work of a muscle group, oldest first."""
        return self.of_groups.get(group, ())


def _began(work: Work) -> datetime:
    return work.began


def lands_hard(block: Block, words: Vocabulary) -> bool:
    """Return whether a block is landing work by what is done, whatever its goal is called."""
    if block.contacts or block.sprint_metres:
        return True
    if block.modality is None:
        return False
    modality = words.modalities[block.modality]
    return modality.lands or (block.goal == SPEED and modality.running)


def contacts_of(block: Block, words: Vocabulary, jumping: str) -> int | None:
    """Return the landings of a block: as told, for jumping else sets times repetitions."""
    if block.contacts is not None:
        return block.contacts
    if block.modality == jumping and block.sets is not None and block.reps is not None:
        return block.sets * block.reps
    return None


def concentric_only(block: Block, words: Vocabulary) -> bool:
    """Return whether the muscle hardly brakes while it lengthens; False where nothing says so."""
    if block.action is not None:
        return block.action in BRAKELESS
    return block.modality is not None and words.modalities[block.modality].concentric


def is_to_failure(block: Block) -> bool | None:
    """Return whether sets go to failure: as told, or with no repetition in reserve."""
    if block.to_failure is None and block.reps_in_reserve is None:
        return None
    return bool(block.to_failure) or block.reps_in_reserve == 0


def is_easy(goal: str, modality: str | None, words: Vocabulary) -> bool:
    """Return whether work leaves no soreness that would matter: mobility, and steady endurance of
    low eccentric load or in a way that was not told."""
    if words.goals[goal] == "other":
        return True
    brakes = modality is not None and words.modalities[modality].eccentric_load != LOW
    return goal == STEADY_ENDURANCE and not brakes


def is_court_sport(block: Block, words: Vocabulary) -> bool:
    """Return whether a block is sport with contact in which one lands."""
    if block.modality is None:
        return False
    modality = words.modalities[block.modality]
    return modality.lands and modality.contact


def is_running(block: Block, words: Vocabulary) -> bool:
    """Return whether a block is running of any kind."""
    return block.modality is not None and words.modalities[block.modality].running
