"""The same rules written for general-purpose rule engines.

Each takes the same conditions in its own language, a missing fact being null, and gives the rules
that fire on some facts, in the file's order.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from itertools import combinations, compress
from typing import Any, TypeAlias

import json_logic
import rule_engine
import zen

from dawnrule.model import Facts, FactValue
from dawnrule.rules.conditions import (
    Condition,
    Group,
    GroupKind,
    Operator,
    Signal,
    Test,
    all_of,
    any_of,
)
from dawnrule.rules.rule_set import Rule

Fired: TypeAlias = Callable[[Facts], Sequence[Rule]]

_SIGNS = {
    Operator.IS: "==",
    Operator.AT_LEAST: ">=",
    Operator.AT_MOST: "<=",
    Operator.ABOVE: ">",
    Operator.BELOW: "<",
}


def by_rule_engine(rules: Sequence[Rule]) -> Fired:
    """rule-engine: an expression for each rule, interpreted in Python."""
    context = rule_engine.Context(default_value=None)
    expressions = [rule_engine.Rule(_text(rule.when), context=context) for rule in rules]
    return lambda facts: [r for r, e in zip(rules, expressions, strict=True) if e.matches(facts)]


def by_zen(rules: Sequence[Rule]) -> Fired:
    """zen-engine: one expression that gives a list for all rules, compiled to Rust's bytecode, so
    that the facts are handed over once."""
    expression = zen.compile_expression(f"[{', '.join(_text(rule.when) for rule in rules)}]")
    return lambda facts: list(compress(rules, expression.evaluate(dict(facts))))


def by_json_logic(rules: Sequence[Rule]) -> Fired:
    """json-logic-qubit: JsonLogic, interpreted in Python."""
    logics = [(rule, _logic(rule.when)) for rule in rules]
    return lambda facts: [rule for rule, logic in logics if json_logic.jsonLogic(logic, facts)]


def _text(condition: Condition) -> str:
    """A condition in the words that rule-engine and zen-engine have in common."""
    match condition:
        case Test():
            return f"({_text_of_test(condition)})"
        case Signal(condition=inner):
            return _text(inner)
        case Group(GroupKind.ALL, conditions):
            return f"({' and '.join(map(_text, conditions))})"
        case Group(GroupKind.ANY, conditions):
            return f"({' or '.join(map(_text, conditions))})"
        case Group(GroupKind.NONE, conditions):
            return f"(not {_text(any_of(*conditions))})"
        case Group():
            return _text(_spelt_out(condition))


def _text_of_test(test: Test) -> str:
    if test.operator is Operator.REPORTED:
        return f"{test.fact} {'!=' if test.value else '=='} null"
    if isinstance(test.value, tuple):
        return " or ".join(f"{test.fact} == {_literal(value)}" for value in test.value)
    sign = _SIGNS[test.operator]
    return f"{test.fact} != null and {test.fact} {sign} {_literal(test.value)}"


def _literal(value: FactValue) -> str:
    if isinstance(value, bool):
        return str(value).lower()
    return f'"{value}"' if isinstance(value, str) else repr(value)


def _logic(condition: Condition) -> Mapping[str, Any]:
    """A condition in JsonLogic."""
    match condition:
        case Test():
            return _logic_of_test(condition)
        case Signal(condition=inner):
            return _logic(inner)
        case Group(GroupKind.ALL, conditions):
            return {"and": [_logic(inner) for inner in conditions]}
        case Group(GroupKind.ANY, conditions):
            return {"or": [_logic(inner) for inner in conditions]}
        case Group(GroupKind.NONE, conditions):
            return {"!": [_logic(any_of(*conditions))]}
        case Group():
            return _logic(_spelt_out(condition))


def _logic_of_test(test: Test) -> Mapping[str, Any]:
    fact = {"var": test.fact}
    if test.operator is Operator.REPORTED:
        return {"!==" if test.value else "===": [fact, None]}
    if isinstance(test.value, tuple):
        return {"in": [fact, list(test.value)]}
    if test.operator is Operator.IS:
        return {"===": [fact, test.value]}
    return {"and": [{"!==": [fact, None]}, {_SIGNS[test.operator]: [fact, test.value]}]}


def _spelt_out(condition: Group) -> Condition:
    """At least so many of some conditions, as any such choice of them."""
    chosen = combinations(condition.conditions, condition.needed)
    return any_of(*(all_of(*conditions) for conditions in chosen))


PEERS: Mapping[str, Callable[[Sequence[Rule]], Fired]] = {
    "rule-engine": by_rule_engine,
    "zen-engine": by_zen,
    "json-logic-qubit": by_json_logic,
}
