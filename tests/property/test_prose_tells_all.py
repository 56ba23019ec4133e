"""Prose of random rules: every fact and every threshold is named."""

from __future__ import annotations

import re
from collections.abc import Iterable

from hypothesis import given, settings

from dawnrule.advice.composer import Composer
from dawnrule.rules import conditions
from dawnrule.rules.conditions import Operator, Test
from dawnrule.rules.evaluation.evaluator import explain
from dawnrule.rules.rule_set import RuleSet
from dawnrule.rules.text import Prose
from tests.effort import tries
from tests.property.rule_strategies import rule_sets

ENGLISH = Composer.bundled()
PROSE = Prose(ENGLISH.dictionary, ENGLISH.vocabulary, ENGLISH.texts)

_NUMBER = re.compile(r"-?\d+(?:\.\d+)?(?:e[+-]?\d+)?")
_ANSWERS = {True: "yes", False: "no"}


@settings(max_examples=tries(75, 500), deadline=None)
@given(rule_sets())
def test_the_prose_of_any_rule_names_every_fact_and_threshold(rule_set: RuleSet) -> None:
    for rule in rule_set.rules:
        says_all(PROSE.rule(rule).all_text(), conditions.tests_of(rule.when))
        says_all(PROSE.condition(rule.when).on_one_line(), conditions.tests_of(rule.when))
        says_all(PROSE.trace(explain(rule.when, {})).all_text(), conditions.tests_of(rule.when))


def says_all(text: str, tests: Iterable[Test]) -> None:
    numbers = {float(number) for number in _NUMBER.findall(text)}
    for test in tests:
        assert ENGLISH.dictionary[test.fact].label in text
        says_threshold(text, numbers, test)


def says_threshold(text: str, numbers: set[float], test: Test) -> None:
    for value in test.value if isinstance(test.value, tuple) else (test.value,):
        if test.operator is Operator.REPORTED:
            assert ("reported" if value else "not reported") in text
        elif isinstance(value, bool):
            assert _ANSWERS[value] in text
        elif isinstance(value, str):
            assert ENGLISH.vocabulary.label(value) in text
        else:
            assert value in numbers
