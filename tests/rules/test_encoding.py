"""Encoding: what the engine is sent."""

from __future__ import annotations

import json
import re

import pytest

from dawnrule.errors import EngineFailure
from dawnrule.model import FactDictionary, Facts
from dawnrule.rules.conditions import Condition, Operator, Test, any_of, none_of
from dawnrule.rules.engine.dnf import disjunctive_normal_form
from dawnrule.rules.engine.encoding import BEYOND, Encoder, number


def written(condition: Condition, facts: Facts) -> dict[str, object]:
    """Encode the facts for a condition, and return them without the head."""
    text = Encoder(FactDictionary.bundled())
    text.condition(disjunctive_normal_form(condition, at_most=10))
    sent: dict[str, object] = json.loads(text.fact_writer()(facts))
    return {name: value for name, value in sent.items() if re.fullmatch(r"[a-z]\d+", name)}


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (0, "0.0"),
        (-0.0, "-0.0"),
        (48, "48.0"),
        (0.1 + 0.2, "0.30000000000000004"),
        (1e-7, "1.0e-07"),
        (1.5e-7, "1.5e-07"),
        (1e16, "1.0e+16"),
        (-1e300, "-1.0e+300"),
        (5e-324, "5.0e-324"),
        (2**53, "9007199254740992.0"),
    ],
)
def test_a_number_always_has_a_point_before_its_exponent(value: float, text: str) -> None:
    assert number(value) == text
    assert float(text) == value


@pytest.mark.parametrize("value", [float("nan"), float("inf"), -BEYOND, 2**53 + 1, 10**400])
def test_a_number_that_the_engine_cannot_hold_exactly_is_refused(value: float) -> None:
    with pytest.raises(EngineFailure):
        number(value)


def test_only_the_facts_that_the_rules_test_are_sent() -> None:
    sore = Test("soreness", Operator.AT_LEAST, 3)
    assert list(written(sore, {"soreness": 4, "fatigue": 9}).values()) == [4.0]


def test_no_word_of_the_dictionary_is_sent() -> None:
    growth = Test("goal", Operator.IS, "hypertrophy")
    ((name, value),) = written(growth, {"goal": "hypertrophy"}).items()
    assert "goal" not in name
    assert value == "v0"


@pytest.mark.parametrize(
    ("test", "stand_in"),
    [
        (Test("soreness", Operator.AT_LEAST, 3), -BEYOND),
        (Test("soreness", Operator.ABOVE, 3), -BEYOND),
        (Test("soreness", Operator.AT_MOST, 3), BEYOND),
        (Test("soreness", Operator.BELOW, 3), BEYOND),
        (Test("soreness", Operator.IS, 3), BEYOND),
        (Test("fainting", Operator.IS, True), False),
        (Test("fainting", Operator.IS, False), True),
        (Test("goal", Operator.IS, "power"), "not-reported"),
    ],
    ids=str,
)
def test_where_a_test_must_fail_a_missing_fact_is_sent_as_a_value_that_fails_it(
    test: Test, stand_in: object
) -> None:
    assert list(written(none_of(test), {}).values()) == [stand_in]
    assert written(test, {}) == {}


def test_whether_a_fact_was_reported_is_sent_beside_it() -> None:
    condition = any_of(
        Test("soreness", Operator.REPORTED, False), Test("soreness", Operator.ABOVE, 3)
    )
    assert list(written(condition, {"soreness": 4}).values()) == [4.0, True]
    assert list(written(condition, {}).values()) == [False]
