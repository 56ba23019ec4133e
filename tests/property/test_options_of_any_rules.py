"""Options under random rules: everything stated beyond a verdict is true."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import closing
from itertools import combinations
from typing import Any

from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st
from hypothesis.strategies import SearchStrategy

from dawnrule.advice.advisor import Advisor
from dawnrule.advice.composer import Composer
from dawnrule.errors import RuleSetInvalid
from dawnrule.model import Facts, FactValue, Verdict
from dawnrule.model.fact_dictionary import FIRST_EDITION
from dawnrule.rules.conditions import Condition, Operator, Test, all_of, any_of, at_least, none_of
from dawnrule.rules.counterfactuals import Change, WhatIf, changes_for
from dawnrule.rules.evaluation.decider import Decider
from dawnrule.rules.registry import RuleSetLibrary
from dawnrule.rules.rule_set import RuleSet
from tests.effort import tries
from tests.factories import a_rule, a_rule_set
from tests.property.athletes import morning
from tests.property.parts_held_back import ONE_MINUTE, SIXTY_DAYS, held_back
from tests.property.rule_strategies import DICTIONARY, mornings, rule_sets

MANY = settings(
    max_examples=tries(30, 400),
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.filter_too_much],
)


def decider_of(rule_set: RuleSet) -> Decider:
    """Compile a decider; an example whose rule the engine refuses does not count."""
    try:
        return Decider(rule_set, DICTIONARY)
    except RuleSetInvalid:
        assume(False)
        raise


# ---- when it opens -----------------------------------------------------------------------

HOURS = [
    name
    for name, definition in DICTIONARY.items()
    if definition.grows and definition.edition == FIRST_EDITION
]
hours_tests = st.builds(
    Test,
    st.sampled_from(HOURS),
    st.sampled_from(["at_least", "at_most", "above", "below", "is"]).map(Operator),
    st.sampled_from([0, 5, 20.25, 24, 36, 47.9, 48, 61.7, 72, 100.001, 160]),
)
unknown_hours = st.builds(Test, st.sampled_from(HOURS), st.just(Operator.REPORTED), st.booleans())
output_tests = st.sampled_from(
    [
        Test("output_drop_percent", Operator.AT_LEAST, 10),
        Test("last_session_cut_short", Operator.IS, True),
        Test("soreness", Operator.AT_LEAST, 3),
        Test("goal", Operator.IS, "hypertrophy"),
        Test("log_differs_hours", Operator.ABOVE, 12),
    ]
)


def combined(inner: SearchStrategy[Condition]) -> SearchStrategy[Condition]:
    several = st.lists(inner, min_size=1, max_size=3).map(tuple)
    return st.one_of(
        several.map(lambda conditions: all_of(*conditions)),
        several.map(lambda conditions: any_of(*conditions)),
        several.map(lambda conditions: none_of(*conditions)),
        several.map(lambda conditions: at_least(1, *conditions)),
    )


clock_conditions = st.recursive(
    st.one_of(hours_tests, hours_tests, unknown_hours, output_tests), combined, max_leaves=5
)
protective = st.sampled_from([Verdict.SWAP, Verdict.REST])


@st.composite
def clock_rules(draw: st.DrawFn) -> RuleSet:
    """Draw rules of any shape over the facts that change with the time of training."""
    conditions = draw(st.lists(clock_conditions, min_size=1, max_size=4))
    return a_rule_set(
        a_rule(condition, f"rule-{number}", "part", draw(protective))
        for number, condition in enumerate(conditions)
    )


@MANY
@given(st.integers(0, 10_000), clock_rules())
def test_whatever_the_rules_a_part_opens_at_the_first_minute_that_will_do(
    seed: int, rule_set: RuleSet
) -> None:
    advisor = Advisor(RuleSetLibrary({}), Composer.bundled())
    try:
        decider = advisor.library.decider(rule_set)
    except RuleSetInvalid:
        assume(False)
        raise
    with closing(decider):
        for part in held_back(advisor, morning(seed), rule_set):
            end = part.opens_at or part.facts.starts_at + 2 * SIXTY_DAYS
            if part.opens_at:
                assert part.verdict_at(part.opens_at) is Verdict.TRAIN
                earlier = max(part.opens_at - ONE_MINUTE, part.facts.starts_at)
                assert part.verdict_at(earlier) is not Verdict.TRAIN
            for at in part.times_to_try():
                assert at >= end or part.quick_verdict_at(at) is not Verdict.TRAIN, at


# ---- what would change -----------------------------------------------------------------------


def verdict(decider: Decider, facts: Facts, *changes: Change) -> Verdict:
    """Decide on a part after changes, by both evaluations."""
    after = {**facts, **{change.fact: change.value for change in changes}}
    day = {name: value for name, value in after.items() if DICTIONARY[name].scope == "day"}
    return decider.decide(day, [after]).parts[0].verdict


@MANY
@given(st.data())
def test_whatever_the_rules_each_change_leads_to_the_verdict_that_it_names(
    data: st.DataObject,
) -> None:
    rule_set = data.draw(rule_sets())
    day, parts = data.draw(mornings(rule_set))
    with closing(decider_of(rule_set)) as decider:
        for facts, decision in zip(parts, decider.decide(day, parts).parts, strict=True):
            found = changes_for(WhatIf(rule_set), decision, facts, DICTIONARY)
            for change in found.single:
                assert verdict(decider, facts, change) is change.verdict
                assert change.verdict.protection < decision.verdict.protection
            if found.together:
                assert verdict(decider, facts, *found.together) is found.together[0].verdict
            for change in (*found.single, *found.together):
                assert DICTIONARY[change.fact].accepts(change.value)
                assert not DICTIONARY[change.fact].stop


WORSE: dict[str, tuple[list[Any], list[str]]] = {
    "soreness": ([3, 5, 8], ["at_least", "above"]),
    "fatigue": ([5, 7], ["at_least", "above"]),
    "sleep_quality": ([2, 3], ["at_most", "below"]),
    "sleep_hours": ([4, 6, 7.5], ["at_most", "below"]),
    "hours_since_trained": ([24, 48.5], ["at_most", "below"]),
    "hrv_below_band": ([True], ["is"]),
}
"""Facts with thresholds and the operators that ask for more protection as they get worse."""


@st.composite
def worse_tests(draw: st.DrawFn) -> Test:
    fact = draw(st.sampled_from(sorted(WORSE)))
    numbers, operators = WORSE[fact]
    operator = Operator(draw(st.sampled_from(operators)))
    return Test(fact, operator, draw(st.sampled_from(numbers)))


def worse_combined(inner: SearchStrategy[Condition]) -> SearchStrategy[Condition]:
    several = st.lists(inner, min_size=2, max_size=3).map(tuple)
    return st.one_of(
        several.map(lambda conditions: all_of(*conditions)),
        several.map(lambda conditions: any_of(*conditions)),
        several.map(lambda conditions: at_least(2, *conditions)),
    )


@st.composite
def sensible_rules(draw: st.DrawFn) -> RuleSet:
    """Draw rules that never ask for less protection as a fact gets worse."""
    conditions = st.recursive(worse_tests(), worse_combined, max_leaves=4)
    drawn = draw(st.lists(conditions, min_size=1, max_size=4))
    return a_rule_set(
        a_rule(condition, f"rule-{number}", "part", draw(protective))
        for number, condition in enumerate(drawn)
    )


facts_of_all = st.fixed_dictionaries(
    {
        "soreness": st.integers(0, 10),
        "fatigue": st.integers(0, 10),
        "sleep_quality": st.integers(1, 5),
        "sleep_hours": st.sampled_from([3.0, 4.0, 5.5, 6.0, 7.5, 9.0]),
        "hours_since_trained": st.sampled_from([2.0, 24.0, 30.0, 48.5, 100.0]),
        "hrv_below_band": st.booleans(),
    }
)


@MANY
@given(sensible_rules(), facts_of_all)
def test_whatever_sensible_rules_say_no_smaller_change_and_no_fewer_would_do(
    rule_set: RuleSet, facts: dict[str, FactValue]
) -> None:
    with closing(decider_of(rule_set)) as decider:
        (decision,) = decider.decide(_day(facts), [facts]).parts
        found = changes_for(WhatIf(rule_set), decision, facts, DICTIONARY)
        for change in found.single:
            for value in _short_of(change):
                after = verdict(decider, {**facts, change.fact: value})
                assert after.protection > change.verdict.protection
        for fewer in _fewer(found.together):
            after = verdict(decider, facts, *fewer)
            assert after.protection > found.together[0].verdict.protection
        best = verdict(decider, {**facts, **BEST})
        offered = [decision.verdict, *(c.verdict for c in (*found.single, *found.together))]
        assert min(offered, key=lambda v: v.protection) is best


BEST: dict[str, FactValue] = {
    "soreness": 0,
    "fatigue": 0,
    "sleep_quality": 5,
    "sleep_hours": 24,
    "hours_since_trained": 100_000,
    "hrv_below_band": False,
}


def _day(facts: Facts) -> Facts:
    return {name: value for name, value in facts.items() if DICTIONARY[name].scope == "day"}


def _short_of(change: Change) -> Iterator[Any]:
    """List values between a fact as it was and as it would do."""
    before: Any = change.before
    after: Any = change.value
    if DICTIONARY[change.fact].type == "integer" or DICTIONARY[change.fact].step is not None:
        yield from range(min(before, after) + 1, max(before, after))
    elif DICTIONARY[change.fact].type == "number":
        between = (before + (after - before) * share for share in (0.3, 0.7, 0.999999))
        yield from (value for value in between if value not in (before, after))


def _fewer(changes: tuple[Change, ...]) -> Iterator[tuple[Change, ...]]:
    for count in range(len(changes)):
        yield from combinations(changes, count)
