"""Policy kept apart from science: every cut-off of ours says so.

No paper validates a cut-off such as "soreness 3" or "48 h". So these numbers are checked against
the rule file, and the rule file must call them house judgement or common practice.
"""

from __future__ import annotations

import re

import pytest

from dawnrule.facts.load_formulas import rise_percent
from dawnrule.rules import conditions
from dawnrule.rules.evaluation.evaluator import predicate
from dawnrule.rules.rule_set import Rule
from tests.published.mornings import Baseline

STRAIN = {
    "sleep_hours below 6",
    "sleep_quality at_most 2",
    "fatigue at_least 7",
    "stress at_least 7",
}

STRAIN_WITH_HISTORY = STRAIN | {"resting_hr_above_median_bpm at_least 7"}

POLICY = [
    ("sleep-very-short", {"sleep_hours below 4"}, "house"),
    ("soreness-very-high", {"soreness at_least 8"}, "house"),
    ("growth-work-soreness", {"soreness at_least 3"}, "common-practice"),
    ("growth-work-too-soon", {"hours_since_growth_work below 48"}, "common-practice"),
    ("force-work-soreness", {"soreness at_least 5"}, "house"),
    ("endurance-on-sore-legs", {"soreness at_least 3"}, "common-practice"),
    ("hard-endurance-soreness", {"soreness at_least 5"}, "house"),
]

POLICY_WITH_HISTORY = [
    ("sleep-shortfall-demanding-work", {"sleep_shortfall_hours at_least 1.5"}, "house"),
    ("sleep-shortfall-other-work", {"sleep_shortfall_hours at_least 1.5"}, "house"),
    ("sleep-shortfall-day-off", {"sleep_shortfall_hours at_least 1.5"}, "house"),
    (
        "many-days-in-a-row",
        {"days_trained_in_a_row at_least 6", "planned_blocks at_least 1"},
        "common-practice",
    ),
    ("weekly-load-up-by-half", {"weekly_load_rise_percent at_least 50"}, "house"),
    ("weekly-load-monotony", {"monotony above 2"}, "house"),
    (
        "landing-work-up-by-a-third",
        {"landing_minutes_rise_percent at_least 33.3"},
        "common-practice",
    ),
    (
        "output-fell",
        {"output_drop_percent at_least 10", "hours_since_output_drop below 72"},
        "common-practice",
    ),
    ("week-without-press", {"planned_blocks at_least 3"}, "common-practice"),
    ("week-without-pull", {"planned_blocks at_least 3"}, "common-practice"),
    ("week-without-hinge", {"planned_blocks at_least 3"}, "common-practice"),
    ("week-without-squat", {"planned_blocks at_least 3"}, "common-practice"),
]

POLICY_OF_THE_NEWEST = [
    ("heavy-work-short-night", {"sleep_hours at_least 4", "sleep_hours below 5"}, "house"),
    ("landing-after-growth-work", {"hours_since_growth_work below 48"}, "common-practice"),
    ("steady-endurance-soreness", {"soreness at_least 5", "soreness below 8"}, "common-practice"),
]

PUBLISHED_LIMITS = {
    # Hirshkowitz 2015, Sleep Health 1(1):40-43: the bands of age change at 18.
    "under-eighteen": {"age_years below 18"},
    # McLester 2003, J Strength Cond Res 17(2):259-273: below baseline at 24 h, not at 48 h.
    "force-work-after-growth-work": {"hours_since_growth_work below 48"},
}


def limits(rule: Rule) -> set[str]:
    return {
        f"{test.fact} {test.operator} {test.value}"
        for test in conditions.tests_of(rule.when)
        if test.operator in conditions.NUMERIC_OPERATORS
    }


def claims(rule: Rule) -> tuple[set[str], str, bool]:
    """A rule's limits, the kind of its basis, and whether it says that no paper gives them."""
    owns_up = re.search(r"no paper (gives|validates)|house figure", rule.basis.note or "")
    return limits(rule), rule.basis.kind, owns_up is not None


def rules_reading(baseline: Baseline, fact: str) -> list[Rule]:
    return [rule for rule in baseline.rule_set.rules if fact in conditions.facts_of(rule.when)]


@pytest.mark.parametrize(("rule_id", "policy", "kind"), POLICY, ids=[row[0] for row in POLICY])
def test_the_rule_holds_the_policy_and_owns_up_to_it(
    baseline: Baseline, rule_id: str, policy: set[str], kind: str
) -> None:
    """Source of the figures: house judgement or common practice, no source."""
    assert claims(baseline.rule(rule_id)) == (policy, kind, True)


@pytest.mark.parametrize(
    ("rule_id", "policy", "kind"), POLICY_WITH_HISTORY, ids=[row[0] for row in POLICY_WITH_HISTORY]
)
def test_the_rule_on_history_holds_the_policy_and_owns_up_to_it(
    baseline_with_history: Baseline, rule_id: str, policy: set[str], kind: str
) -> None:
    """Source of the figures: house judgement or common practice, no source."""
    assert claims(baseline_with_history.rule(rule_id)) == (policy, kind, True)


@pytest.mark.parametrize(
    ("rule_id", "policy", "kind"),
    POLICY_OF_THE_NEWEST,
    ids=[row[0] for row in POLICY_OF_THE_NEWEST],
)
def test_the_newest_rule_holds_the_policy_and_owns_up_to_it(
    newest_baseline: Baseline, rule_id: str, policy: set[str], kind: str
) -> None:
    """Source of the figures: house judgement or common practice, no source."""
    assert claims(newest_baseline.rule(rule_id)) == (policy, kind, True)


@pytest.mark.parametrize("rule_id", ["two-signs-of-strain", "four-signs-of-strain"])
def test_the_limits_of_the_signs_of_strain_are_house_policy(
    baseline: Baseline, rule_id: str
) -> None:
    """Source of the figures: house judgement. The heart signs came with 1.1.0."""
    first = baseline.rule_set.version == "1.0.0"
    signs = STRAIN if first else STRAIN_WITH_HISTORY
    assert claims(baseline.rule(rule_id)) == (signs, "house", True)


def test_a_third_is_a_third_to_the_minute(baseline_with_history: Baseline) -> None:
    """Source: house judgement; 33.3 % stands for a third, up to 999 landing minutes a week."""
    holds = predicate(baseline_with_history.rule("landing-work-up-by-a-third").when)
    block = {"goal": "steady-endurance", "eccentric_load": "high"}

    def fires(now: int, before: int) -> bool:
        return holds({**block, "landing_minutes_rise_percent": rise_percent(now, before)})

    for before in range(1, 1000):
        a_third_more = -(-4 * before // 3)
        assert fires(a_third_more, before), before
        assert not fires(a_third_more - 1, before), before


def test_what_history_says_of_load_is_never_more_than_a_note(
    baseline_with_history: Baseline,
) -> None:
    """Source: ratios of load are disputed, Impellizzeri 2020, Int J Sports Physiol Perform
    15(6):907-913 (from memory); Foster 1998, Med Sci Sports Exerc 30(7):1164-1168, gives no limit
    of monotony for all."""
    of_load = ("weekly_load", "weekly_load_rise_percent", "monotony", "strain")
    readers = [rule for fact in of_load for rule in rules_reading(baseline_with_history, fact)]
    assert [rule.id for rule in readers] == ["weekly-load-up-by-half", "weekly-load-monotony"]
    assert all(rule.is_note for rule in readers)


def test_no_rule_reads_acute_or_chronic_load(baseline: Baseline) -> None:
    """Source: Impellizzeri 2020, Int J Sports Physiol Perform 15(6):907-913 (from memory)."""
    assert rules_reading(baseline, "acute_load") == []
    assert rules_reading(baseline, "chronic_load") == []


def test_no_rule_sells_a_policy_number_as_published(baseline: Baseline) -> None:
    """The limits that papers do give stand above with their sources: 2015 and 2003."""
    published = [rule for rule in baseline.rule_set.rules if rule.basis.kind == "published"]
    assert {rule.id: limits(rule) for rule in published if limits(rule)} == PUBLISHED_LIMITS


def test_no_text_gives_a_dose(baseline: Baseline) -> None:
    """House judgement: supplements and medicines are no business of a morning's advice."""
    for rule in baseline.rule_set.rules:
        text = f"{rule.title} {rule.reason} {rule.caution}"
        assert not re.search(r"g/kg|\bmg\b|ibuprofen|creatine|caffeine", text, re.I), rule.id
