"""Partition: the values that represent all values of a fact."""

from __future__ import annotations

import pytest

from dawnrule.model import FactDictionary, FactValue
from dawnrule.rules.analysis.partition import next_value, representative_values, step_of
from dawnrule.rules.conditions import Operator, Test

DICTIONARY = FactDictionary.bundled()


def values(
    fact: str, *tests: tuple[Operator, FactValue | tuple[FactValue, ...]]
) -> list[FactValue]:
    conditions = [Test(fact, operator, value) for operator, value in tests]
    [of_fact] = representative_values(conditions, DICTIONARY).values()
    return list(of_fact)


@pytest.mark.parametrize(
    ("fact", "tests", "standing"),
    [
        ("planned_sets", [(Operator.AT_LEAST, 5)], [4, 5, 6]),
        ("planned_sets", [(Operator.AT_LEAST, 5), (Operator.BELOW, 6)], [4, 5, 6, 7]),
        ("planned_sets", [(Operator.AT_LEAST, 0)], [0, 1]),
        ("questions_answered", [(Operator.AT_MOST, 5)], [4, 5]),
        ("planned_sets", [(Operator.IN, (2, 4))], [1, 2, 3, 4, 5]),
        ("planned_sets", [(Operator.REPORTED, True)], [0]),
        ("sleep_hours", [(Operator.BELOW, 6)], [5, 6, 7]),
        ("sleep_hours", [(Operator.BELOW, 0.05)], [0, 0.05, 1.1]),
        ("sleep_hours", [(Operator.BELOW, 6), (Operator.BELOW, 6.5)], [5, 6, 6.1, 6.5, 7.5]),
        ("resting_hr_above_median_bpm", [(Operator.AT_LEAST, -5)], [-6, -5, -4]),
        ("joint_pain", [(Operator.IS, True)], [False, True]),
        ("eccentric_load", [(Operator.IS, "high")], ["low", "moderate", "high"]),
    ],
)
def test_there_is_a_value_at_and_between_all_thresholds(
    fact: str, tests: list[tuple[Operator, FactValue]], standing: list[FactValue]
) -> None:
    assert values(fact, *tests) == standing


def test_there_is_none_between_thresholds_that_have_none_between_them() -> None:
    near = (0.1, 0.10000000000000002)
    assert values("sleep_hours", (Operator.IN, near)) == [0, *near, 1.1]
    assert values("planned_sets", (Operator.IN, (4, 5))) == [3, 4, 5, 6]


def test_facts_stand_in_the_order_of_the_dictionary_and_untested_ones_are_left_out() -> None:
    tests = [Test("soreness", Operator.BELOW, 3), Test("illness", Operator.IS, "fever")]
    assert list(representative_values(tests, DICTIONARY)) == ["illness", "soreness"]


def test_the_next_value_is_the_next_that_people_read() -> None:
    assert step_of(DICTIONARY["soreness"]) == 1
    assert next_value(DICTIONARY["soreness"], 3, above=True) == 4
    assert next_value(DICTIONARY["monotony"], 33.3, above=False) == 33.2
    assert next_value(DICTIONARY["monotony"], 2, above=True) == 2.1
