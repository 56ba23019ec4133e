"""Blocks and the sessions in place of them, for many athletes under the newest baseline."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from dawnrule.advice.advisor import AdvisedMorning, Advisor
from dawnrule.advice.blocks import decide_blocks
from dawnrule.model import Verdict
from dawnrule.model.advice import Alternative
from dawnrule.model.entities import Block
from dawnrule.rules.evaluation.decision import decision_of
from dawnrule.rules.limits import Limits, Planned, allowed, as_strict, exceeded, merged
from dawnrule.rules.rule_set import RuleSet
from tests.effort import tries
from tests.property.athletes import WORDS, morning

ATHLETES = range(tries(60, 250))


@pytest.fixture(scope="module")
def rule_set() -> RuleSet:
    return Advisor.bundled().library.get("baseline", "2.0.0")


@pytest.fixture(scope="module")
def mornings(rule_set: RuleSet) -> list[AdvisedMorning]:
    advisor = Advisor.bundled()
    return [advisor.consider(morning(seed), rule_set, "advice-1") for seed in ATHLETES]


def test_the_mornings_are_of_every_kind(mornings: list[AdvisedMorning]) -> None:
    """Otherwise promises could hold for want of anything to test them on."""
    seen = Counter[str]()
    for considered in mornings:
        for block in considered.advice.blocks:
            seen[block.verdict.value] += 1
            seen["limited"] += bool(block.limits)
            seen["less of the same"] += block.does_less
            seen["something else"] += any(not one.within_limits for one in block.alternatives)
    assert all(seen[kind] for kind in (*Verdict, "limited", "something else"))


def test_a_block_is_never_more_permissive_than_any_of_its_parts(
    mornings: list[AdvisedMorning],
) -> None:
    for considered in mornings:
        for block in considered.advice.blocks:
            parts = [
                p.verdict.protection for p in considered.advice.parts if p.block == block.block
            ]
            assert block.verdict.protection == max(parts)


def test_a_block_at_rest_has_no_limits_and_one_as_planned_no_alternatives(
    mornings: list[AdvisedMorning],
) -> None:
    for considered in mornings:
        for block in considered.advice.blocks:
            if block.verdict is Verdict.REST:
                assert not block.limits
            if block.verdict is Verdict.TRAIN:
                assert not block.alternatives
            assert bool(block.limits) == bool(block.limits_said)


def test_each_other_session_is_trained_as_planned_when_it_is_planned(
    mornings: list[AdvisedMorning], rule_set: RuleSet
) -> None:
    """The planned session within its limits is decided in the tests of sessions."""
    advisor = Advisor.bundled()
    for considered in mornings[: tries(15, 80)]:
        given_morning, plan = considered.morning, considered.morning.check_in.plan
        for block in considered.advice.blocks:
            start = next(p.starts_at for p in considered.facts.parts if p.block == block.block)
            for one in (one for one in block.alternatives if not one.within_limits):
                other = replace(_as_block(one), starts_at=start)
                plan_now = (*plan[: block.block], other, *plan[block.block + 1 :])
                check_in = replace(given_morning.check_in, plan=plan_now)
                decided = advisor.consider(
                    replace(given_morning, check_in=check_in), rule_set, "advice-1"
                )
                assert decided.advice.blocks[block.block].verdict is Verdict.TRAIN, (one, block)


def _as_block(one: Alternative) -> Block:
    return Block(
        goal=one.goal or "",
        muscle_groups=(one.muscle_group,) if one.muscle_group else (),
        pattern=one.pattern,
        modality=one.modality,
        minutes=one.minutes,
        sets=one.sets,
        reps=one.reps,
    )


def test_nothing_sore_hurt_or_resting_is_offered(mornings: list[AdvisedMorning]) -> None:
    for considered in mornings:
        advice, soreness = considered.advice, considered.morning.check_in.soreness
        at_rest = {p.muscle_group for p in advice.parts if p.verdict is Verdict.REST}
        for block in advice.blocks:
            for one in (one for one in block.alternatives if not one.within_limits):
                loads = WORDS.modalities[one.modality].loads if one.modality else ()
                loads += WORDS.patterns[one.pattern].muscle_groups if one.pattern else ()
                loads += (one.muscle_group,) if one.muscle_group else ()
                assert at_rest.isdisjoint(loads)
                assert all(soreness.get(group, 0) < 5 for group in loads)
                assert one.because
                assert one.goal
                assert one.minutes or one.muscle_group or one.pattern


def test_no_note_on_training_stands_where_nothing_is_trained(
    mornings: list[AdvisedMorning], rule_set: RuleSet
) -> None:
    for_training = {rule.id for rule in rule_set.rules if rule.told_when == "trains"}
    for considered in mornings:
        advice = considered.advice
        trained = [b for b in advice.blocks if b.verdict is Verdict.TRAIN or b.does_less]
        if advice.verdict is Verdict.REST or not trained:
            assert for_training.isdisjoint(note.rule.id for note in advice.notes)


def test_nobody_is_invited_to_answer_better(mornings: list[AdvisedMorning]) -> None:
    dictionary = Advisor.bundled().composer.dictionary
    for considered in mornings:
        for part in considered.advice.parts:
            changes = (*part.would_change, *part.would_change_together)
            assert all(dictionary[change.fact].grows for change in changes)


# ---- limits

AMOUNTS = {
    "share_of_sets": st.floats(0.05, 0.95),
    "share_of_minutes": st.floats(0.05, 0.95),
    "effort_at_most": st.integers(1, 9),
    "minutes_at_most": st.integers(0, 240),
    "contacts_at_most": st.integers(0, 200),
    "reps_in_reserve_at_least": st.integers(1, 10),
    "no_failure": st.just(True),
    "no_maximal": st.just(True),
    "no_contact": st.just(True),
    "no_landing": st.just(True),
}
LIMITS = st.fixed_dictionaries({}, optional=AMOUNTS).map(Limits.from_json)
PLANNED = st.builds(
    Planned,
    sets=st.none() | st.integers(1, 30),
    minutes=st.none() | st.integers(1, 240),
    usual_percent=st.none() | st.floats(10, 400),
)
BLOCK_FACTS = st.fixed_dictionaries(
    {},
    optional={
        "planned_effort": st.integers(0, 10),
        "planned_minutes": st.integers(0, 300),
        "planned_share_percent": st.integers(0, 300),
        "planned_reps_in_reserve": st.integers(0, 12),
        "planned_to_failure": st.booleans(),
        "planned_maximal": st.booleans(),
        "planned_contact": st.booleans(),
        "lands_hard": st.booleans(),
        "planned_contacts": st.integers(0, 300),
    },
)


@given(LIMITS, PLANNED)
def test_limits_never_leave_more_than_is_planned(limits: Limits, planned: Planned) -> None:
    left = allowed(limits, planned)
    assert left.sets is None or planned.sets is None or left.sets <= planned.sets
    if limits.share_of_minutes is not None and planned.minutes is not None:
        assert left.minutes is not None
        assert left.minutes <= planned.minutes


@given(LIMITS, LIMITS, BLOCK_FACTS)
def test_a_further_limit_never_makes_advice_more_permissive(
    limits: Limits, further: Limits, facts: dict[str, float | bool]
) -> None:
    both = merged([limits, further])
    assert set(exceeded(both, facts)) >= set(exceeded(limits, facts))
    together = dict(both.given())
    assert all(as_strict(together[name], name, value) for name, value in limits.given())


@settings(max_examples=tries(30, 60), deadline=None)
@given(st.integers(0, 10_000))
def test_a_rule_with_limits_that_fires_besides_never_loosens_a_block(
    mornings: list[AdvisedMorning], rule_set: RuleSet, draw: int
) -> None:
    considered = mornings[draw % len(mornings)]
    limiting = [rule for rule in rule_set.rules if rule.limits and rule.scope == "part"]
    another = limiting[draw % len(limiting)]
    plan, decision = considered.morning.check_in.plan, considered.decision
    before = decide_blocks(plan, considered.facts, decision, rule_set.rules)
    parts = tuple(decision_of([*part.fired, another]) for part in decision.parts)
    after = decide_blocks(plan, considered.facts, replace(decision, parts=parts), rule_set.rules)
    for one, other in zip(before, after, strict=True):
        assert other.verdict.protection >= one.verdict.protection
        known = dict(other.limits.given())
        if other.verdict is not Verdict.REST:
            assert all(as_strict(known[name], name, value) for name, value in one.limits.given())
