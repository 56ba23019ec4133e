"""Decisions: from the rules that fired to the verdict on a part and on a day."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from dawnrule.model import Verdict
from dawnrule.rules.rule_set import Rule


@dataclass(frozen=True, slots=True)
class Decision:
    """The verdict on one subject. ``fired`` is in the file's order, notes included; ``deciding`` is
    None when no rule asks for more than to train as planned."""

    verdict: Verdict
    deciding: Rule | None
    fired: tuple[Rule, ...]


@dataclass(frozen=True, slots=True)
class DayDecision:
    """The verdict on a day, on its own rules (``day``) and on each part, in the order given.

    ``deciding`` is the rule that the day's verdict is attributed to: a day rule with that verdict,
    else the deciding rule of the most protected part that stands first in the file.
    """

    verdict: Verdict
    deciding: Rule | None
    day: Decision
    parts: tuple[Decision, ...]


def decision_of(fired: Sequence[Rule]) -> Decision:
    """Derive the verdict from a subject's fired rules, which must be in the file's order."""
    verdict = max((r.verdict for r in fired if r.verdict), key=_protection, default=Verdict.TRAIN)
    deciding = next((rule for rule in fired if rule.verdict is verdict), None)
    return Decision(verdict, deciding, tuple(fired))


def day_decision(
    day: Decision,
    parts: Sequence[Decision],
    rules: Sequence[Rule],
    blocks: Sequence[int] | None = None,
) -> DayDecision:
    """Derive the day's verdict and its rule; ``rules`` are all rules, in the file's order.

    ``blocks`` names the block of each part: a block is done or not, so it counts with the most
    protective of its verdicts. Without them each part counts by itself.
    """
    verdicts = [part.verdict for part in parts]
    verdict = day_verdict(day.verdict, verdicts_of_blocks(verdicts, blocks))
    deciding = day.deciding if day.verdict is verdict else None
    return DayDecision(
        verdict, deciding or _first_of_most_protected(parts, rules), day, tuple(parts)
    )


def verdicts_of_blocks(parts: Sequence[Verdict], blocks: Sequence[int] | None) -> list[Verdict]:
    """Derive the verdict on each block from those on its parts: the most protective."""
    of_blocks: dict[int, Verdict] = {}
    for block, verdict in zip(range(len(parts)) if blocks is None else blocks, parts, strict=True):
        of_blocks[block] = max(of_blocks.get(block, verdict), verdict, key=_protection)
    return list(of_blocks.values())


def day_verdict(day: Verdict, blocks: Sequence[Verdict]) -> Verdict:
    """Derive the day's verdict: rest if a day rule asks for it or every block rests; train as
    planned if every block does; otherwise swap. A day without blocks has its own rules' verdict."""
    if day is Verdict.REST or not blocks:
        return day
    if all(block is Verdict.REST for block in blocks):
        return Verdict.REST
    if all(block is Verdict.TRAIN for block in blocks):
        return Verdict.TRAIN
    return Verdict.SWAP


def _first_of_most_protected(parts: Sequence[Decision], rules: Sequence[Rule]) -> Rule | None:
    most = max((part.verdict for part in parts), key=_protection, default=None)
    ids = {part.deciding.id for part in parts if part.deciding and part.verdict is most}
    return next((rule for rule in rules if rule.id in ids), None)


def _protection(verdict: Verdict) -> int:
    return verdict.protection
