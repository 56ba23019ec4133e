"""Verdicts and limits of blocks, from those of their parts (pure).

A block is done or not: its verdict is the most protective of its parts, which stay as the
explanation. Its limits are the strictest of all that count for any of them.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

from dawnrule.facts.derive import MorningFacts, PartFacts
from dawnrule.model import Facts, Verdict, is_number
from dawnrule.model.entities import Block
from dawnrule.rules.evaluation.decision import DayDecision, Decision
from dawnrule.rules.limits import (
    NO_LIMITS,
    Limits,
    Planned,
    allowed,
    merged,
)
from dawnrule.rules.rule_set import Rule


@dataclass(frozen=True, slots=True)
class BlockDecision:
    """The verdict on a block with the part that it is explained by, and its settled limits, none
    where it rests. ``planned`` are the numbers of the plan that limits reduce."""

    block: int
    parts: tuple[PartFacts, ...]
    decisions: tuple[Decision, ...]
    verdict: Verdict
    deciding: Rule | None
    explained_by: PartFacts
    planned: Planned
    limits: Limits

    @property
    def muscle_groups(self) -> tuple[str, ...]:
        """The muscle groups of the parts."""
        return tuple(part.muscle_group for part in self.parts if part.muscle_group)


def decide_blocks(
    plan: Sequence[Block], morning: MorningFacts, decision: DayDecision, rules: Sequence[Rule]
) -> tuple[BlockDecision, ...]:
    """Decide on the blocks of a morning; ``rules`` are all rules, in the file's order."""
    by_block: dict[int, list[tuple[PartFacts, Decision]]] = {}
    for part, decided in zip(morning.parts, decision.parts, strict=True):
        by_block.setdefault(part.block, []).append((part, decided))
    order = _places(tuple(rules))
    return tuple(_decided(plan[index], parts, order) for index, parts in by_block.items())


@lru_cache(maxsize=64)
def _places(rules: tuple[Rule, ...]) -> Mapping[str, int]:
    return {rule.id: place for place, rule in enumerate(rules)}


def limits_as_facts(limits: Limits, planned: Planned) -> Facts:
    """List settled limits by name, with the whole numbers that they leave of a plan."""
    left = allowed(limits, planned)
    at_most = {
        "sets_at_most": left.sets,
        "minutes_at_most": left.minutes,
        "contacts_at_most": left.contacts,
    }
    return dict(limits.given()) | {name: most for name, most in at_most.items() if most is not None}


def limits_on(facts: Facts, fired: Iterable[Rule]) -> Limits:
    """Find the limits on a part: those of the rules that fired, of restrictions and of returns."""
    return merged([*(rule.limits.settled(facts) for rule in fired), Limits.of_concerns(facts)])


def _decided(
    block: Block, parts: Sequence[tuple[PartFacts, Decision]], order: Mapping[str, int]
) -> BlockDecision:
    verdict = max((d.verdict for _, d in parts), key=lambda verdict: verdict.protection)
    explained_by, decided = min(
        ((part, decided) for part, decided in parts if decided.verdict is verdict),
        key=lambda one: order[one[1].deciding.id] if one[1].deciding else len(order),
    )
    planned = _planned(block, [part.facts for part, _ in parts])
    limits = NO_LIMITS
    if verdict is not Verdict.REST:
        found = (limits_on(part.facts, d.fired) for part, d in parts)
        limits = _no_more_than_planned(merged(found), block, explained_by.facts)
    return BlockDecision(
        block=explained_by.block,
        parts=tuple(part for part, _ in parts),
        decisions=tuple(decided for _, decided in parts),
        verdict=verdict,
        deciding=decided.deciding,
        explained_by=explained_by,
        planned=planned,
        limits=limits,
    )


def _planned(block: Block, parts: Sequence[Facts]) -> Planned:
    shares = [_number(facts, "planned_share_percent") for facts in parts]
    contacts = [_number(facts, "planned_contacts") for facts in parts]
    return Planned(
        sets=block.sets,
        minutes=block.minutes,
        contacts=next((int(number) for number in contacts if number is not None), None),
        usual_percent=max((share for share in shares if share is not None), default=None),
    )


def _no_more_than_planned(limits: Limits, block: Block, facts: Facts) -> Limits:
    """Bring down to the plan what a limit leaves above it: it must not read as an invitation."""
    if not limits:
        return limits
    least = {
        "minutes_at_most": block.minutes,
        "contacts_at_most": _number(facts, "planned_contacts"),
        "effort_at_most": _number(facts, "planned_effort"),
    }
    given = dict(limits.given())
    lower = {
        name: min(given[name], planned)
        for name, planned in least.items()
        if name in given and planned is not None
    }
    in_reserve = _number(facts, "planned_reps_in_reserve")
    if in_reserve is not None and "reps_in_reserve_at_least" in given:
        lower["reps_in_reserve_at_least"] = max(given["reps_in_reserve_at_least"], in_reserve)
    return replace(limits, **lower)


def _number(facts: Facts, name: str) -> float | None:
    value = facts.get(name)
    return value if is_number(value) else None
