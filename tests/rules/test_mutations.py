"""Mutation test: every small mistake in a bundled rule set is caught."""

from __future__ import annotations

from dataclasses import replace

from dawnrule.rules.loading.loader import load_rule_set
from dawnrule.rules.registry import bundled_rule_set_files
from tests.effort import tries
from tests.mutations import Mutant, caught_by, mutants_of, survivors_and_table
from tests.rules.test_findings import SORE, read, rule

KINDS = {
    "condition left out",
    "count moved",
    "operator flipped",
    "rule dropped",
    "threshold moved",
    "value changed",
    "value left out",
    "verdict changed",
}


def test_no_mistake_in_the_newest_rule_set_goes_unnoticed() -> None:
    """One in seven of each kind, in the long run all; ``python -m tests.mutations`` makes all of
    them in every version. Published versions never change."""
    rule_set = load_rule_set(bundled_rule_set_files()[-1])
    survivors, table = survivors_and_table(rule_set, one_in=tries(7, 1))
    assert [f"{mutant.kind}, {mutant.where}" for mutant in survivors] == [], table
    assert {mutant.kind for mutant in mutants_of(rule_set)} == KINDS


def test_what_is_no_mistake_is_not_noticed() -> None:
    rule_set = load_rule_set(bundled_rule_set_files()[0])
    assert caught_by(Mutant("none", "nowhere", rule_set, ())) is None


def test_mistakes_are_made_one_at_a_time_and_each_is_one() -> None:
    sore = read(rule("sore", SORE))
    mutants = list(mutants_of(sore))
    changed = [mutant.rule_set.rules for mutant in mutants if mutant.rule_set.rules]
    assert all(rules[0].when != sore.rules[0].when or rules[0].verdict is not sore.rules[0].verdict
               for rules in changed)  # fmt: skip
    assert [mutant.where for mutant in mutants if mutant.kind == "threshold moved"] == [
        "sore: {fact: soreness, at_least: 5} to {fact: soreness, at_least: 4}",
        "sore: {fact: soreness, at_least: 5} to {fact: soreness, at_least: 6}",
    ]


def test_examples_that_do_not_show_an_edge_leave_the_mistake_to_others() -> None:
    [sore] = read(rule("sore", SORE, "soreness: 9", "soreness: 1")).rules
    rule_set = read(rule("sore", SORE))
    moved = replace(sore, when=read(rule("sore", SORE.replace("5", "6"))).rules[0].when)
    mutant = Mutant("threshold moved", "sore", replace(rule_set, rules=(moved,)), (moved,))
    assert caught_by(mutant) == "check"
