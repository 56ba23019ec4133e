"""Hours since work that damages: landings, jumps, matches, muscular endurance (pure)."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import UTC, datetime

from dawnrule.facts.day_order import OtherBlocks
from dawnrule.facts.history import Past, Unavailable
from dawnrule.facts.work import (
    MUSCULAR_ENDURANCE,
    WorkLog,
    contacts_of,
    is_court_sport,
    is_to_failure,
    lands_hard,
)
from dawnrule.model import FactValue
from dawnrule.model.entities import Block
from dawnrule.model.training import groups_of, hours_between

Fits = Callable[[Block, float | None, float | None], bool]
"""Whether a block of so many minutes, rated so hard (CR10), is what is looked for."""


def damage_facts(
    past: Past, log: WorkLog, block: Block, group: str, start: datetime, others: OtherBlocks
) -> Iterator[tuple[str, FactValue | Unavailable]]:
    """Yield the hours from the last such work of a muscle group to ``start``, start to start.

    Earlier blocks of the plan count; 0 hours where one of the two has no start.
    """
    earlier = [other for other in others.before if group in groups_of(other, past.vocabulary)]
    logged = log.before(group, start.astimezone(UTC))
    if not earlier and not logged:
        return
    for fact, fits in _kinds(past).items():
        times = [_planned_hours(block, other, start) for other in earlier if _planned(fits, other)]
        last = next((w for w in reversed(logged) if fits(w.block, w.minutes, w.rpe)), None)
        if last is not None:
            times.append(hours_between(last.began, start))
        if times:
            yield fact, min(times)


def _planned(fits: Fits, block: Block) -> bool:
    return fits(block, block.minutes, block.effort)


def _planned_hours(block: Block, other: Block, start: datetime) -> float:
    if block.starts_at is None or other.starts_at is None:
        return 0.0
    return hours_between(other.starts_at, start)


def _kinds(past: Past) -> dict[str, Fits]:
    words = past.vocabulary
    landing, jumps = (
        past.parameters("hours_since_hard_landing"),
        past.parameters("hours_since_jumps"),
    )
    match = past.parameters("hours_since_match")
    hard = past.parameters("hours_since_hard_muscular_endurance")

    def is_landing(block: Block, minutes: float | None, _: float | None) -> bool:
        contacts = contacts_of(block, words, jumps["modality"]) or 0
        enough = (minutes or 0) >= landing["minutes"] or contacts >= landing["contacts"]
        return enough and lands_hard(block, words)

    def is_jumping(block: Block, *_: float | None) -> bool:
        contacts = contacts_of(block, words, jumps["modality"]) or 0
        return bool(block.modality == jumps["modality"] or contacts >= jumps["contacts"])

    def is_match(block: Block, minutes: float | None, rpe: float | None) -> bool:
        long_and_hard = (minutes or 0) >= match["minutes"] and (rpe or 0) >= match["rpe"]
        return bool(block.competition) or (long_and_hard and is_court_sport(block, words))

    def is_endurance_to_failure(block: Block, *_: float | None) -> bool:
        return block.goal == MUSCULAR_ENDURANCE and bool(is_to_failure(block))

    def is_hard_endurance(block: Block, _: float | None, rpe: float | None) -> bool:
        return block.goal == MUSCULAR_ENDURANCE and (rpe or 0) >= hard["rpe"]

    return {
        "hours_since_hard_landing": is_landing,
        "hours_since_jumps": is_jumping,
        "hours_since_match": is_match,
        "hours_since_failure_endurance": is_endurance_to_failure,
        "hours_since_hard_muscular_endurance": is_hard_endurance,
    }
