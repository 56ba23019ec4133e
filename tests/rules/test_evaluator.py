"""The evaluator: the meaning of tests and groups, traces, and pivotal tests."""

from __future__ import annotations

import json
import math
from collections.abc import Callable
from functools import partial
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dawnrule.model import Facts, FactValue
from dawnrule.rules.conditions import (
    Condition,
    Group,
    Operator,
    Signal,
    Test,
    all_of,
    any_of,
    at_least,
    none_of,
)
from dawnrule.rules.conditions import (
    tests_of as each_test,
)
from dawnrule.rules.evaluation.evaluator import (
    explain,
    missing_tests,
    pivotal_tests,
    predicate,
)

SORE = Test("soreness", Operator.AT_LEAST, 3)
TIRED = Test("fatigue", Operator.AT_LEAST, 7)
SHORT_SLEEP = Test("sleep_hours", Operator.BELOW, 6)
GROWTH = Test("goal", Operator.IS, "hypertrophy")
WELL: dict[str, FactValue] = {"soreness": 0, "fatigue": 0, "sleep_hours": 8.0, "goal": "strength"}
WORN: dict[str, FactValue] = {
    "soreness": 5,
    "fatigue": 9,
    "sleep_hours": 4.5,
    "goal": "hypertrophy",
}


def holds(condition: Condition, facts: Facts) -> bool:
    return predicate(condition)(facts)


@pytest.mark.parametrize(
    ("operator", "below", "at", "above"),
    [
        (Operator.AT_LEAST, False, True, True),
        (Operator.AT_MOST, True, True, False),
        (Operator.ABOVE, False, False, True),
        (Operator.BELOW, True, False, False),
        (Operator.IS, False, True, False),
    ],
)
def test_a_threshold_turns_at_exactly_its_number(
    operator: Operator, below: bool, at: bool, above: bool
) -> None:
    test = Test("sleep_hours", operator, 6.1)
    values = (math.nextafter(6.1, 0), 6.1, math.nextafter(6.1, 24))
    assert [holds(test, {"sleep_hours": v}) for v in values] == [below, at, above]


@pytest.mark.parametrize(
    ("test", "facts", "expected"),
    [
        (GROWTH, {"goal": "hypertrophy"}, True),
        (GROWTH, {"goal": "strength"}, False),
        (Test("goal", Operator.IN, ("power", "speed")), {"goal": "speed"}, True),
        (Test("goal", Operator.IN, ("power", "speed")), {"goal": "skill"}, False),
        (Test("soreness", Operator.IN, (3, 5)), {"soreness": 5}, True),
        (Test("soreness", Operator.IN, (3, 5)), {"soreness": 4}, False),
        (Test("fainting", Operator.IS, False), {"fainting": False}, True),
        (Test("fainting", Operator.IS, False), {"fainting": True}, False),
        (Test("soreness", Operator.REPORTED, True), {"soreness": 0}, True),
        (Test("soreness", Operator.REPORTED, False), {"soreness": 0}, False),
    ],
)
def test_words_and_booleans_are_compared_as_what_they_are(
    test: Test, facts: dict[str, Any], expected: bool
) -> None:
    assert holds(test, facts) is expected


@pytest.mark.parametrize("operator", [o for o in Operator if o is not Operator.REPORTED])
def test_no_test_holds_on_a_fact_that_was_not_reported(operator: Operator) -> None:
    operand = (3, 4) if operator is Operator.IN else 3
    assert not holds(Test("soreness", operator, operand), {})


def test_only_reported_false_holds_on_a_fact_that_was_not_reported() -> None:
    assert holds(Test("soreness", Operator.REPORTED, False), {})
    assert not holds(Test("soreness", Operator.REPORTED, True), {})


def test_none_of_holds_when_nothing_was_reported() -> None:
    assert holds(none_of(SORE, TIRED), {})


@pytest.mark.parametrize(
    ("combination", "by_number_holding"),
    [
        (all_of(SORE, TIRED, SHORT_SLEEP), [False, False, False, True]),
        (any_of(SORE, TIRED, SHORT_SLEEP), [False, True, True, True]),
        (none_of(SORE, TIRED, SHORT_SLEEP), [True, False, False, False]),
        (at_least(2, SORE, TIRED, SHORT_SLEEP), [False, False, True, True]),
        (Signal("worn-out", at_least(2, SORE, TIRED, SHORT_SLEEP)), [False, False, True, True]),
    ],
    ids=["all", "any", "none", "at_least_n_of", "signal"],
)
def test_a_combination_counts_the_conditions_that_hold(
    combination: Condition, by_number_holding: list[bool]
) -> None:
    worn = ("soreness", "fatigue", "sleep_hours")
    mornings = [WELL | {fact: WORN[fact] for fact in worn[:number]} for number in range(4)]
    assert [holds(combination, facts) for facts in mornings] == by_number_holding


def test_negation_within_negation_cancels_out() -> None:
    condition: Condition = SORE
    for _ in range(40):
        condition = none_of(condition)
    assert holds(condition, WORN)
    assert not holds(condition, {})


@pytest.mark.parametrize(
    ("operator", "value", "margin"),
    [
        (Operator.AT_LEAST, 5, 2),
        (Operator.AT_LEAST, 1, -2),
        (Operator.ABOVE, 5, 2),
        (Operator.AT_MOST, 1, 2),
        (Operator.AT_MOST, 5, -2),
        (Operator.BELOW, 5, -2),
        (Operator.BELOW, 3, 0),
        (Operator.IS, 3, None),
        (Operator.AT_LEAST, None, None),
    ],
)
def test_the_margin_is_positive_on_the_side_that_holds(
    operator: Operator, value: int | None, margin: int | None
) -> None:
    facts = {} if value is None else {"soreness": value}
    assert explain(Test("soreness", operator, 3), facts).to_json()["margin"] == margin


def test_an_explanation_shows_each_condition_with_its_value() -> None:
    worn_out = Signal("worn-out", at_least(1, TIRED, SHORT_SLEEP))
    asked = all_of(Test("goal", Operator.IN, ("hypertrophy", "power")), worn_out, none_of(SORE))
    plain = explain(asked, {"goal": "power", "fatigue": 4}).to_json()
    assert plain == {
        "kind": "all",
        "holds": False,
        "children": [
            {
                "fact": "goal",
                "operator": "in",
                "threshold": ["hypertrophy", "power"],
                "value": "power",
                "holds": True,
                "margin": None,
            },
            {
                "kind": "signal",
                "holds": False,
                "signal": "worn-out",
                "children": [
                    {
                        "kind": "at_least_n_of",
                        "holds": False,
                        "n": 1,
                        "children": [
                            {
                                "fact": "fatigue",
                                "operator": "at_least",
                                "threshold": 7,
                                "value": 4,
                                "holds": False,
                                "margin": -3,
                            },
                            {
                                "fact": "sleep_hours",
                                "operator": "below",
                                "threshold": 6,
                                "value": None,
                                "holds": False,
                                "margin": None,
                            },
                        ],
                    }
                ],
            },
            {
                "kind": "none",
                "holds": True,
                "children": [
                    {
                        "fact": "soreness",
                        "operator": "at_least",
                        "threshold": 3,
                        "value": None,
                        "holds": False,
                        "margin": None,
                    }
                ],
            },
        ],
    }
    assert json.loads(json.dumps(plain)) == plain


@pytest.mark.parametrize(
    ("condition", "missing"),
    [
        (all_of(GROWTH, SORE), (SORE,)),
        (all_of(GROWTH, SORE, TIRED), ()),
        (any_of(SORE, TIRED), (SORE, TIRED)),
        (none_of(GROWTH), (GROWTH,)),
        (none_of(GROWTH, all_of(GROWTH, SORE)), (GROWTH,)),
        (all_of(GROWTH, any_of(SORE, TIRED)), (SORE, TIRED)),
        (at_least(2, GROWTH, SORE, TIRED), (SORE, TIRED)),
        (at_least(3, GROWTH, SORE, TIRED), ()),
        (all_of(Signal("sore", SORE), any_of(SORE, TIRED)), (SORE,)),
        (all_of(GROWTH), ()),
    ],
    ids=str,
)
def test_a_near_miss_names_the_tests_that_alone_stand_in_the_way(
    condition: Condition, missing: tuple[Test, ...]
) -> None:
    facts: Facts = {"goal": "hypertrophy", "soreness": 0, "fatigue": 0}
    assert missing_tests(condition, explain(condition, facts)) == missing


_TESTS = (SORE, TIRED, SHORT_SLEEP, Test("soreness", Operator.AT_LEAST, 5))
_GROUPS: tuple[Callable[..., Condition], ...] = (
    all_of,
    any_of,
    none_of,
    partial(at_least, 1),
    partial(at_least, 2),
    lambda *inner: Signal("one", any_of(*inner)),
)
_CONDITIONS = st.recursive(
    st.sampled_from(_TESTS),
    lambda inner: st.builds(
        lambda combine, several: combine(*several),
        st.sampled_from(_GROUPS),
        st.lists(inner, min_size=1, max_size=4),
    ),
    max_leaves=12,
)


def _turned(condition: Condition, test: Test) -> Condition:
    """Copy the condition with one test turned into its opposite, wherever it stands."""
    match condition:
        case Test():
            return none_of(condition) if condition == test else condition
        case Signal(name, inner):
            return Signal(name, _turned(inner, test))
        case Group(kind, conditions, count):
            return Group(kind, tuple(_turned(inner, test) for inner in conditions), count)


@given(_CONDITIONS, st.sampled_from((WELL, WORN, {}, {"soreness": 4, "fatigue": 8})))
def test_traces_and_pivotal_tests_tell_what_turning_each_test_shows(
    condition: Condition, facts: Facts
) -> None:
    outcome, trace = holds(condition, facts), explain(condition, facts)
    assert trace.holds is outcome
    turning = [
        test
        for test in dict.fromkeys(each_test(condition))
        if holds(_turned(condition, test), facts) is not outcome
    ]
    assert list(pivotal_tests(condition, trace)) == turning
    assert list(missing_tests(condition, trace)) == ([] if outcome else turning)
