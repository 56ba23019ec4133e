"""What was done beside what was advised (pure).

It describes a day and judges nobody. What counts as advised stands in ``rules/advice.yaml``.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from enum import StrEnum

from dawnrule.facts.history import block_minutes
from dawnrule.model import Verdict, Vocabulary
from dawnrule.model.advice import Advice, BlockAdvice, blocks_of
from dawnrule.model.entities import Block, Session
from dawnrule.model.training import groups_of
from dawnrule.rules.advice_policy import AdvicePolicy


class Outcome(StrEnum):
    """What a day came to, beside its advice."""

    AS_ADVISED = "as-advised"
    MORE = "more"
    LESS = "less"
    NOT_LOGGED = "not-logged"


@dataclass(frozen=True, slots=True)
class Difference:
    """One way in which a day differs from its advice.

    ``what`` is ``not-advised`` (done although it was not to be), ``added`` (not planned),
    ``left-out``, or the measure that differs: ``minutes``, ``sets`` or ``effort`` (CR10).
    ``advised`` and ``done`` are its values, where there are any.
    """

    what: str
    goal: str
    is_more: bool
    advised: float | None = None
    done: float | None = None


@dataclass(frozen=True, slots=True)
class Comparison:
    """What a day came to, and how it differs."""

    outcome: Outcome
    differences: tuple[Difference, ...] = ()


@dataclass(frozen=True, slots=True)
class _Done:
    """A block of the log with its minutes, and the effort of it or of its session."""

    block: Block
    minutes: float
    effort: float | None
    groups: frozenset[str]


def compare_with_done(
    advice: Advice, plan: Sequence[Block], sessions: Iterable[Session], vocabulary: Vocabulary
) -> Comparison:
    """Compare the sessions of a day with its advice on a plan.

    Doing anything on a day of rest is more; a day that was to be trained and has no session is not
    logged, as nobody can tell whether it was left out or not written down.
    """
    done = [
        _Done(
            block,
            minutes,
            one.rpe if block.effort is None else block.effort,
            frozenset(groups_of(block, vocabulary)),
        )
        for one in sessions
        for block, minutes in block_minutes(one)
    ]
    if not done:
        trains = bool(plan) and advice.verdict is not Verdict.REST
        return Comparison(Outcome.NOT_LOGGED if trains else Outcome.AS_ADVISED)
    differences: list[Difference] = []
    others = done
    for block in advice.blocks or blocks_of(advice.parts):
        planned = plan[block.block]
        groups = frozenset(groups_of(planned, vocabulary))
        same = [one for one in others if _is_same(one, planned, groups)]
        others = [one for one in others if one not in same]
        differences += _of_block(block, planned, same)
    differences += _added(advice, others)
    return Comparison(_outcome(differences), tuple(differences))


def _is_same(one: _Done, planned: Block, groups: frozenset[str]) -> bool:
    """Tell whether what was done is of a planned block: of its goal, and of the same muscles where
    both name any."""
    if one.block.goal != planned.goal:
        return False
    return not one.groups or not groups or bool(one.groups & groups)


def _of_block(advised: BlockAdvice, planned: Block, done: Sequence[_Done]) -> Iterator[Difference]:
    goal = planned.goal
    if not done:
        if advised.verdict is Verdict.TRAIN:
            yield Difference("left-out", goal, is_more=False)
        return
    if not advised.is_trained:
        yield Difference("not-advised", goal, is_more=True, done=sum(one.minutes for one in done))
        return
    limits, as_advised = advised.limits, AdvicePolicy.bundled().as_advised
    share = as_advised.within_percent / 100
    sets = [one.block.sets for one in done]
    efforts = [one.effort for one in done if one.effort is not None]
    amounts = {
        "minutes": (limits.get("minutes_at_most", planned.minutes), sum(d.minutes for d in done)),
        "sets": (
            limits.get("sets_at_most", planned.sets),
            None if None in sets else sum(known or 0 for known in sets),
        ),
    }
    for what, (most, was) in amounts.items():
        if isinstance(most, int | float) and was is not None:
            if was > most * (1 + share):
                yield Difference(what, goal, is_more=True, advised=most, done=was)
            elif advised.verdict is Verdict.TRAIN and was < most * (1 - share):
                yield Difference(what, goal, is_more=False, advised=most, done=was)
    effort, hardest = limits.get("effort_at_most", planned.effort), max(efforts, default=0.0)
    if isinstance(effort, int | float) and hardest > effort + as_advised.effort_above:
        yield Difference("effort", goal, is_more=True, advised=effort, done=hardest)


def _added(advice: Advice, others: Iterable[_Done]) -> Iterator[Difference]:
    """List what was done that no planned block is of; easy work in place of a block is what was
    advised, and mobility is never too much but on a day of rest."""
    policy = AdvicePolicy.bundled()
    instead = {one.goal for block in advice.blocks for one in block.alternatives if one.goal}
    allowed: dict[Verdict, set[str]] = {
        Verdict.TRAIN: {policy.mobility.goal},
        Verdict.SWAP: {policy.easy.goal, policy.mobility.goal} | instead,
        Verdict.REST: set(),
    }
    for one in others:
        if one.block.goal not in allowed[advice.verdict]:
            yield Difference("added", one.block.goal, is_more=True, done=one.minutes)


def _outcome(differences: Sequence[Difference]) -> Outcome:
    if any(one.is_more for one in differences):
        return Outcome.MORE
    return Outcome.LESS if differences else Outcome.AS_ADVISED
