"""Versions of the baseline on whole mornings: a newer one is more permissive only where it says so.

That it is so nowhere else, whatever the facts, is proved in tests/rules. Here whole mornings are
decided, from check-ins and their history on.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from functools import cache
from random import Random

from dawnrule.facts.derive import MorningFacts, derive_facts
from dawnrule.model import Facts, Scope, Verdict
from dawnrule.model.entities import CheckIn, Pain
from dawnrule.rules.counterfactuals import WhatIf
from dawnrule.rules.evaluation.evaluator import predicate
from dawnrule.rules.registry import RuleSetLibrary
from dawnrule.rules.rule_set import RuleSet
from dawnrule.rules.staged_returns import BundledReturns
from tests.property.athletes import WORDS, morning

BEFORE, DECIDING = (RuleSetLibrary.bundled().get("baseline", v) for v in ("1.2.0", "2.0.0"))
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
    return derive_facts(drawn.athlete, drawn.check_in, history, drawn.now, returns=BundledReturns())


def with_answers(check_in: CheckIn, random: Random) -> CheckIn:
    hurt = Pain("here", random.choice(WORDS.pain_kinds), random.choice(((), ("chest",))))
    sign = random.choice(WORDS.warning_signs)
    return replace(
        check_in,
        warning_signs=random.choice(((), (), (sign,))) if random.random() < ANSWERED else None,
        illness=random.choice(WORDS.illnesses) if random.random() < ANSWERED else None,
        pain=random.choice(((), (hurt,))) if random.random() < ANSWERED else None,
    )


def subjects() -> Iterator[tuple[Scope, Facts]]:
    """List each day and each of its parts, in the order of the mornings."""
    for facts in all_facts():
        yield "day", facts.day
        yield from (("part", part.facts) for part in facts.parts)


def by_scope(rule_set: RuleSet) -> dict[Scope, WhatIf]:
    """Compile the rules that count for a day, and those that count for a part."""
    scopes: tuple[Scope, ...] = ("day", "part")
    return {s: WhatIf(replace(rule_set, rules=tuple(rule_set.counting_for(s)))) for s in scopes}


def test_the_version_that_decides_protects_at_least_as_much_or_says_why_not() -> None:
    before, after = by_scope(BEFORE), by_scope(DECIDING)
    said = DECIDING.more_permissive
    assert said is not None
    places = [(place, predicate(place.when)) for place in said.where]
    used, more_protected = set(), 0
    for scope, facts in subjects():
        then, now = before[scope].decision(facts).verdict, after[scope].decision(facts).verdict
        more_protected += now.protection > then.protection
        if now.protection < then.protection:
            reasons = {
                place.id
                for place, holds in places
                if place.scope == scope and holds(facts)
                if then is Verdict.SWAP or place.also_from_rest
            }
            assert reasons, facts
            used |= reasons
    assert more_protected > MORE_PROTECTED
    assert {"day-off-stays-a-day-off", "easy-work-is-never-swapped"} <= used
