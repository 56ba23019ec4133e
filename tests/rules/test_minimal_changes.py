"""Minimal changes: the smallest changes of facts to a more permissive verdict."""

from __future__ import annotations

import math
from typing import Any

import pytest

from dawnrule.model import FactDictionary, FactValue, Verdict
from dawnrule.rules.conditions import Condition, Operator, Test, all_of, at_least, facts_of, none_of
from dawnrule.rules.counterfactuals import Change, Changes, WhatIf, changes_for
from dawnrule.rules.evaluation.decision import decision_of
from dawnrule.rules.evaluation.evaluator import predicate
from dawnrule.rules.rule_set import Rule
from tests.factories import a_rule, a_rule_set

DICTIONARY = FactDictionary.bundled()
TRAIN, SWAP, REST = Verdict


def when(fact: str, operator: str, value: Any) -> Test:
    return Test(fact, Operator(operator), value)


def rule(condition: Condition, verdict: Verdict | None = SWAP) -> Rule:
    return a_rule(condition, f"rule-{id(condition)}", verdict=verdict)


def changes(*rules: Rule, **facts: FactValue) -> Changes:
    """Find the changes for a part under these rules."""
    fired = [rule for rule in rules if predicate(rule.when)(facts)]
    what_if = WhatIf(a_rule_set(rules))
    return changes_for(what_if, decision_of(fired), facts, DICTIONARY)


def said(found: tuple[Change, ...]) -> list[tuple[str, FactValue, str, Verdict]]:
    return [(change.fact, change.before, change.to, change.verdict) for change in found]


def only(condition: Condition, **facts: FactValue) -> tuple[str, FactValue]:
    """Return the range and the nearest value of the one change that one rule asks for."""
    (change,) = changes(rule(condition), **facts).single
    return change.to, change.value


SORE = rule(when("soreness", "at_least", 3))
VERY_SORE = rule(when("soreness", "at_least", 8), REST)
SHORT_SLEEP = when("sleep_hours", "below", 6)
TIRED = when("fatigue", "at_least", 7)
STRESSED = when("stress", "at_least", 7)
A_THIRD = math.nextafter(33.33333, 0)


@pytest.mark.parametrize(
    ("condition", "before", "to", "value"),
    [
        (when("soreness", "at_least", 3), 5, "below 3", 2),
        (when("soreness", "at_least", 3), 3, "below 3", 2),
        (when("soreness", "above", 3), 5, "at most 3", 3),
        (none_of(when("soreness", "below", 3)), 5, "below 3", 2),
        (none_of(when("soreness", "at_most", 3)), 5, "at most 3", 3),
        (when("soreness", "is", 5), 5, "below 5", 4),
        (when("soreness", "in", (4, 5)), 5, "below 4", 3),
        (none_of(when("soreness", "is", 2)), 5, "at most 2", 2),
        (when("sleep_hours", "below", 6), 5.5, "at least 6", 6),
        (when("sleep_hours", "at_most", 6), 5.5, "above 6", 6.000000000000001),
        (when("sleep_hours", "below", 6.25), 5.5, "at least 6.25", 6.25),
        (when("sleep_quality", "in", (1, 2)), 1, "above 2", 3),
        (when("hours_since_growth_work", "below", 48), 30.0, "at least 48", 48),
        (when("output_drop_percent", "at_least", 33.33333), 50.0, "below 33.33333", A_THIRD),
        (when("hrv_below_band", "is", True), True, "false", False),
    ],
)
def test_a_change_goes_to_the_nearest_value_on_the_other_side(
    condition: Condition, before: FactValue, to: str, value: FactValue
) -> None:
    (fact,) = facts_of(condition)
    assert only(condition, **{fact: before}) == (to, value)


def test_each_more_permissive_verdict_has_its_smallest_change() -> None:
    found = changes(SORE, VERY_SORE, soreness=9)
    assert said(found.single) == [
        ("soreness", 9, "below 8", SWAP),
        ("soreness", 9, "below 3", TRAIN),
    ]
    assert found.together == ()


def test_of_the_facts_of_a_rule_the_one_that_has_to_move_least_is_offered() -> None:
    both = rule(all_of(when("soreness", "at_least", 3), when("fatigue", "at_least", 5)))
    assert said(changes(both, soreness=9, fatigue=6).single) == [("fatigue", 6, "below 5", TRAIN)]
    assert said(changes(both, soreness=4, fatigue=9).single) == [("soreness", 4, "below 3", TRAIN)]


def test_two_rules_that_a_change_of_one_fact_would_silence_ask_for_it_once() -> None:
    sore_and_tired = rule(all_of(when("soreness", "at_least", 3), TIRED))
    found = changes(SORE, sore_and_tired, soreness=5, fatigue=9)
    assert said(found.single) == [("soreness", 5, "below 3", TRAIN)]


def test_no_single_change_is_offered_where_another_rule_holds_back_as_much() -> None:
    found = changes(SORE, rule(SHORT_SLEEP), soreness=5, sleep_hours=5.0)
    assert found.single == ()
    assert said(found.together) == [
        ("soreness", 5, "below 3", TRAIN),
        ("sleep_hours", 5.0, "at least 6", TRAIN),
    ]


def test_a_set_of_changes_is_offered_beside_a_single_one_that_leads_less_far() -> None:
    found = changes(VERY_SORE, rule(SHORT_SLEEP), soreness=9, sleep_hours=5.0)
    assert said(found.single) == [("soreness", 9, "below 8", SWAP)]
    assert {(c.fact, c.to) for c in found.together} == {
        ("soreness", "below 8"),
        ("sleep_hours", "at least 6"),
    }


def test_a_set_has_as_few_facts_as_will_do_and_of_those_the_nearest() -> None:
    strain = rule(at_least(2, SHORT_SLEEP, TIRED, STRESSED))
    found = changes(strain, SORE, sleep_hours=5.0, fatigue=9, stress=8, soreness=3)
    assert {(c.fact, c.to) for c in found.together} == {
        ("soreness", "below 3"),
        ("sleep_hours", "at least 6"),
        ("stress", "below 7"),
    }


def test_each_change_of_a_set_goes_no_further_than_it_must() -> None:
    """By itself fatigue would have to fall below 5; where soreness falls, below 7 will do."""
    sore_and_tired = rule(all_of(when("soreness", "at_least", 3), when("fatigue", "at_least", 5)))
    found = changes(SORE, rule(TIRED), sore_and_tired, soreness=5, fatigue=8)
    assert {(c.fact, c.to) for c in found.together} == {
        ("soreness", "below 3"),
        ("fatigue", "below 7"),
    }


def test_a_set_may_lead_to_a_swap_where_nothing_leads_to_training() -> None:
    for_good = rule(when("planned_minutes", "above", 60))
    rests = [rule(when("soreness", "at_least", 8), REST), rule(TIRED, REST)]
    found = changes(*rests, for_good, soreness=8, fatigue=7, planned_minutes=90.0)
    assert found.single == ()
    assert {(c.fact, c.to, c.verdict) for c in found.together} == {
        ("soreness", "below 8", SWAP),
        ("fatigue", "below 7", SWAP),
    }


STOP_FACTS = [name for name, definition in DICTIONARY.items() if definition.stop]


def test_pain_illness_and_each_warning_sign_stop_all_suggestions() -> None:
    assert {"illness", "joint_pain", "sharp_pain", "one_sided_pain", "other_pain"} < {*STOP_FACTS}
    assert {"chest_pain", "dark_urine", "head_injury", "pain_reported"} < {*STOP_FACTS}


@pytest.mark.parametrize("fact", STOP_FACTS)
@pytest.mark.parametrize("verdict", [SWAP, REST])
def test_nothing_is_offered_where_pain_illness_or_a_warning_sign_has_spoken(
    fact: str, verdict: Verdict
) -> None:
    value: FactValue = "fever" if fact == "illness" else True
    stop = rule(when(fact, "is", value), verdict)
    facts: dict[str, FactValue] = {fact: value, "soreness": 9}
    assert changes(stop, SORE, **facts) == Changes()
    assert changes(VERY_SORE, SORE, **facts) != Changes()
    mixed = rule(all_of(when(fact, "is", value), when("soreness", "at_least", 3)), verdict)
    assert changes(mixed, **facts) == Changes()


@pytest.mark.parametrize(
    ("condition", "facts"),
    [
        (when("soreness", "reported", False), {}),  # what was not reported
        (when("goal", "is", "hypertrophy"), {"goal": "hypertrophy"}),  # the plan
        (when("planned_minutes", "above", 60), {"planned_minutes": 90.0}),
        (when("age_years", "below", 18), {"age_years": 17}),  # the athlete
        (when("resting_hr_bpm", "above", 60), {"resting_hr_bpm": 70}),  # worse in neither direction
        (when("soreness", "at_least", 0), {"soreness": 3}),  # there is no value beyond
        (when("sleep_hours", "at_least", 9), {"sleep_hours": 9.5}),  # only worse would do
    ],
)
def test_nothing_is_offered_that_nobody_can_or_should_change(
    condition: Test, facts: dict[str, FactValue]
) -> None:
    assert changes(rule(condition), **facts) == Changes()


def test_notes_and_rules_that_say_train_ask_for_nothing() -> None:
    note = rule(when("soreness", "at_least", 3), None)
    train = rule(when("soreness", "at_least", 3), TRAIN)
    assert changes(note, train, soreness=5) == Changes()
    assert said(changes(note, train, VERY_SORE, soreness=9).single) == [
        ("soreness", 9, "below 8", TRAIN)
    ]


def test_a_rule_that_would_begin_to_fire_is_heeded() -> None:
    """Less soreness would silence one rule and wake another, so it is no way out."""
    hides_it = rule(all_of(when("soreness", "below", 3), when("fatigue", "at_least", 5)))
    found = changes(SORE, hides_it, soreness=5, fatigue=6)
    assert found.single == ()
    assert found.together == ()
    assert said(changes(SORE, hides_it, soreness=5, fatigue=4).single) == [
        ("soreness", 5, "below 3", TRAIN)
    ]


def test_the_size_of_a_change_is_its_share_of_the_facts_range() -> None:
    (change,) = changes(SORE, soreness=7).single
    assert change.size == 0.5
    (change,) = changes(rule(SHORT_SLEEP), sleep_hours=3.0).single
    assert change.size == 3 / 24
    (change,) = changes(rule(when("sleep_quality", "below", 4)), sleep_quality=2).single
    assert change.size == 2 / 4
    (change,) = changes(rule(when("hrv_below_band", "is", True)), hrv_below_band=True).single
    assert change.size == 1
