"""Comparison of a morning under another rule set with what was advised, subject by subject."""

from __future__ import annotations

from contextlib import closing
from dataclasses import replace

from dawnrule.advice.comparison import SubjectComparison, compare_with
from dawnrule.advice.composer import Composer
from dawnrule.model import FactDictionary
from dawnrule.model.entities import Block, Sleep
from dawnrule.model.record import Record
from dawnrule.rules.evaluation.decider import Decider
from dawnrule.rules.evaluation.evaluator import Trace
from dawnrule.rules.registry import RuleSetLibrary
from dawnrule.rules.rule_set import RuleSet
from tests.factories import (
    GROWTH,
    NOW,
    REST,
    SWAP,
    a_rule_set,
    baseline_advice,
    deciding_baseline,
    morning,
    rule_named,
    when,
)

SORE = rule_named(
    "sore", when("soreness", "at_least", 3), SWAP, reason="Soreness {soreness} of 10."
)
PLAN = (GROWTH, Block("strength", ("chest",)))


def record_of(soreness: int = 4, hours: float = 8) -> Record:
    """What is kept of a morning with a plan for sore quadriceps and for the chest."""
    check_in = morning(0, *PLAN, soreness={"quadriceps": soreness}, sleep=Sleep(hours=hours))
    kept = baseline_advice(check_in).record(decided_at=NOW, posted_by=None, supersedes=None)
    return Record.from_text(kept.to_canonical_json())


def beside(
    record: Record, other: RuleSet, its_own: RuleSet | None
) -> tuple[SubjectComparison, ...]:
    with closing(Decider(other, FactDictionary.bundled())) as decider:
        return compare_with(record, its_own, other, decider, Composer.bundled().wording)


def held(trace: Trace | None) -> bool | None:
    return trace.holds if trace else None


def test_under_its_own_rule_set_nothing_differs() -> None:
    for one in beside(record_of(), deciding_baseline(), deciding_baseline()):
        assert one.is_same
        assert one.then == one.now, "the reasons too"


def test_day_and_parts_are_told_under_both() -> None:
    never = a_rule_set([rule_named("never", when("soreness", "at_least", 10), REST)])
    day, quadriceps, chest = beside(record_of(), never, deciding_baseline())
    assert (day.block, quadriceps.muscle_group, chest.muscle_group) == (None, "quadriceps", "chest")
    assert (day.then.verdict, day.now.verdict) == (SWAP, "train-as-planned")
    assert (quadriceps.then.rule_id, quadriceps.now.rule_id) == ("growth-work-soreness", "")
    assert quadriceps.now.reason == ""
    assert chest.then.verdict == chest.now.verdict == "train-as-planned"


def test_the_rules_that_make_the_difference_are_told_as_they_came_out() -> None:
    stricter = replace(SORE, id="growth-work-soreness", when=when("soreness", "at_least", 5))
    _, quadriceps, _ = beside(record_of(4), a_rule_set([stricter]), deciding_baseline())
    by_id = {rule.rule_id: rule for rule in quadriceps.differing}
    changed = by_id.pop("growth-work-soreness")
    assert (held(changed.then), held(changed.now)) == (True, False)
    assert {held(rule.now) for rule in by_id.values()} == {None}, "it has no other rule"


def test_a_rule_that_only_the_other_has_is_told_with_its_reason() -> None:
    record = record_of(soreness=0)
    other = a_rule_set(
        [rule_named("fresh", when("soreness", "at_most", 0), REST, reason="It is {soreness}.")]
    )
    _, quadriceps, _ = beside(record, other, deciding_baseline())
    assert (quadriceps.now.verdict, quadriceps.now.reason) == (REST, "It is 0.")
    added = next(rule for rule in quadriceps.differing if rule.rule_id == "fresh")
    assert (held(added.then), held(added.now)) == (None, True)


def test_the_day_is_told_by_the_facts_that_decide_on_it() -> None:
    day, *_ = beside(record_of(4), a_rule_set([SORE]), deciding_baseline())
    assert (day.now.rule_id, day.now.reason) == ("sore", "Soreness 4 of 10.")
    short = rule_named(
        "short", when("sleep_hours", "below", 9), REST, "day", reason="{sleep_hours} h."
    )
    day, *parts = beside(record_of(4, hours=8), a_rule_set([SORE, short]), deciding_baseline())
    assert day.now.reason == "8 h."
    assert {part.now.verdict for part in parts} == {REST}


def test_the_same_verdict_by_another_rule_is_not_the_same() -> None:
    _, quadriceps, _ = beside(record_of(), a_rule_set([SORE]), deciding_baseline())
    assert quadriceps.then.verdict == quadriceps.now.verdict
    assert not quadriceps.is_same


def test_a_record_outlives_its_rule_set() -> None:
    older = RuleSetLibrary.bundled().get("baseline", "1.0.0")
    for one in beside(record_of(), older, None):
        assert {rule.then for rule in one.differing} <= {None}
