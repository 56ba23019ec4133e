"""Versions of the baseline: what changed from one to the next, and nothing else."""

from __future__ import annotations

import re
from functools import cache
from typing import Any

from dawnrule.i18n.resources import rules_folder
from dawnrule.model import FactDictionary
from dawnrule.rules.conditions import facts_of
from dawnrule.rules.loading.loader import load_rule_set
from dawnrule.rules.rule_set import RuleSet
from dawnrule.rules.serialization import rule_set_to_json

ON_STRAIN = {"two-signs-of-strain", "four-signs-of-strain"}


@cache
def version(number: str) -> RuleSet:
    return load_rule_set(rules_folder() / "baseline" / f"{number}.yaml")


def told(number: str) -> dict[str, Any]:
    """Collect all that the rules of a version say, by id."""
    return {rule["id"]: rule for rule in rule_set_to_json(version(number))["rules"]}


def signals(number: str) -> dict[str, Any]:
    said: dict[str, Any] = rule_set_to_json(version(number))["signals"]
    return said


def reading_history(number: str) -> set[str]:
    """List the rules of a version that test a fact from earlier days."""
    dictionary = FactDictionary.bundled()
    return {
        rule.id
        for rule in version(number).rules
        if any(dictionary[fact].origin == "history" for fact in facts_of(rule.when))
    }


def test_1_1_0_keeps_what_1_0_0_says_and_changes_only_the_rules_on_strain() -> None:
    first, second = told("1.0.0"), told("1.1.0")
    assert {id_ for id_ in first if first[id_] != second.get(id_)} == ON_STRAIN
    assert signals("1.0.0").items() <= signals("1.1.0").items()


def test_1_1_0_asks_the_rules_of_1_0_0_in_their_order() -> None:
    first = list(told("1.0.0"))
    assert first == [id_ for id_ in told("1.1.0") if id_ in first]


def test_each_rule_that_is_new_in_1_1_0_reads_history_and_1_0_0_reads_none() -> None:
    assert reading_history("1.1.0") == set(told("1.1.0")) - set(told("1.0.0")) | ON_STRAIN
    assert reading_history("1.0.0") == set()


def test_1_2_0_keeps_all_that_1_1_0_says_in_its_order_and_adds_ten_rules() -> None:
    second, third = told("1.1.0"), told("1.2.0")
    assert second == {id_: third[id_] for id_ in second}
    assert list(second) == [id_ for id_ in third if id_ in second]
    assert signals("1.1.0") == signals("1.2.0")
    assert len(third) - len(second) == 10


def test_2_0_0_changes_no_word_of_the_rules_on_warning_signs_that_it_keeps() -> None:
    third, fourth = told("1.2.0"), told("2.0.0")
    kept = ("warning-heart-or-chest", "warning-head-injury", "warning-numbness-or-weakness")
    for id_ in (*kept, "warning-sign-left-open", "illness-fever", "illness-below-neck"):
        assert third[id_] == fourth[id_]


def test_2_0_0_swaps_no_whole_day_so_that_a_day_off_stays_one() -> None:
    day_rules = version("2.0.0").in_scope("day")
    assert {str(rule.verdict) for rule in day_rules if rule.verdict} == {"rest"}


def test_2_0_0_names_no_way_of_training_in_a_caution_of_its_verdicts() -> None:
    """The computed list of alternatives does, and leaves out what is sore, hurt or unwise."""
    ways = re.compile(r"\b(cycl\w*|swim\w*|rowing|sled|pool)\b", re.IGNORECASE)
    for rule in version("2.0.0").rules:
        assert ways.findall(rule.caution) == [], rule.id


def test_2_0_0_says_so_where_it_reads_what_is_open() -> None:
    dictionary = FactDictionary.bundled()
    read = {fact for rule in version("2.0.0").rules for fact in rule.reads}
    told_by = {name for name, fact in dictionary.items() if fact.rests or fact.holds_back}
    assert told_by <= read
