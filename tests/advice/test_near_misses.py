"""Rules that nearly fired, and by how much."""

from __future__ import annotations

import pytest

from dawnrule.advice.explanation import NEAR, near_misses
from dawnrule.model import FactDictionary, Facts
from dawnrule.rules.conditions import all_of, any_of, none_of
from dawnrule.rules.registry import RuleSetLibrary
from tests.factories import rule_named, when

DICTIONARY = FactDictionary.bundled()
SORE = when("soreness", "at_least", 3)
GROWTH = when("goal", "is", "hypertrophy")


def test_a_near_miss_tells_which_test_it_was_and_by_how_much() -> None:
    rule = rule_named("sore", all_of(GROWTH, SORE))
    [miss] = near_misses([rule], {"goal": "hypertrophy", "soreness": 2}, DICTIONARY)
    [test] = miss.tests
    assert (miss.rule, test.trace.fact, test.trace.value) == (rule, "soreness", 2)
    assert test.distance == 1
    assert miss.share == pytest.approx(1 / 3)  # the range goes from 0 to 10, and 3 cuts off 3
    assert miss.is_near


@pytest.mark.parametrize(
    ("facts", "why"),
    [
        ({"goal": "hypertrophy", "soreness": 3}, "it fired"),
        ({"goal": "strength", "soreness": 2}, "two tests stood in the way"),
        ({}, "two tests stood in the way"),
    ],
)
def test_what_fired_or_was_two_answers_away_is_no_near_miss(facts: Facts, why: str) -> None:
    assert near_misses([rule_named("sore", all_of(GROWTH, SORE))], facts, DICTIONARY) == (), why


def test_the_nearest_comes_first_whatever_its_unit() -> None:
    facts: Facts = {"soreness": 1, "sleep_hours": 6.5, "hours_since_growth_work": 60.0}
    rules = [
        rule_named("sore", SORE),  # 2 of 3
        rule_named("too-soon", when("hours_since_growth_work", "below", 48)),  # 12 of 48
        rule_named("short-sleep", when("sleep_hours", "below", 6)),  # 0.5 of 6
    ]
    told = near_misses(rules, facts, DICTIONARY)
    assert [miss.rule.id for miss in told] == ["short-sleep", "too-soon", "sore"]
    assert [miss.share for miss in told] == pytest.approx([0.5 / 6, 12 / 48, 2 / 3])
    assert [miss.is_near for miss in told] == [True, True, False]


def test_ten_years_of_hours_make_nothing_near() -> None:
    rule = rule_named("too-soon", when("hours_since_growth_work", "below", 48))
    [miss] = near_misses([rule], {"hours_since_growth_work": 500.0}, DICTIONARY)
    assert miss.share > NEAR


def test_a_value_at_the_threshold_itself_is_no_distance_away() -> None:
    [miss] = near_misses(
        [rule_named("alike", when("monotony", "above", 2))], {"monotony": 2.0}, DICTIONARY
    )
    assert (miss.tests[0].distance, miss.share) == (0, 0)


def test_a_threshold_at_the_end_of_the_range_is_measured_by_the_rest() -> None:
    rule = rule_named("none", when("soreness", "at_most", 0))
    [miss] = near_misses([rule], {"soreness": 5}, DICTIONARY)
    assert miss.share == 0.5


def test_what_has_no_order_comes_last_and_is_never_near() -> None:
    rules = [rule_named("chest", when("chest_pain", "is", True)), rule_named("sore", SORE)]
    told = near_misses(rules, {"chest_pain": False, "soreness": 0}, DICTIONARY)
    assert [miss.rule.id for miss in told] == ["sore", "chest"]
    assert told[1].tests[0].distance is None
    assert not told[1].is_near


def test_each_of_several_answers_that_would_do_is_told_the_nearest_first() -> None:
    either = any_of(when("sleep_quality", "at_most", 1), SORE)
    [miss] = near_misses(
        [rule_named("either", either)], {"sleep_quality": 5, "soreness": 2}, DICTIONARY
    )
    assert [test.trace.fact for test in miss.tests] == ["soreness", "sleep_quality"]


def test_a_test_that_must_not_hold_is_as_far_as_it_holds() -> None:
    rule = rule_named("fresh", none_of(SORE))
    [miss] = near_misses([rule], {"soreness": 4}, DICTIONARY)
    assert miss.tests[0].trace.holds
    assert miss.tests[0].distance == 1


def test_every_near_miss_of_a_baseline_fires_when_its_answer_turns() -> None:
    rules = RuleSetLibrary.bundled().get("baseline", "2.0.0").in_scope("part")
    facts: Facts = {"goal": "hypertrophy", "soreness": 2, "hours_since_growth_work": 50.0}
    turned: dict[str, Facts] = {
        "growth-work-soreness": {"soreness": 3},
        "growth-work-too-soon": {"hours_since_growth_work": 46.9},
    }
    near = [miss for miss in near_misses(rules, facts, DICTIONARY) if miss.is_near]
    assert {miss.rule.id for miss in near} == turned.keys()
    for rule_id, change in turned.items():
        still = {m.rule.id for m in near_misses(rules, {**facts, **change}, DICTIONARY)}
        assert rule_id not in still
