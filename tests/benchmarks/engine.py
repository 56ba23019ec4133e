"""Subjects decided per second by both evaluations, beside a general-purpose rule library.

Run from the checkout: ``python -m tests.benchmarks.engine`` (needs the extra ``benchmark``).
Every subject gets the full list of the rules that fire on it, on one core, by

- both: the decider, engine and evaluator with all their guards, as for advice;
- engine: durable-rules alone, with the guards;
- evaluator: our own evaluator alone;
- peer: rule-engine, a general-purpose rule library in Python.

It first checks that all four fire the same rules on every subject. A second is one of a core's
time, and the rounds alternate, so that a busy machine is as slow for one as for the other.
"""

from __future__ import annotations

import argparse
import random
import time
from collections.abc import Callable, Iterable, Mapping, Sequence
from functools import partial
from itertools import combinations
from pathlib import Path
from statistics import median

import rule_engine

from dawnrule.model import FactDictionary, Facts, FactValue
from dawnrule.rules.conditions import (
    Condition,
    Group,
    GroupKind,
    Operator,
    Signal,
    Test,
    all_of,
    any_of,
    at_least,
    none_of,
)
from dawnrule.rules.engine.matcher import Matcher
from dawnrule.rules.evaluation.decider import Decider
from dawnrule.rules.loading.loader import load_rule_set
from dawnrule.rules.rule_set import Rule, RuleSet
from tests.factories import a_rule, a_rule_set

DICTIONARY = FactDictionary.bundled()

PROTECTIVE: Mapping[str, tuple[Operator, Sequence[float]]] = {
    "sleep_hours": (Operator.BELOW, (5, 6, 6.5)),
    "sleep_quality": (Operator.AT_MOST, (1, 2)),
    "fatigue": (Operator.AT_LEAST, (7, 8, 9)),
    "stress": (Operator.AT_LEAST, (7, 8, 9)),
    "soreness": (Operator.AT_LEAST, (5, 6, 8)),
    "hours_since_growth_work": (Operator.BELOW, (24, 48)),
    "hours_since_trained": (Operator.BELOW, (12, 24)),
    "planned_sets": (Operator.ABOVE, (6, 10)),
    "planned_reps": (Operator.AT_MOST, (3, 5)),
}
"""The numeric facts of the generated rules, and how rules compare them."""

WORDS = ("goal", "muscle_group", "illness")
SIGNS = ("joint_pain", "sharp_pain")
FACTS = (*PROTECTIVE, *WORDS, *SIGNS)

Fire = Callable[[Facts], Iterable[Rule | str]]
"""From facts to the rules that fire, or their ids."""


def generated_rules(number: int, chance: random.Random) -> RuleSet:
    """Part rules of the shapes that the shipped rules have, in about the same proportions."""
    rules = [a_rule(_condition(chance), f"rule-{place}") for place in range(number)]
    return a_rule_set(rules)


def generated_subjects(facts: Sequence[str], number: int, chance: random.Random) -> list[Facts]:
    """Facts of which about one in ten is missing."""
    return [{f: _value(f, chance) for f in facts if chance.random() < 0.9} for _ in range(number)]


def _condition(chance: random.Random) -> Condition:
    goals = tuple(chance.sample(DICTIONARY["goal"].values, 3))
    groups = tuple(chance.sample(DICTIONARY["muscle_group"].values, 5))
    first, second, third, fourth = (_comparison(chance) for _ in range(4))
    of_goal = Test("goal", Operator.IS, goals[0])
    of_goals = Test("goal", Operator.IN, goals)
    sign, other = (Test(fact, Operator.IS, True) for fact in SIGNS)
    shapes: dict[Condition, int] = {
        sign: 2,
        Test("illness", Operator.IS, "fever"): 2,
        any_of(sign, other): 2,
        all_of(of_goal, first): 5,
        all_of(of_goal, all_of(first, second)): 2,
        all_of(of_goal, any_of(first, second)): 1,
        all_of(of_goals, first): 4,
        all_of(of_goals, first, second): 2,
        all_of(of_goals, Test("muscle_group", Operator.IN, groups), first): 2,
        all_of(first, none_of(second)): 1,
        at_least(2, first, second, third, fourth): 1,
    }
    (drawn,) = chance.choices(list(shapes), list(shapes.values()))
    return drawn


def _comparison(chance: random.Random) -> Test:
    fact = chance.choice(list(PROTECTIVE))
    operator, thresholds = PROTECTIVE[fact]
    return Test(fact, operator, chance.choice(thresholds))


def _value(fact: str, chance: random.Random) -> FactValue:
    definition = DICTIONARY[fact]
    if definition.type == "boolean":
        return chance.random() < 0.1
    if definition.type == "enumeration":
        return chance.choice(definition.values)
    least, greatest = int(max(definition.least, 0)), int(min(definition.greatest, 100))
    if definition.type == "integer":
        return chance.randint(least, min(greatest, 12))
    steps = 4 if fact == "sleep_hours" else 60  # told to the quarter hour; known to the minute
    return chance.randint(least * steps, greatest * steps) / steps


# ---- the peer -------------------------------------------------------------------------------


def peer_of(rule_set: RuleSet) -> Fire:
    """The same rules in rule-engine's own language, a missing fact being null."""
    context = rule_engine.Context(default_value=None)
    rules = [
        (rule.id, rule_engine.Rule(_peer_text(rule.when), context=context))
        for rule in rule_set.in_scope("part")
    ]
    return lambda facts: [name for name, rule in rules if rule.matches(facts)]


def _peer_text(condition: Condition) -> str:
    match condition:
        case Test():
            return f"({_peer_test(condition)})"
        case Signal(condition=inner):
            return _peer_text(inner)
        case Group(GroupKind.ALL, conditions):
            return "(" + " and ".join(map(_peer_text, conditions)) + ")"
        case Group(GroupKind.ANY, conditions):
            return "(" + " or ".join(map(_peer_text, conditions)) + ")"
        case Group(GroupKind.NONE, conditions):
            return f"not {_peer_text(any_of(*conditions))}"
        case Group(conditions=conditions):
            chosen = combinations(conditions, condition.needed)
            return _peer_text(any_of(*(all_of(*several) for several in chosen)))


def _peer_test(test: Test) -> str:
    if test.operator is Operator.REPORTED:
        return f"{test.fact} {'!=' if test.value else '=='} null"
    if isinstance(test.value, tuple):
        return " or ".join(f"{test.fact} == {_peer_value(value)}" for value in test.value)
    value = _peer_value(test.value)
    if test.operator is Operator.IS:
        return f"{test.fact} == {value}"
    signs = {"at_least": ">=", "at_most": "<=", "above": ">", "below": "<"}
    return f"{test.fact} != null and {test.fact} {signs[test.operator]} {value}"


def _peer_value(value: FactValue) -> str:
    if isinstance(value, bool):
        return str(value).lower()
    return f'"{value}"' if isinstance(value, str) else repr(value)


# ---- the race -------------------------------------------------------------------------------


def contenders(rule_set: RuleSet) -> dict[str, Fire]:
    """All that decide, by name."""
    decider = Decider(rule_set, DICTIONARY)
    return {
        "both": partial(decider.fired, "part"),
        "engine": Matcher(rule_set.in_scope("part"), DICTIONARY, "part").fired,
        "evaluator": partial(decider.fired_by_evaluator, "part"),
        "peer": peer_of(rule_set),
    }


def check_alike(racing: Mapping[str, Fire], subjects: Sequence[Facts]) -> float:
    """How many rules fire on a subject in the mean. Raises when two contenders differ on one."""
    total = 0
    for facts in subjects:
        answers = {name: {_id(rule) for rule in fire(facts)} for name, fire in racing.items()}
        if any(answer != answers["both"] for answer in answers.values()):
            raise SystemExit(f"they differ on {facts}: {answers}")
        total += len(answers["both"])
    return total / len(subjects)


def _id(rule: Rule | str) -> str:
    return rule if isinstance(rule, str) else rule.id


def subjects_a_second(fire: Fire, subjects: Sequence[Facts], seconds: float) -> float:
    """The rate of one contender over about so many seconds of a core's time."""
    decided, start = 0, time.process_time()
    while (taken := time.process_time() - start) < seconds:
        for facts in subjects:
            fire(facts)
        decided += len(subjects)
    return decided / taken


def race(
    racing: Mapping[str, Fire], subjects: Sequence[Facts], rounds: int, seconds: float
) -> dict[str, float]:
    """The median rate of each contender over rounds that alternate."""
    rates: dict[str, list[float]] = {name: [] for name in racing}
    for _ in range(rounds):
        for name, fire in racing.items():
            rates[name].append(subjects_a_second(fire, subjects, seconds / rounds))
    return {name: median(measured) for name, measured in rates.items()}


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description="Subjects decided a second, on one core.")
    parser.add_argument("--rules", type=int, default=36, help="how many rules to generate")
    parser.add_argument("--file", type=Path, help="a rule file, of which the part rules are taken")
    parser.add_argument("--seconds", type=float, default=3.0, help="for each contender")
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    chance = random.Random(asked.seed)
    rule_set = load_rule_set(asked.file) if asked.file else generated_rules(asked.rules, chance)
    facts = rule_set.facts_read("part") if asked.file else FACTS
    subjects = generated_subjects(facts, 2_000, chance)
    racing = contenders(rule_set)
    fired = check_alike(racing, subjects)
    rules = len(rule_set.in_scope("part"))
    print(f"{rules} rules over {len(facts)} facts, {fired:.1f} fire on a subject in the mean")
    print(f"all contenders fire the same rules on all {len(subjects)} subjects")
    rates = race(racing, subjects, rounds=5, seconds=asked.seconds)
    for name, rate in rates.items():
        print(f"{name:10} {rate:10,.0f} subjects/s  {rate / rates['peer']:6.1f} x peer")


if __name__ == "__main__":
    main()
