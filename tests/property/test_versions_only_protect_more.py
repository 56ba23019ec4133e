"""Versions of the baseline on whole mornings: a newer one is never more permissive.

That it never is, whatever the facts, is proved in tests/rules/test_diff.py. Here whole mornings are
decided, from check-ins and their history on.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from functools import cache
from itertools import pairwise
from random import Random

import pytest

from dawnrule.facts.derive import MorningFacts, derive_facts
from dawnrule.model.entities import CheckIn, Pain
from dawnrule.rules.counterfactuals import WhatIf
from dawnrule.rules.registry import RuleSetLibrary
from dawnrule.rules.rule_set import RuleSet
from tests.property.athletes import WORDS, morning

VERSIONS = [
    rules
    for rules in RuleSetLibrary.bundled().all()
    if rules.name == "baseline" and rules.version <= "1.2.0"
]
"""Version 2.0.0 names where it is more permissive; ``tests/rules`` proves that it is nowhere
else."""
SEEDS = range(200)
MORE_PROTECTED = 10
"""The least number of mornings that must tell two versions apart, or the test would be empty."""

ANSWERED = 0.2
"""The share of earlier mornings that answer a question that stops training."""


@cache
def all_facts() -> list[MorningFacts]:
    return [facts_of(seed) for seed in SEEDS]


def facts_of(seed: int) -> MorningFacts:
    """Derive the facts of a morning; on some of the days before something was reported, or
    denied."""
    random, drawn = Random(seed), morning(seed)
    before = tuple(with_answers(one, random) for one in drawn.history.check_ins)
    history = replace(drawn.history, check_ins=before)
    return derive_facts(drawn.athlete, drawn.check_in, history, drawn.now)


def with_answers(check_in: CheckIn, random: Random) -> CheckIn:
    hurt = Pain("here", random.choice(WORDS.pain_kinds), random.choice(((), ("chest",))))
    sign = random.choice(WORDS.warning_signs)
    return replace(
        check_in,
        warning_signs=random.choice(((), (), (sign,))) if random.random() < ANSWERED else None,
        illness=random.choice(WORDS.illnesses) if random.random() < ANSWERED else None,
        pain=random.choice(((), (hurt,))) if random.random() < ANSWERED else None,
    )


def protection(rule_set: RuleSet) -> Iterator[int]:
    """List the protection of each day and of each of its parts, in the order of the mornings."""
    what_if = WhatIf(rule_set)
    for facts in all_facts():
        yield what_if.decision(facts.day).verdict.protection
        yield from (what_if.decision(part.facts).verdict.protection for part in facts.parts)


@pytest.mark.parametrize(("older", "newer"), [*pairwise(VERSIONS)], ids=lambda rules: rules.version)
def test_a_newer_version_protects_each_day_and_part_at_least_as_much(
    older: RuleSet, newer: RuleSet
) -> None:
    before, after = list(protection(older)), list(protection(newer))
    assert [now >= then for then, now in zip(before, after, strict=True)] == [True] * len(after)
    assert sum(now > then for then, now in zip(before, after, strict=True)) > MORE_PROTECTED
