"""What would the rules say to other facts? (pure)

Answers come from the evaluator alone: they are asked by the dozen for each advice, and what they
lead to is proved again by both evaluations in the tests.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator
from copy import copy

from dawnrule.rules.conditions import Operator, Test, tests_of
from dawnrule.rules.decision import Decision, decision_of
from dawnrule.rules.evaluator import Predicate, predicate
from dawnrule.rules.rule_set import Rule, RuleSet
from dawnrule.vocabulary import Facts, Verdict


class WhatIf:
    """The rules of a rule set that ask for more than to train as planned, ready to be asked many
    times."""

    def __init__(self, rule_set: RuleSet) -> None:
        self._rules: list[tuple[Rule, Predicate]] = [
            (rule, predicate(rule.when)) for rule in rule_set.rules if rule.is_protective
        ]
        self._reading: dict[str, set[Rule]] = defaultdict(set)
        self._thresholds: dict[str, dict[Test, None]] = defaultdict(dict)
        for rule, _ in self._rules:
            for test in tests_of(rule.when):
                self._reading[test.fact].add(rule)
                self._thresholds[test.fact] |= dict.fromkeys(_numbers_in(test))

    def decision(self, facts: Facts) -> Decision:
        """The verdict on a part, whose facts hold the day's, by the protective rules that fire."""
        return decision_of([rule for rule, holds in self._rules if holds(facts)])

    def is_open(self, facts: Facts) -> bool:
        """Whether no rule asks for more than to train as planned."""
        return not any(holds(facts) for _, holds in self._rules)

    def rests(self, facts: Facts) -> bool:
        """Whether a rule asks for rest."""
        return any(rule.verdict is Verdict.REST and holds(facts) for rule, holds in self._rules)

    def verdict_after(self, before: Decision, facts: Facts, changed: Iterable[str]) -> Verdict:
        """The verdict on facts of which only ``changed`` differ from those that ``before`` was
        decided on: only the rules that read these are asked again."""
        asked = {rule for fact in changed for rule in self._reading.get(fact, ())}
        fired = [rule for rule in before.fired if rule not in asked]
        fired += [rule for rule, holds in self._rules if rule in asked and holds(facts)]
        return decision_of(fired).verdict

    def thresholds_on(self, fact: str) -> tuple[Test, ...]:
        """Every number that a protective rule compares a fact with, as a test of its own."""
        return tuple(self._thresholds.get(fact, ()))

    def on_day(self, day: Facts) -> WhatIf:
        """The same for parts of one morning, whose day rules are asked once for all of them."""
        morning = copy(self)
        morning._rules = [
            (rule, holds if rule.scope == "part" else _always)
            for rule, holds in self._rules
            if rule.scope == "part" or holds(day)
        ]
        return morning


def _numbers_in(test: Test) -> Iterator[Test]:
    one_each = test.value if isinstance(test.value, tuple) else (test.value,)
    operator = Operator.IS if test.operator is Operator.IN else test.operator
    for value in one_each:
        if isinstance(value, int | float) and not isinstance(value, bool):
            yield Test(test.fact, operator, value)


def _always(_: Facts) -> bool:
    return True
