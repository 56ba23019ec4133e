"""Disjunctive normal form: the conjunctions of a condition."""

from __future__ import annotations

from itertools import product

import pytest

from dawnrule.rules.conditions import (
    Condition,
    Operator,
    Signal,
    Test,
    all_of,
    any_of,
    at_least,
    none_of,
)
from dawnrule.rules.engine.dnf import TooManyConjunctionsError, disjunctive_normal_form
from dawnrule.rules.evaluation.evaluator import predicate

FACTS = ("fainting", "palpitations", "dark_urine", "chest_pain")
A, B, C, D = (Test(fact, Operator.IS, True) for fact in FACTS)
GOAL = Test("goal", Operator.IN, ("power", "speed", "skill"))


@pytest.mark.parametrize(
    ("condition", "ways"),
    [
        (A, 1),
        (all_of(A, B, C), 1),
        (any_of(A, B, C), 3),
        (none_of(A, B, C, D), 1),
        (none_of(all_of(A, B), C), 2),
        (all_of(any_of(A, B), any_of(C, D)), 4),
        (at_least(2, A, B, C, D), 6),
        (none_of(at_least(2, A, B, C, D)), 4),
        (GOAL, 1),
        (none_of(GOAL), 1),
        (all_of(GOAL, any_of(A, B)), 2),
        (all_of(), 1),
        (any_of(), 0),
    ],
    ids=str,
)
def test_an_any_adds_ways_and_an_all_multiplies_them(condition: Condition, ways: int) -> None:
    assert len(disjunctive_normal_form(condition, at_most=100)) == ways


@pytest.mark.parametrize(
    "condition",
    [
        none_of(all_of(A, none_of(B)), at_least(2, B, C, D)),
        at_least(2, any_of(A, B), none_of(C), Signal("both", all_of(B, D))),
        any_of(all_of(A, B), Test("chest_pain", Operator.REPORTED, False)),
        none_of(Test("chest_pain", Operator.REPORTED, True), A),
    ],
    ids=str,
)
def test_a_condition_holds_exactly_when_one_of_its_ways_is_met(condition: Condition) -> None:
    ways = disjunctive_normal_form(condition, at_most=100)
    for values in product((True, False, None), repeat=len(FACTS)):
        facts = {f: v for f, v in zip(FACTS, values, strict=True) if v is not None}
        met = any(all(predicate(r.test)(facts) is r.holds for r in way) for way in ways)
        assert met is predicate(condition)(facts)


def test_too_many_ways_are_refused_before_they_are_counted_out() -> None:
    several = any_of(A, B, C, D)
    with pytest.raises(TooManyConjunctionsError):
        disjunctive_normal_form(all_of(*(several,) * 200), at_most=100)
