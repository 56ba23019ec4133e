"""Telling more of what warns never makes the newest baseline more permissive."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from dawnrule.advice.advisor import Morning
from dawnrule.facts.derive import derive_facts
from dawnrule.model.entities import CheckIn, Heat, Pain
from dawnrule.rules.counterfactuals import WhatIf
from dawnrule.rules.registry import RuleSetLibrary
from dawnrule.rules.staged_returns import BundledReturns
from tests.effort import tries
from tests.property.athletes import morning

NEWEST = WhatIf(max(RuleSetLibrary.bundled().all(), key=lambda one: one.version))
MORNINGS = tries(25, 200)

Warn = Callable[[CheckIn], CheckIn]

WARNINGS: dict[str, Warn] = {
    "a fever by the thermometer": lambda c: replace(c, temperature_c=38.4),
    "medicine against fever": lambda c: replace(c, fever_medicine=True),
    "great heat": lambda c: replace(c, heat=Heat(wbgt_c=33.0)),
    "pain at the chest": lambda c: with_pain(c, Pain("chest, tight", "other")),
    "pain with numbness": lambda c: with_pain(c, Pain("arm", "other", numbness=True)),
    "a warm calf on one side": lambda c: with_pain(c, Pain("calf", "one-sided", warm=True)),
    "a hurt shin": lambda c: with_pain(c, Pain("shin", "joint", place="shin", severity=7.0)),
    "sets to failure": lambda c: with_blocks(c, to_failure=True),
    "a new exercise": lambda c: with_blocks(c, new_exercise=True),
    "many landings": lambda c: with_blocks(c, contacts=200),
    "sprints": lambda c: with_blocks(c, sprint_metres=600.0),
    "contact": lambda c: with_blocks(c, contact=True),
}


def with_pain(check_in: CheckIn, pain: Pain) -> CheckIn:
    return replace(check_in, pain=(*(check_in.pain or ()), pain))


def with_blocks(check_in: CheckIn, **said: Any) -> CheckIn:
    blocks = tuple(replace(block, **said) for block in check_in.plan)
    return replace(check_in, plan=blocks)


def protection(given: Morning, check_in: CheckIn) -> Iterator[int]:
    """That of the day, and of each part with the day's."""
    facts = derive_facts(
        given.athlete, check_in, given.history, given.now, returns=BundledReturns()
    )
    yield NEWEST.decision(facts.day).verdict.protection
    yield from (NEWEST.decision(part.facts).verdict.protection for part in facts.parts)


@pytest.mark.parametrize("warning", WARNINGS)
@settings(max_examples=MORNINGS, deadline=None)
@given(seed=st.integers(0, 1_000_000))
def test_a_warning_that_is_told_never_makes_advice_more_permissive(warning: str, seed: int) -> None:
    given = morning(seed)
    before = list(protection(given, given.check_in))
    after = list(protection(given, WARNINGS[warning](given.check_in)))
    assert [now >= then for then, now in zip(before, after, strict=True)] == [True] * len(before)
