"""The matcher: the rules that the engine fires, and what it refuses."""

from __future__ import annotations

import math
from collections.abc import Iterator
from contextlib import closing
from typing import Any

import pytest

from dawnrule.errors import EngineFailure, RuleSetInvalid
from dawnrule.model import FactDictionary, Facts
from dawnrule.rules.conditions import Condition, Operator, Test, all_of, any_of, at_least, none_of
from dawnrule.rules.engine.matcher import Matcher
from dawnrule.rules.rule_set import Rule
from tests.factories import a_rule

SORE = a_rule(Test("soreness", Operator.AT_LEAST, 3), "sore")
GROWTH = a_rule(Test("goal", Operator.IS, "hypertrophy"), "growth")
DICTIONARY = FactDictionary.bundled()


@pytest.fixture
def matcher() -> Iterator[Matcher]:
    with closing(Matcher([SORE, GROWTH], DICTIONARY, "part")) as matcher:
        yield matcher


def fired(rules: list[Rule], facts: Facts) -> frozenset[str]:
    with closing(Matcher(rules, DICTIONARY, "part")) as matcher:
        return matcher.fired(facts)


def test_every_rule_whose_condition_holds_fires(matcher: Matcher) -> None:
    assert matcher.fired({"goal": "hypertrophy", "soreness": 3}) == {"sore", "growth"}
    assert matcher.fired({"goal": "strength", "soreness": 3}) == {"sore"}
    assert matcher.fired({}) == frozenset()


def test_no_rules_fire_nothing() -> None:
    assert fired([], {"soreness": 10}) == frozenset()


@pytest.mark.parametrize(("condition", "always"), [(all_of(), True), (any_of(), False)])
def test_a_combination_of_nothing_holds_always_or_never(condition: Condition, always: bool) -> None:
    assert fired([a_rule(condition)], {}) == ({"a-rule"} if always else frozenset())


@pytest.mark.parametrize(
    ("fact", "value"),
    [
        ("soreness", "4"),
        ("soreness", True),
        ("resting_hr_bpm", 50.5),
        ("soreness", 11),
        ("soreness", None),
        ("soreness", {"soreness": 4}),
        ("sleep_hours", math.nan),
        ("sleep_hours", math.inf),
        ("sleep_hours", math.nextafter(24, 25)),
        ("goal", "hypertrophy "),
        ("goal", ""),
        ("fainting", 1),
        ("fainting", "true"),
        ("mood", 4),
    ],
)
def test_a_fact_that_does_not_fit_the_dictionary_is_an_error(
    matcher: Matcher, fact: str, value: Any
) -> None:
    with pytest.raises(EngineFailure, match=fact):
        matcher.fired({fact: value})


def test_a_value_is_not_taken_for_an_equal_one_of_another_type(matcher: Matcher) -> None:
    equal: list[tuple[str, Any, Any]] = [("sleep_hours", 1.0, True), ("fainting", True, 1.0)]
    for fact, right, wrong in equal:
        matcher.fired({fact: right})
        with pytest.raises(EngineFailure, match=fact):
            matcher.fired({fact: wrong})


@pytest.mark.parametrize(
    "test",
    [
        Test("mood", Operator.IS, 4),
        Test("soreness", Operator.AT_LEAST, "4"),
        Test("soreness", Operator.AT_LEAST, True),
        Test("soreness", Operator.IS, (3, 4)),
        Test("soreness", Operator.IN, 3),
        Test("soreness", Operator.IN, (3, 11)),
        Test("soreness", Operator.REPORTED, 1),
        Test("goal", Operator.ABOVE, "hypertrophy"),
        Test("goal", Operator.IS, "yoga"),
    ],
    ids=str,
)
def test_a_rule_that_does_not_fit_the_dictionary_is_refused(test: Test) -> None:
    with pytest.raises(RuleSetInvalid) as refusal:
        Matcher([a_rule(none_of(test), "odd")], DICTIONARY, "part", "odd.yaml")
    (finding,) = refusal.value.findings
    assert (finding.file, finding.line, finding.rule) == ("odd.yaml", 1, "odd")


def test_a_day_rule_that_tests_a_parts_fact_is_refused() -> None:
    with pytest.raises(RuleSetInvalid):
        Matcher([SORE], DICTIONARY, "day")


def test_a_rule_that_can_come_true_in_too_many_ways_is_refused_by_name() -> None:
    twelve = tuple(Test(fact, Operator.REPORTED, True) for fact in list(DICTIONARY)[:12])
    with pytest.raises(
        RuleSetInvalid, match=r"some\.yaml:1: rule six-of-twelve: .*\[too-many-ways\]"
    ):
        Matcher([a_rule(at_least(6, *twelve), "six-of-twelve")], DICTIONARY, "part", "some.yaml")


def test_a_matcher_that_was_closed_answers_nothing(matcher: Matcher) -> None:
    with closing(Matcher([SORE], DICTIONARY, "part")) as other:
        matcher.close()
        matcher.close()
        with pytest.raises(EngineFailure):
            matcher.fired({})
        assert other.fired({"soreness": 3}) == {"sore"}
