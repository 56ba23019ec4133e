"""Explanation of an advice from its record and its rule set, rule by rule (pure)."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

from dawnrule.advice.composer import Composer
from dawnrule.model import FactDefinition, FactDictionary, Facts, FactValue, Scope
from dawnrule.model.advice import Advice, PartAdvice
from dawnrule.model.record import Record
from dawnrule.rules.conditions import Operator, Test
from dawnrule.rules.evaluation.evaluator import (
    TestTrace,
    explain,
    missing_tests,
)
from dawnrule.rules.rule_set import Rule, RuleSet
from dawnrule.rules.serialization import rule_head
from dawnrule.rules.text import Wording

NEAR = 0.5
"""The greatest share (see ``NearTest``) that counts as near: house judgement, no source."""


@dataclass(frozen=True, slots=True)
class NearTest:
    """A test that alone kept a rule from firing, as it came out.

    ``distance``, in the fact's unit, is how far the value is from the threshold; ``share`` is the
    same as a share of the smaller of the two pieces into which the threshold cuts the fact's
    range. (Of the whole range of hours since something, ten years, anything is a small share.)
    Both are None where values have no order, or none was reported.
    """

    trace: TestTrace
    distance: float | None
    share: float | None


@dataclass(frozen=True, slots=True)
class NearMiss:
    """A rule that did not fire and the tests of which each alone would have made it fire, the
    nearest first."""

    rule: Rule
    tests: tuple[NearTest, ...]

    @property
    def share(self) -> float:
        """How far the nearest test is; infinite where that has no order."""
        nearest = self.tests[0].share
        return math.inf if nearest is None else nearest

    @property
    def is_near(self) -> bool:
        """Whether the nearest test is near."""
        return self.share <= NEAR


def near_misses(
    rules: Iterable[Rule], facts: Facts, dictionary: FactDictionary
) -> tuple[NearMiss, ...]:
    """Find the rules that one test alone kept from firing on a subject, the nearest first and then
    in the order given. ``rules`` must have the scope of the facts."""
    found = []
    for rule in rules:
        missing = missing_tests(rule.when, explain(rule.when, facts))
        tests = [_near(test, facts, dictionary) for test in missing]
        if tests:
            found.append(NearMiss(rule, tuple(sorted(tests, key=_nearest_first))))
    return tuple(sorted(found, key=lambda miss: miss.share))


def _near(test: Test, facts: Facts, dictionary: FactDictionary) -> NearTest:
    trace = explain(test, facts)
    assert isinstance(trace, TestTrace), "the trace of a test is one"
    if trace.margin is None:
        return NearTest(trace, None, None)
    distance = abs(trace.margin)
    return NearTest(trace, distance, distance / _room(dictionary[test.fact], trace))


def _room(definition: FactDefinition, trace: TestTrace) -> float:
    """Measure the smaller piece of the fact's range on either side of a threshold, or the whole
    range when the threshold stands at its end."""
    threshold = trace.threshold
    assert isinstance(threshold, int | float), "only numbers have a margin"
    pieces = (threshold - definition.least, definition.greatest - threshold)
    return min(piece for piece in pieces if piece > 0)


def _nearest_first(test: NearTest) -> float:
    return math.inf if test.share is None else test.share


@dataclass(frozen=True, slots=True)
class Subject:
    """The day (``block`` None) or a part in a record: its facts, the rules that decided on it, and
    all that fired."""

    scope: Scope
    block: int | None
    muscle_group: str | None
    facts: Facts
    decided_by: frozenset[str]
    fired: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class FailedTest:
    """A test that alone kept a rule from firing; ``value`` is None when it was not reported, and
    ``said`` is the test in words."""

    fact: str
    operator: Operator
    threshold: FactValue | tuple[FactValue, ...]
    value: FactValue | None
    said: str

    def to_json(self) -> dict[str, Any]:
        """Convert the test to JSON values."""
        return {
            "fact": self.fact,
            "operator": self.operator.value,
            "threshold": self.threshold,
            "value": self.value,
            "said": self.said,
        }


@dataclass(frozen=True, slots=True)
class RuleResult:
    """How one rule came out for the day (``block`` None) or for one part; ``decided`` is whether
    the verdict there is the rule's, and ``conditions`` the trace in JSON values."""

    block: int | None
    muscle_group: str | None
    fired: bool
    decided: bool
    conditions: Mapping[str, Any]
    near_miss: tuple[FailedTest, ...]

    def to_json(self) -> dict[str, Any]:
        """Convert the outcome to JSON values."""
        return {
            "block": self.block,
            "muscle_group": self.muscle_group,
            "fired": self.fired,
            "decided": self.decided,
            "conditions": self.conditions,
            "near_miss": [test.to_json() for test in self.near_miss],
        }


@dataclass(frozen=True, slots=True)
class ExplainedRule:
    """A rule and how it came out."""

    rule: Rule
    results: tuple[RuleResult, ...]

    def to_json(self) -> dict[str, Any]:
        """Convert the rule, without its condition, and the outcomes to JSON values."""
        results = [result.to_json() for result in self.results]
        return {**rule_head(self.rule), "results": results}


@dataclass(frozen=True, slots=True)
class Explanation:
    """Every rule with how it came out. ``reproduced`` is whether the rules, evaluated again on the
    recorded facts, fire as recorded."""

    rules: tuple[ExplainedRule, ...] = ()
    reproduced: bool = False


def explain_record(record: Record, rule_set: RuleSet, composer: Composer) -> Explanation:
    """Explain a record rule by rule; ``rule_set`` is the record's own."""
    subjects = subjects_of(record)
    return Explanation(
        tuple(
            ExplainedRule(
                rule,
                tuple(
                    _result(rule, subject, composer.wording)
                    for subject in subjects
                    if subject.scope == rule.scope
                ),
            )
            for rule in rule_set.rules
        ),
        fires_again(subjects, rule_set),
    )


def subjects_of(record: Record) -> list[Subject]:
    """List the day of a record and then its parts. A day rule decides when the verdict of the day
    or of any part is its own."""
    advice, facts, fired = record.advice, record.facts, record.fired
    deciding = _deciding(*advice.day_and_parts)
    parts = (
        Subject(
            "part",
            of.block,
            of.muscle_group,
            {**facts.day, **of.facts},
            _deciding(part),
            fired_here,
        )
        for of, part, fired_here in zip(facts.parts, advice.parts, fired.parts, strict=True)
    )
    return [Subject("day", None, None, facts.day, deciding, fired.day), *parts]


def _deciding(*advised: Advice | PartAdvice) -> frozenset[str]:
    return frozenset(of.rule.id for of in advised if of.rule)


def _result(rule: Rule, subject: Subject, wording: Wording) -> RuleResult:
    facts = subject.facts
    fired, conditions, missing = _outcome(rule, *map(facts.get, rule.reads))
    failed = (
        FailedTest(
            test.fact, test.operator, test.value, facts.get(test.fact), wording.test(test, facts)
        )
        for test in missing
    )
    return RuleResult(
        block=subject.block,
        muscle_group=subject.muscle_group,
        fired=fired,
        decided=rule.id in subject.decided_by,
        conditions=conditions,
        near_miss=tuple(failed),
    )


@lru_cache(maxsize=2048, typed=True)  # 1 and 1.0 are written in two ways
def _outcome(
    rule: Rule, *values: FactValue | None
) -> tuple[bool, Mapping[str, Any], tuple[Test, ...]]:
    """Tell whether a rule fires on the values of the facts that it reads (None: not reported), with
    its trace in JSON values and the tests that alone stood in the way. Most rules read the same in
    many parts and mornings."""
    named = zip(rule.reads, values, strict=True)
    trace = explain(rule.when, {name: value for name, value in named if value is not None})
    return trace.holds, trace.to_json(), missing_tests(rule.when, trace)


def fires_again(subjects: Sequence[Subject], rule_set: RuleSet) -> bool:
    """Check that on each subject exactly the recorded rules fire; day rules count for every part,
    whose facts include those of the day."""
    return all(_fired_on(subject, rule_set) == subject.fired for subject in subjects)


def _fired_on(subject: Subject, rule_set: RuleSet) -> tuple[str, ...]:
    rules = rule_set.counting_for(subject.scope)
    return tuple(rule.id for rule in rules if rule.fires(subject.facts))
