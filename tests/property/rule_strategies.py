"""Hypothesis strategies for rule sets and facts, for any test.

Everything is drawn over the bundled fact dictionary. A rule set is drawn first and facts for it
then: each value is a threshold of its rules, a float next to one, or an end of the fact's range,
and any fact may be missing.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from functools import cache
from typing import Any

from hypothesis import strategies as st
from hypothesis.strategies import SearchStrategy

from dawnrule.model import FactDictionary, Facts, FactValue, Scope, Verdict
from dawnrule.rules.conditions import (
    NUMERIC_OPERATORS,
    Condition,
    Group,
    GroupKind,
    Operator,
    Signal,
    Test,
    at_least,
    tests_of,
)
from dawnrule.rules.rule_set import RuleSet
from tests.factories import a_rule, a_rule_set

DICTIONARY = FactDictionary.bundled()

SCOPES: tuple[Scope, ...] = ("day", "part")

VERDICTS = (None, *Verdict)
"""The verdicts of a rule; None is a note."""

KINDS = ("test", "test", "test", "signal", "at_least_n_of", "all", "any", "none")
"""The kinds of condition; single tests are drawn more often, as each adds none below it."""

_FACTS = {scope: [n for n, d in DICTIONARY.items() if d.scope == scope] for scope in SCOPES}


@st.composite
def rule_sets(draw: st.DrawFn, rules_at_most: int = 4) -> RuleSet:
    """Draw a small rule set whose rules test the same few facts, so that they interact."""
    of_day = draw(st.lists(st.sampled_from(_FACTS["day"]), min_size=1, max_size=3, unique=True))
    of_part = draw(st.lists(st.sampled_from(_FACTS["part"]), max_size=3, unique=True))
    readable: dict[Scope, list[str]] = {"day": of_day, "part": of_day + of_part}
    rules = []
    for number in range(draw(st.integers(1, rules_at_most))):
        scope = draw(st.sampled_from(SCOPES))
        when = _condition(draw, readable[scope], depth=3)
        rules.append(a_rule(when, f"rule-{number}", scope, draw(st.sampled_from(VERDICTS))))
    return a_rule_set(rules)


@st.composite
def conditions(draw: st.DrawFn, facts: Sequence[str], depth: int = 3) -> Condition:
    """Draw a condition on some of the facts, nested up to ``depth``."""
    return _condition(draw, facts, depth)


@st.composite
def mornings(draw: st.DrawFn, rule_set: RuleSet) -> tuple[Facts, list[Facts]]:
    """Draw the facts of a day, and those of its parts with the day's among them."""
    day = draw(_facts(rule_set, "day"))
    parts = draw(st.lists(_facts(rule_set, "part"), min_size=1, max_size=3))
    return day, [{**part, **day} for part in parts]


@cache
def values(fact: str) -> SearchStrategy[FactValue]:
    """Draw values that the fact may have and a test may compare it with."""
    definition = DICTIONARY[fact]
    match definition.type:
        case "boolean":
            return st.booleans()
        case "enumeration":
            return st.sampled_from(definition.values)
        case "integer":
            return st.integers(int(definition.least), int(definition.greatest))
        case "number":
            return st.floats(definition.least, definition.greatest)


def boundary_values(fact: str, tested: Iterable[Test]) -> list[FactValue]:
    """List the values of a fact at which its tests may change, and the ends of its range."""
    definition = DICTIONARY[fact]
    if definition.type == "boolean":
        return [False, True]
    if definition.type == "enumeration":
        return list(definition.values)
    near = [
        v for test in tested if test.fact == fact for o in _operands(test) for v in _neighbours(o)
    ]
    ends = [definition.least, definition.greatest, 0.0, -0.0, math.ulp(0.0)]
    return list(filter(definition.accepts, [*near, *ends, *map(int, ends)]))


def _condition(draw: st.DrawFn, facts: Sequence[str], depth: int) -> Condition:
    kind = draw(st.sampled_from(KINDS)) if depth else "test"
    if kind == "test":
        return _test(draw, facts)
    if kind == "signal":
        return Signal("named", _condition(draw, facts, depth - 1))
    count = draw(st.integers(1, 3))
    several = tuple(_condition(draw, facts, depth - 1) for _ in range(count))
    if kind == "at_least_n_of":
        return at_least(draw(st.integers(1, count)), *several)
    return Group(GroupKind(kind), several)


def _test(draw: st.DrawFn, facts: Sequence[str]) -> Test:
    fact = draw(st.sampled_from(facts))
    operator = draw(st.sampled_from(_operators_for(fact)))
    operand: FactValue | tuple[FactValue, ...]
    if operator is Operator.REPORTED:
        operand = draw(st.booleans())
    elif operator is Operator.IN:
        operand = draw(_several_values(fact))
    else:
        operand = draw(values(fact))
    return Test(fact, operator, operand)


def _facts(rule_set: RuleSet, scope: Scope) -> SearchStrategy[Facts]:
    tested = [test for rule in rule_set.rules for test in tests_of(rule.when)]
    facts = (fact for fact in dict.fromkeys(t.fact for t in tested) if fact in _FACTS[scope])
    drawn = {fact: st.sampled_from(boundary_values(fact, tested)) for fact in facts}
    return st.fixed_dictionaries({}, optional=drawn)


@cache
def _several_values(fact: str) -> SearchStrategy[tuple[FactValue, ...]]:
    return st.lists(values(fact), min_size=1, max_size=4, unique=True).map(tuple)


@cache
def _operators_for(fact: str) -> list[Operator]:
    fitting = {Operator.IS, Operator.REPORTED}
    if DICTIONARY[fact].type != "boolean":
        fitting.add(Operator.IN)
    if DICTIONARY[fact].is_numeric:
        fitting |= NUMERIC_OPERATORS
    return sorted(fitting)


def _operands(test: Test) -> list[Any]:
    if test.operator is Operator.REPORTED:
        return []
    return list(test.value) if isinstance(test.value, tuple) else [test.value]


def _neighbours(operand: float) -> list[float]:
    """List the number, its neighbours among the floats, and among whole numbers if it is one."""
    near = [math.nextafter(operand, -math.inf), operand, math.nextafter(operand, math.inf)]
    return [*near, operand - 1, operand + 1] if isinstance(operand, int) else near
