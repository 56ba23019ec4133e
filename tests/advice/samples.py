"""Advice for Kim, under the newest baseline or a few rules of a test's own."""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import closing
from dataclasses import replace
from functools import cache
from typing import Any

from dawnrule.advice.advisor import Advisor, Considered, Morning
from dawnrule.advice.composer import Composer
from dawnrule.model import Scope, Verdict
from dawnrule.model.advice import Advice, Note, PartAdvice, RuleName, RuleSetName
from dawnrule.model.entities import Athlete, CheckIn, History
from dawnrule.rules.conditions import Condition, Operator, Test
from dawnrule.rules.registry import RuleSetLibrary
from dawnrule.rules.rule_set import Rule, RuleSet
from tests.facts.samples import KIM, NOW
from tests.property.rule_strategies import a_rule, a_rule_set

TRAIN, SWAP, REST = Verdict


@cache
def bundled() -> Advisor:
    return Advisor.bundled()


def newest_baseline() -> RuleSet:
    return [rules for rules in bundled().library.all() if rules.name == "baseline"][-1]


def baseline_advice(
    check_in: CheckIn, history: History | None = None, athlete: Athlete = KIM
) -> Considered:
    """What the newest baseline says."""
    morning = Morning(athlete, check_in, history or History(), NOW)
    return bundled().consider(morning, newest_baseline(), "advice-1")


def advice_under(
    *rules: Rule, check_in: CheckIn, history: History | None = None, athlete: Athlete = KIM
) -> Considered:
    """What rules of a test's own say."""
    rule_set = a_rule_set(rules)
    advisor = Advisor(RuleSetLibrary({}), Composer.bundled())
    with closing(advisor.library.decider(rule_set)):
        morning = Morning(athlete, check_in, history or History(), NOW)
        return advisor.consider(morning, rule_set, "advice-1")


def when(fact: str, operator: str, value: Any) -> Test:
    """A test of one fact in the words of the rule files."""
    return Test(fact, Operator(operator), value)


def named(
    identifier: str,
    condition: Condition,
    verdict: Verdict | None = SWAP,
    scope: Scope = "part",
    **more: Any,
) -> Rule:
    """A rule by its id; ``more`` may give its title, reason or caution."""
    rule = a_rule(condition, identifier, scope, verdict)
    return replace(rule, **more)


def advice_of(
    verdict: Verdict,
    parts: Sequence[Verdict] = (),
    rule: RuleName | None = None,
    notes: Sequence[Note] = (),
) -> Advice:
    """Advice of a verdict and of parts with theirs, as if a rule had decided all of it."""
    return Advice(
        advice_id="advice-1",
        athlete_id="a-01",
        date=NOW.date(),
        verdict=verdict,
        headline="A headline",
        rule=rule,
        reason="No rule stops it.",
        caution="Stop if it hurts.",
        parts=tuple(_part(number, one, rule) for number, one in enumerate(parts)),
        notes=tuple(notes),
        not_reported=(),
        rule_set=RuleSetName("house", "1.0.0", "sha256:0"),
    )


def _part(block: int, verdict: Verdict, rule: RuleName | None) -> PartAdvice:
    return PartAdvice(
        block=block,
        goal="strength",
        muscle_group="chest",
        verdict=verdict,
        rule=rule,
        reason="No rule stops it.",
        caution="Stop if it hurts.",
        opens_at=None,
        opens_note=None,
        would_change=(),
        would_change_together=(),
        alternatives=(),
        also_fired=(),
    )
