"""The engine against the evaluator: the same rules fire, whatever the rules and the facts."""

from __future__ import annotations

from contextlib import closing
from typing import Any

import pytest
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st

from dawnrule.errors import EngineFailure, RuleSetInvalid
from dawnrule.rules.evaluation.decider import Decider
from dawnrule.rules.rule_set import RuleSet
from tests.effort import tries
from tests.property.rule_strategies import DICTIONARY, mornings, rule_sets

ANYTHING = st.none() | st.booleans() | st.integers() | st.floats() | st.text()


def decider_of(rule_set: RuleSet) -> Decider:
    """Compile a decider; an example whose rule the engine refuses does not count."""
    try:
        return Decider(rule_set, DICTIONARY)
    except RuleSetInvalid:
        assume(False)
        raise


@settings(
    max_examples=tries(100, 5_000), deadline=None, suppress_health_check=[HealthCheck.too_slow]
)
@given(st.data())
def test_the_two_evaluations_never_differ(data: st.DataObject) -> None:
    rule_set = data.draw(rule_sets())
    day, parts = data.draw(mornings(rule_set))
    with closing(decider_of(rule_set)) as decider:
        decision = decider.decide(day, parts)  # raises where they differ
        assert decision == decider.decide_by_evaluator(day, parts)


@settings(max_examples=tries(30, 200), deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(rule_sets(), st.sampled_from([*DICTIONARY, "mood"]), ANYTHING)
def test_a_value_that_a_fact_cannot_have_is_never_decided_on(
    rule_set: RuleSet, fact: str, value: Any
) -> None:
    assume(fact not in DICTIONARY or not DICTIONARY[fact].accepts(value))
    with closing(decider_of(rule_set)) as decider, pytest.raises(EngineFailure):
        decider.decide({fact: value}, [])
