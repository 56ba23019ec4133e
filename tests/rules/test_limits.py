"""Limits: they leave less of a plan, and the strictest of them least."""

from __future__ import annotations

from itertools import permutations

import pytest

from dawnrule.advice.blocks import limits_on
from dawnrule.errors import RuleSetInvalid
from dawnrule.i18n.catalog import Texts
from dawnrule.model import Facts
from dawnrule.rules.limits import (
    NO_LIMITS,
    Allowed,
    FromFact,
    Limits,
    Planned,
    allowed,
    exceeded,
    fitting,
    in_words,
    merged,
)
from dawnrule.rules.loading.loader import parse_rule_set
from dawnrule.rules.serialization import rule_to_json

STRICT = Limits(share_of_sets=0.5, effort_at_most=4, reps_in_reserve_at_least=4, no_failure=True)
LOOSE = Limits(share_of_sets=0.8, effort_at_most=6, reps_in_reserve_at_least=2, no_maximal=True)

RULE_SET = """\
rule_set: tried
version: 1.0.0
summary: One rule with limits.
rules:
  - id: a-rule
    title: A rule
    scope: part
    when:
      all:
        - {fact: soreness, at_least: 3}
        - {fact: landing_minutes_allowed_today, reported: true}
    verdict: swap-to-low-damage
    limits: LIMITS
    reason: "{soreness} of 10."
    caution: Less.
    basis: {kind: house, source: house judgement}
    wrong_when: Never.
    examples:
      - {facts: {soreness: 3, landing_minutes_allowed_today: 10}, fires: true}
      - {facts: {soreness: 2}, fires: false}
"""


def test_the_strictest_of_each_counts_in_whatever_order() -> None:
    strictest = Limits(
        share_of_sets=0.5,
        effort_at_most=4,
        reps_in_reserve_at_least=4,
        no_failure=True,
        no_maximal=True,
    )
    for order in permutations((STRICT, LOOSE, NO_LIMITS)):
        assert merged(order) == strictest
    assert merged(()) == NO_LIMITS
    assert not NO_LIMITS


@pytest.mark.parametrize(
    ("facts", "found"),
    [
        ({"planned_share_percent": 50.1}, ("share_of_sets",)),
        ({"planned_share_percent": 50}, ()),
        ({"planned_effort": 4.5}, ("effort_at_most",)),
        ({"planned_reps_in_reserve": 3}, ("reps_in_reserve_at_least",)),
        ({"planned_to_failure": True}, ("no_failure",)),
        ({"planned_to_failure": False}, ()),
        ({}, ()),
    ],
)
def test_what_a_plan_does_not_say_counts_as_within(facts: Facts, found: tuple[str, ...]) -> None:
    assert exceeded(STRICT, facts) == found


def test_shares_are_of_the_usual_where_it_is_known() -> None:
    """Half of the usual ten are five, though only six are planned; never more than is planned."""
    half = Limits(share_of_sets=0.5)
    assert allowed(half, Planned(sets=6, usual_percent=60)) == Allowed(sets=5)
    assert allowed(half, Planned(sets=3, usual_percent=30)) == Allowed(sets=3)
    assert allowed(half, Planned(sets=6)) == Allowed(sets=3)
    assert allowed(half, Planned(sets=1)) == Allowed(sets=1)
    assert allowed(half, Planned()) == Allowed()


def test_of_a_share_and_a_number_of_minutes_the_fewer_count() -> None:
    both = Limits(share_of_minutes=0.5, minutes_at_most=20)
    assert allowed(both, Planned(minutes=60)) == Allowed(minutes=20)
    assert allowed(both, Planned(minutes=30)) == Allowed(minutes=15)
    assert allowed(both, Planned()) == Allowed(minutes=20)


def test_a_limit_may_be_a_fact_of_the_morning() -> None:
    limits = Limits(minutes_at_most=FromFact("landing_minutes_allowed_today"))
    assert limits.settled({"landing_minutes_allowed_today": 12.5}) == Limits(minutes_at_most=12.5)
    assert limits.settled({}) == NO_LIMITS
    assert Limits.from_json(limits.to_json()) == limits


STAGE = Limits(
    share_of_sets=0.5,
    share_of_minutes=0.5,
    contacts_at_most=40,
    reps_in_reserve_at_least=3,
    no_failure=True,
)


def test_limits_that_mean_nothing_for_a_block_are_not_told() -> None:
    """No contacts of a bench press, and no repetitions of a run."""
    press = fitting(STAGE, Planned(sets=8), in_sets=True, lands=False)
    assert press == Limits(share_of_sets=0.5, reps_in_reserve_at_least=3, no_failure=True)
    run = fitting(STAGE, Planned(minutes=60), in_sets=False, lands=False)
    assert run == Limits(share_of_minutes=0.5)
    game = fitting(STAGE, Planned(minutes=60), in_sets=False, lands=True)
    assert game == Limits(share_of_minutes=0.5, contacts_at_most=40)
    alone = Limits(no_failure=True)
    assert fitting(alone, Planned(minutes=60), in_sets=False, lands=False) == alone


def test_limits_are_told_in_words_and_numbers() -> None:
    texts = Texts.bundled()
    lines = in_words(STRICT, Planned(sets=10), texts)
    assert lines == [
        "at most 5 of the 10 sets",
        "effort of 4 of 10 at the most",
        "4 repetitions in reserve at the least",
        "no set to failure",
    ]
    assert in_words(Limits(share_of_sets=0.7), Planned(), texts) == [
        "at most 70 % of the usual sets"
    ]
    minutes = in_words(Limits(minutes_at_most=20), Planned(minutes=60), texts)
    assert minutes == ["at most 20 of the 60 min"]
    assert in_words(NO_LIMITS, Planned(sets=10), texts) == []


def test_a_rule_file_may_give_limits() -> None:
    text = RULE_SET.replace("LIMITS", "{share_of_sets: 0.5, no_failure: true}")
    [rule] = parse_rule_set(text, "tried.yaml").rules
    assert rule.limits == Limits(share_of_sets=0.5, no_failure=True)
    assert limits_on({"soreness": 3}, [rule, rule]) == rule.limits
    assert rule_to_json(rule)["limits"] == {"share_of_sets": 0.5, "no_failure": True}


@pytest.mark.parametrize(
    ("limits", "code"),
    [
        ("{share_of_sets: 1.5}", "schema"),
        ("{no_failure: false}", "schema"),
        ("{sets: 3}", "schema"),
        ("{minutes_at_most: {fact: landing_minutes_week}}", "limits"),
        ("{minutes_at_most: {fact: muscle_group}}", "limits"),
    ],
)
def test_limits_that_mean_nothing_are_refused(limits: str, code: str) -> None:
    with pytest.raises(RuleSetInvalid) as refused:
        parse_rule_set(RULE_SET.replace("LIMITS", limits), "tried.yaml")
    assert {finding.code for finding in refused.value.findings} == {code}
