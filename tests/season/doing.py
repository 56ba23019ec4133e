"""What of a planned session an athlete does who keeps to the advice."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import Any

from dawnrule.advice.blocks import BlockDecision
from dawnrule.facts.work import lands_hard
from dawnrule.model import Verdict
from dawnrule.model.entities import Block
from dawnrule.rules.limits import allowed
from tests.season.body import WORDS

EASY_INSTEAD = Block("steady-endurance", modality="cycling", minutes=30.0)


def done(plan: Sequence[Block], decided: Sequence[BlockDecision]) -> Iterator[Block]:
    """What is trained: blocks as planned, as much of others as their limits leave, else something
    easy, and nothing of what rests."""
    for one in decided:
        block = plan[one.block]
        if one.verdict is Verdict.REST:
            continue
        left = _within_limits(block, one)
        if left is not None and (one.verdict is Verdict.TRAIN or left != block):
            yield left
        else:
            yield replace(EASY_INSTEAD, starts_at=block.starts_at)


def _within_limits(block: Block, decided: BlockDecision) -> Block | None:
    """The block within its limits; None where they leave nothing of it."""
    limits = decided.limits
    if limits.no_landing and lands_hard(block, WORDS):
        return None
    left = allowed(limits, decided.planned)
    changes: dict[str, Any] = {
        "sets": left.sets if block.sets else None,
        "minutes": float(left.minutes) if block.minutes and left.minutes is not None else None,
        "reps_in_reserve": limits.reps_in_reserve_at_least if block.reps else None,
    }
    return replace(block, **{name: value for name, value in changes.items() if value is not None})
