"""Time to check a rule set.

Run from the checkout: ``python -m tests.benchmarks.rules_check``. Each shipped rule set is checked,
and sets of 300 rules that a seed makes up: day and part rules over the whole fact dictionary, most
of two to five tests, some with ``any``, ``none`` or ``at_least_n_of``, with up to four examples
each. Beside the whole stands what reading the file takes for a shipped set.
"""

from __future__ import annotations

import argparse
import random
import time
from collections.abc import Iterator, Sequence
from dataclasses import replace

from dawnrule.model import FactDefinition, FactDictionary, Facts, FactValue, Verdict
from dawnrule.rules.analysis.check import check_rule_set
from dawnrule.rules.conditions import (
    Condition,
    Operator,
    Test,
    all_of,
    any_of,
    at_least,
    none_of,
    tests_of,
)
from dawnrule.rules.evaluation.evaluator import predicate
from dawnrule.rules.loading.loader import load_rule_set
from dawnrule.rules.registry import bundled_rule_set_files
from dawnrule.rules.rule_set import SCOPES, Example, Rule, RuleSet
from tests.factories import a_rule, a_rule_set

DICTIONARY = FactDictionary.bundled()
RULES = 300
VERDICTS = (None, None, Verdict.SWAP, Verdict.SWAP, Verdict.REST)


def made_up(rules: int, seed: int) -> RuleSet:
    """A rule set of so many rules, the same for the same seed."""
    chance = random.Random(seed)
    return a_rule_set(_rule(chance, f"rule-{number}") for number in range(rules))


def _rule(chance: random.Random, name: str) -> Rule:
    scope = chance.choice(SCOPES)
    readable = sorted(DICTIONARY.readable_in(scope))
    tested = chance.sample(readable, chance.randint(2, 5))
    tests = tuple(_test(chance, DICTIONARY[fact]) for fact in tested)
    when = chance.choices(_combined(tests), weights=[6, 1, 1, 1])[0]
    examples = tuple(_examples(chance, when))
    return replace(a_rule(when, name, scope, chance.choice(VERDICTS)), examples=examples)


def _combined(tests: Sequence[Test]) -> list[Condition]:
    first, *rest = tests
    return [
        all_of(*tests),
        all_of(first, any_of(*rest)),
        all_of(first, none_of(*rest)),
        at_least(2, *tests),
    ]


def _test(chance: random.Random, fact: FactDefinition) -> Test:
    """A test in the direction that is worse, where there is one."""
    if not fact.is_numeric:
        values = fact.values or (fact.worse != "false",)
        count = chance.randint(1, max(1, len(values) // 2))
        if fact.type == "boolean":
            return Test(fact.name, Operator.IS, values[0])
        return Test(fact.name, Operator.IN, tuple(values[-count:]))
    operators = {"higher": [Operator.AT_LEAST, Operator.ABOVE]}
    operator = chance.choice(operators.get(fact.worse, [Operator.BELOW, Operator.AT_MOST]))
    return Test(fact.name, operator, _number(chance, fact))


def _number(chance: random.Random, fact: FactDefinition) -> float:
    """A value well inside of the range: on a scale of ten, one of nine."""
    span = min(fact.greatest - fact.least, 200)
    value = fact.least + span * chance.randint(1, 9) / 10
    return round(value) if fact.type == "integer" else value


def _examples(chance: random.Random, when: Condition) -> Iterator[Example]:
    """Two that fire and two that do not, as far as chance finds them."""
    holds = predicate(when)
    drawn = [_facts(chance, when) for _ in range(200)]
    for fires in (True, False):
        found = [facts for facts in drawn if holds(facts) is fires]
        yield from (Example(facts, fires, 1) for facts in found[:2])


def _facts(chance: random.Random, when: Condition) -> Facts:
    facts: dict[str, FactValue] = {}
    for test in tests_of(when):
        definition = DICTIONARY[test.fact]
        if definition.type == "boolean":
            facts[test.fact] = chance.choice([False, True])
        elif definition.type == "enumeration":
            facts[test.fact] = chance.choice(definition.values)
        else:
            facts[test.fact] = _number(chance, definition)
    return facts


def _timed(name: str, rule_set: RuleSet) -> None:
    start = time.perf_counter()
    found = check_rule_set(rule_set, DICTIONARY)
    seconds = time.perf_counter() - start
    codes = sorted({finding.code for finding in found})
    print(f"{name:18} {len(rule_set.rules):4} rules {seconds:7.2f} s   {', '.join(codes)}")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seeds", type=int, default=3, help="how many sets are made up")
    args = parser.parse_args()
    for file in bundled_rule_set_files():
        start = time.perf_counter()
        rule_set = load_rule_set(file)
        print(f"{'reading ' + rule_set.version:18} {time.perf_counter() - start:18.2f} s")
        _timed(rule_set.full_name, rule_set)
    for seed in range(args.seeds):
        _timed(f"made up, seed {seed}", made_up(RULES, seed))


if __name__ == "__main__":
    main()
