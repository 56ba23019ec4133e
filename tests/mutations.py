"""Mutation test of the rule sets: every small mistake must be caught.

Run from the checkout: ``python -m tests.mutations``. Every small mistake that can be made in a
bundled rule set is made, one at a time: each threshold moved by a step both ways, each operator
flipped, each value and each condition left out, each ``all`` made ``any`` and back, each count
moved, each verdict changed, each rule dropped. A mistake in a signal is made wherever the signal is
used. Each must be caught by the rules' own examples, by a golden decision or by the check.
"""

from __future__ import annotations

import argparse
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cache
from typing import Any

from tabulate import tabulate

from dawnrule.facts.derive import MorningFacts
from dawnrule.model import FactDictionary, Facts, Verdict
from dawnrule.rules.analysis.check import check_rule_set
from dawnrule.rules.analysis.partition import next_value
from dawnrule.rules.conditions import (
    NUMERIC_OPERATORS,
    Condition,
    Group,
    GroupKind,
    Operator,
    Signal,
    Test,
    all_of,
    any_of,
    none_of,
    signals_of,
)
from dawnrule.rules.evaluation.decision import DayDecision, day_decision, decision_of
from dawnrule.rules.evaluation.evaluator import Predicate, predicate
from dawnrule.rules.loading.loader import load_rule_set
from dawnrule.rules.registry import bundled_rule_set_files
from dawnrule.rules.rule_set import Rule, RuleSet
from dawnrule.rules.serialization import condition_to_json, in_flow
from tests.golden.decided_examples import decided, file_of, kept
from tests.golden.test_golden_decisions import CASES, Case, morning_of, of_day, of_parts

DICTIONARY = FactDictionary.bundled()

FLIPPED = {
    Operator.AT_LEAST: (Operator.ABOVE, Operator.AT_MOST),
    Operator.ABOVE: (Operator.AT_LEAST, Operator.BELOW),
    Operator.AT_MOST: (Operator.BELOW, Operator.AT_LEAST),
    Operator.BELOW: (Operator.AT_MOST, Operator.ABOVE),
}
"""Each operator that orders numbers, with the one that differs at the boundary, and its
opposite."""

CATCHERS = ("examples", "golden decisions", "check")


@dataclass(frozen=True, slots=True)
class Mutant:
    """A rule set with one mistake: its kind, its place, and the rules that differ."""

    kind: str
    where: str
    rule_set: RuleSet
    mistaken: tuple[Rule, ...]


def mutants_of(rule_set: RuleSet) -> Iterator[Mutant]:
    """Yield a mutant for every mistake."""
    for rule in rule_set.rules:
        others = tuple(other for other in rule_set.rules if other is not rule)
        yield Mutant("rule dropped", rule.id, replace(rule_set, rules=others), ())
        for verdict in (None, *Verdict):
            if verdict is not rule.verdict:
                wrong = {rule: replace(rule, verdict=verdict)}
                yield _mutant("verdict changed", f"{rule.id} to {verdict}", rule_set, wrong)
        for kind, how, when in _mistakes(rule.when):
            wrong = {rule: replace(rule, when=when)}
            yield _mutant(kind, f"{rule.id}: {how}", rule_set, wrong)
    for signal in _signals(rule_set):
        users = [rule for rule in rule_set.rules if signal in signals_of(rule.when)]
        for kind, how, when in _mistakes(signal.condition):
            wrong = {rule: replace(rule, when=_with(rule.when, signal, when)) for rule in users}
            yield _mutant(kind, f"signal {signal.name}: {how}", rule_set, wrong)


def caught_by(mutant: Mutant) -> str | None:
    """Return what catches the mistake, None when nothing does."""
    if any(_contradicts_an_example(rule) for rule in mutant.mistaken):
        return CATCHERS[0]
    if any(_answers_otherwise(mutant.rule_set, golden) for golden in _golden(mutant.rule_set)):
        return CATCHERS[1]
    if _decides_an_example_otherwise(mutant):
        return CATCHERS[1]
    return CATCHERS[2] if check_rule_set(mutant.rule_set, DICTIONARY) else None


# ---- mistakes in a condition


def _mistakes(condition: Condition) -> Iterator[tuple[str, str, Condition]]:
    """Yield each mistake with its kind and the innermost condition changed; signals are left
    alone."""
    match condition:
        case Test():
            for kind, other in _mistakes_in_test(condition):
                yield kind, f"{_shown(condition)} to {_shown(other)}", other
        case Signal():
            return
        case Group():
            for kind, other in _mistakes_in_group(condition):
                yield kind, f"{_shown(condition)} to {_shown(other)}", other
            inside = condition.conditions
            for place, inner in enumerate(inside):
                for kind, how, other in _mistakes(inner):
                    several = (*inside[:place], other, *inside[place + 1 :])
                    yield kind, how, replace(condition, conditions=several)


def _mistakes_in_test(test: Test) -> Iterator[tuple[str, Condition]]:
    definition = DICTIONARY[test.fact]
    for operator in FLIPPED.get(test.operator, ()):
        yield "operator flipped", replace(test, operator=operator)
    if test.operator in NUMERIC_OPERATORS:
        for above in (False, True):
            moved = next_value(definition, _number(test), above=above)
            if definition.accepts(moved):
                yield "threshold moved", replace(test, value=moved)
        return
    yield "operator flipped", none_of(test)
    if isinstance(test.value, tuple):
        for value in test.value if len(test.value) > 1 else ():
            left = tuple(other for other in test.value if other != value)
            yield "value left out", replace(test, value=left)
    elif isinstance(test.value, bool):
        yield "value changed", replace(test, value=not test.value)
    else:
        for value in definition.values:
            if value != test.value:
                yield "value changed", replace(test, value=value)


def _mistakes_in_group(group: Group) -> Iterator[tuple[str, Condition]]:
    inside = group.conditions
    if group.count is not None:
        for count in (group.count - 1, group.count + 1):
            if 1 <= count <= len(inside):
                yield "count moved", replace(group, count=count)
    elif group.kind is GroupKind.NONE:
        yield "operator flipped", any_of(*inside)
    elif len(inside) > 1:
        other = any_of if group.kind is GroupKind.ALL else all_of
        yield "operator flipped", other(*inside)
    for place in range(len(inside)) if len(inside) > 1 else ():
        left = (*inside[:place], *inside[place + 1 :])
        if group.count is None or group.count <= len(left):
            yield "condition left out", replace(group, conditions=left)


def _number(test: Test) -> float:
    assert isinstance(test.value, int | float)
    return test.value


def _shown(condition: Condition) -> str:
    return in_flow(condition_to_json(condition))


# ---- mistakes in a rule set


def _mutant(kind: str, where: str, rule_set: RuleSet, wrong: dict[Rule, Rule]) -> Mutant:
    rules = tuple(wrong.get(rule, rule) for rule in rule_set.rules)
    return Mutant(kind, where, replace(rule_set, rules=rules), tuple(wrong.values()))


def _signals(rule_set: RuleSet) -> list[Signal]:
    return list(dict.fromkeys(s for rule in rule_set.rules for s in signals_of(rule.when)))


def _with(condition: Condition, signal: Signal, when: Condition) -> Condition:
    """Replace what a signal in the condition stands for."""
    if condition == signal:
        return replace(signal, condition=when)
    match condition:
        case Signal(condition=inner):
            return replace(condition, condition=_with(inner, signal, when))
        case Group(conditions=conditions):
            several = tuple(_with(inner, signal, when) for inner in conditions)
            return replace(condition, conditions=several)
        case _:
            return condition


# ---- who notices


def _contradicts_an_example(rule: Rule) -> bool:
    holds = predicate(rule.when)
    return any(holds(example.facts) is not example.fires for example in rule.examples)


@dataclass(frozen=True, slots=True)
class Golden:
    """A golden morning and its facts."""

    case: Case
    morning: MorningFacts


@cache
def _golden_of(stem: str) -> Sequence[Golden]:
    return [Golden(case, morning_of(case)) for case in CASES if case.rule_set == stem]


def _golden(rule_set: RuleSet) -> Sequence[Golden]:
    return _golden_of(f"{rule_set.name}-{rule_set.version}")


def _answers_otherwise(rule_set: RuleSet, golden: Golden) -> bool:
    decision = _decided(rule_set, golden.morning)
    answered: list[tuple[Any, Any]] = [
        of_day(golden.case, decision),
        of_parts(golden.case, golden.morning, decision),
    ]
    return any(answer != expected for answer, expected in answered)


def _decides_an_example_otherwise(mutant: Mutant) -> bool:
    """Compare with the golden decisions on the rules' examples, up to the first that differs."""
    golden = kept(file_of(mutant.rule_set))
    if golden.keys() - {rule.id for rule in mutant.rule_set.rules}:
        return True
    return any(golden[rule] != now for rule, now in decided(mutant.rule_set) if rule in golden)


def _decided(rule_set: RuleSet, morning: MorningFacts) -> DayDecision:
    """Decide by the evaluator alone, as there are thousands of decisions."""
    day = decision_of(_fired(rule_set.counting_for("day"), morning.day))
    parts = [decision_of(_fired(rule_set.rules, part.facts)) for part in morning.parts]
    blocks = morning.blocks if rule_set.decides_by_block(DICTIONARY) else None
    return day_decision(day, parts, rule_set.rules, blocks)


def _fired(rules: Sequence[Rule], facts: Facts) -> list[Rule]:
    return [rule for rule in rules if _predicate(rule)(facts)]


@cache
def _predicate(rule: Rule) -> Predicate:
    return predicate(rule.when)


# ---- the table


def survivors_and_table(rule_set: RuleSet, one_in: int = 1) -> tuple[list[Mutant], str]:
    """List the mistakes that nothing catches, with a table of what caught which kind; of all
    mistakes, or of each kind one in so many."""
    counts: Counter[tuple[str, str | None]] = Counter()
    made: Counter[str] = Counter()
    survivors = []
    for mutant in mutants_of(rule_set):
        made[mutant.kind] += 1
        if (made[mutant.kind] - 1) % one_in:
            continue
        caught = caught_by(mutant)
        counts[mutant.kind, caught] += 1
        survivors += [mutant] if caught is None else []
    kinds = dict.fromkeys(kind for kind, _ in counts)
    rows = [[kind, *(counts[kind, catcher] for catcher in (*CATCHERS, None))] for kind in kinds]
    sums = [sum(column) for column in zip(*(row[1:] for row in rows), strict=True)]
    headers = (rule_set.full_name, *CATCHERS, "survived")
    return survivors, tabulate([*rows, ["all", *sums]], headers=headers)


def main() -> None:
    argparse.ArgumentParser(description=__doc__).parse_args()
    for file in bundled_rule_set_files():
        survivors, table = survivors_and_table(load_rule_set(file))
        print(table, end="\n\n")
        for mutant in survivors:
            print(f"survived: {mutant.kind}, {mutant.where}")


if __name__ == "__main__":
    main()
