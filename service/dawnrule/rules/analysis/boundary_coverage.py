"""Boundary coverage: thresholds of a rule set that its examples do not show.

An example shows one side of a test when the test is pivotal in it: with the opposite outcome the
rule's would change too. The examples of every rule that uses a signal count for the tests in it.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any

from dawnrule.errors import Finding
from dawnrule.model import FactDefinition, FactDictionary, Facts
from dawnrule.rules.analysis.partition import next_value
from dawnrule.rules.conditions import NUMERIC_OPERATORS, Condition, Group, Operator, Signal, Test
from dawnrule.rules.evaluation.evaluator import explain, pivotal_tests
from dawnrule.rules.rule_set import Rule, RuleSet
from dawnrule.rules.serialization import condition_to_json, in_flow


def boundary_findings(rule_set: RuleSet, dictionary: FactDictionary) -> Iterator[Finding]:
    """Yield a finding for each test without examples for its threshold and the next value beyond,
    or, of words, for one example with the word and one with another."""
    pivots = {rule: list(_pivots(rule)) for rule in rule_set.rules}
    for (_, test), rules in _users(rule_set.rules).items():
        facts = [facts for rule in rules for facts, pivotal in pivots[rule] if test in pivotal]
        unseen = list(_unseen(test, dictionary[test.fact], facts))
        if unseen:
            words = in_flow(condition_to_json(test))
            message = f"no example turns on {words} with {test.fact} {' or '.join(unseen)}"
            yield Finding(rule_set.file, rules[0].line, rules[0].id, "edge", message)


def _pivots(rule: Rule) -> Iterator[tuple[Facts, frozenset[Test]]]:
    for example in rule.examples:
        trace = explain(rule.when, example.facts)
        yield example.facts, frozenset(pivotal_tests(rule.when, trace))


def _users(rules: Iterable[Rule]) -> Mapping[tuple[str, Test], Sequence[Rule]]:
    """Group the rules by the tests they use, each test with the place where it is written, a rule
    or a signal."""
    users: dict[tuple[str, Test], list[Rule]] = defaultdict(list)
    for rule in rules:
        for place in dict.fromkeys(_written(rule.when, f"rule {rule.id}")):
            users[place].append(rule)
    return users


def _written(condition: Condition, where: str) -> Iterator[tuple[str, Test]]:
    match condition:
        case Test():
            yield where, condition
        case Signal(name, inner):
            yield from _written(inner, f"signal {name}")
        case Group(conditions=conditions):
            for inner in conditions:
                yield from _written(inner, where)


def _unseen(test: Test, definition: FactDefinition, examples: Sequence[Facts]) -> Iterator[str]:
    """Yield what no example shows of a test, in words."""
    values = [facts.get(test.fact) for facts in examples]
    if test.operator is Operator.REPORTED:
        yield from [] if any(v is not None for v in values) else ["reported"]
        yield from [] if None in values else ["not reported"]
    elif test.operator in NUMERIC_OPERATORS:
        yield from _unseen_sides(test, definition, [v for v in values if v is not None])
    else:
        yield from (in_flow(value) for value in test.values if value not in values)
        others_seen = {*values} - {None, *test.values}
        yield from [] if others_seen or not _others(definition, test.values) else ["another"]


def _unseen_sides(test: Test, definition: FactDefinition, values: Sequence[Any]) -> Iterator[str]:
    edge: Any = test.value
    beyond = next_value(definition, edge, above=test.operator in (Operator.ABOVE, Operator.AT_MOST))
    if edge not in values:
        yield in_flow(edge)
    near = (value for value in values if value != edge)
    if definition.least <= beyond <= definition.greatest and not any(
        min(edge, beyond) <= value <= max(edge, beyond) for value in near
    ):
        yield in_flow(beyond)


def _others(definition: FactDefinition, tested: Sequence[Any]) -> bool:
    """Tell whether the fact has values other than those asked for."""
    return definition.type != "enumeration" or set(tested) < set(definition.values)
