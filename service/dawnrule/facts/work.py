"""Logged work by muscle group, and what damages: landings, contacts, braking (pure)."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, date, datetime
from operator import attrgetter
from typing import NamedTuple, Self

from dawnrule.facts.history import TrainingLog, block_minutes
from dawnrule.model import Vocabulary
from dawnrule.model.entities import Block, Session
from dawnrule.model.training import groups_of

LOW = "low"
"""The eccentric load that damages least: the first of its kind in the fact dictionary."""

SPEED, STEADY_ENDURANCE, MUSCULAR_ENDURANCE = "speed", "steady-endurance", "muscular-endurance"
HARD_ENDURANCE = frozenset({"intervals", "long-endurance"})
ENDURANCE = frozenset({"intervals", "long-endurance", STEADY_ENDURANCE})
BRAKELESS = frozenset({"concentric", "isometric"})


class Work(NamedTuple):
    """A block that was done: in which session, for which kind of goal, when it began (UTC), on
    which local date, for how many minutes, and the muscle groups that it trained."""

    block: Block
    session: Session
    kind: str
    began: datetime
    day: date
    minutes: float
    groups: tuple[str, ...]

    @property
    def goal(self) -> str:
        """The goal of the block."""
        return self.block.goal

    @property
    def modality(self) -> str | None:
        """The way in which the block was done."""
        return self.block.modality

    @property
    def rpe(self) -> float | None:
        """How hard its session was rated (CR10)."""
        return self.session.rpe


def works_of_sessions(log: TrainingLog, words: Vocabulary) -> dict[int, list[Work]]:
    """Return the work of each session of a log, by the id of the object."""
    groups: dict[tuple[object, ...], tuple[str, ...]] = {}
    works: dict[int, list[Work]] = {}
    for day, session in log.sessions:
        starts_at = session.starts_at.astimezone(UTC)
        works[id(session)] = of_session = []
        for block, minutes in block_minutes(session):
            trained_by = block.muscle_groups, block.pattern, block.modality
            if trained_by not in groups:
                groups[trained_by] = groups_of(block, words)
            began = block.starts_at.astimezone(UTC) if block.starts_at else starts_at
            kind, trained = words.goals[block.goal], groups[trained_by]
            of_session.append(Work(block, session, kind, began, day, minutes, trained))
    return works


@dataclass(frozen=True, slots=True)
class WorkLog:
    """All blocks of the training log, oldest first."""

    done: tuple[Work, ...] = ()
    of_dates: Mapping[date, list[Work]] = field(default_factory=dict, compare=False)
    """Those of a local date, oldest first."""

    @classmethod
    def of(cls, works: Iterable[Work]) -> Self:
        """Collect work, which comes in an order that does not hang on that of arrival."""
        oldest_first = tuple(sorted(works, key=_began))
        of_dates: dict[date, list[Work]] = {}
        for work in oldest_first:
            of_dates.setdefault(work.day, []).append(work)
        return cls(oldest_first, of_dates)

    def between(self, first: date, end: date) -> Iterator[Work]:
        """Iterate over the work from a local date on and before another."""
        return (work for work in self.done if first <= work.day < end)

    def on(self, day: date) -> Sequence[Work]:
        """Return the work of a local date, oldest first."""
        return self.of_dates.get(day, ())


_began = attrgetter("began")


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
