"""Muscle groups and movements of a block, and hours between times."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

from dawnrule.model import Vocabulary
from dawnrule.model.entities import Block

ONE_HOUR = timedelta(hours=1)
ONE_DAY = timedelta(days=1)


def hours_between(earlier: datetime, later: datetime) -> float:
    """Return the elapsed hours between two aware times, whatever their time zones; never below 0.

    A night on which the clock is put forward has an hour less, and one on which it is put back an
    hour more: what counts for a body is the time that passed. Python would subtract what the
    clocks showed where both times share a time zone, hence the way over UTC.
    """
    return max((later.astimezone(UTC) - earlier.astimezone(UTC)) / ONE_HOUR, 0.0)


def movements_of(block: Block, vocabulary: Vocabulary) -> frozenset[str]:
    """Return the movements of a lifting block: that of its pattern, else those that its muscle
    groups stand for; none for other goals."""
    if block.goal not in vocabulary.lifting_goals:
        return frozenset()
    if block.pattern is not None:
        return frozenset({vocabulary.patterns[block.pattern].movement})
    return frozenset(
        vocabulary.movement_of_group[group]
        for group in block.muscle_groups
        if group in vocabulary.movement_of_group
    )


def groups_of(block: Block, vocabulary: Vocabulary) -> tuple[str, ...]:
    """Return the muscle groups that a block trains: those it names, those of its pattern, and
    those that its modality loads whether they are named or not."""
    pattern = vocabulary.patterns[block.pattern].muscle_groups if block.pattern else ()
    loaded = vocabulary.modalities[block.modality].loads if block.modality else ()
    return tuple(dict.fromkeys((*block.muscle_groups, *pattern, *loaded)))
