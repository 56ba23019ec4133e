"""Why was this advice given? From its record and its rule set, rule by rule (pure)."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from dawnrule.advice.composer import Composer
from dawnrule.model import FactDefinition, FactDictionary, Facts, Scope
from dawnrule.rules.conditions import Test
from dawnrule.rules.evaluation.evaluator import TestTrace, explain, missing_tests, predicate
from dawnrule.rules.rule_set import Rule, RuleSet
from dawnrule.rules.serialization import rule_head
from dawnrule.rules.text import Wording

NEAR = 0.5
"""The greatest share (see ``NearTest``) that is called near: house judgement, no source."""


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
    """The rules that one test alone kept from firing on a subject, the nearest first and then in
    the order given. ``rules`` must be such as may test these facts."""
    found = []
    for rule in rules:
        tests = [_near(test, facts, dictionary) for test in missing_tests(rule.when, facts)]
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
    """The smaller piece of the fact's range on either side of a threshold, or all of the range
    when the threshold stands at its end."""
    threshold = trace.threshold
    assert isinstance(threshold, int | float), "only numbers have a margin"
    pieces = (threshold - definition.least, definition.greatest - threshold)
    return min(piece for piece in pieces if piece > 0)


def _nearest_first(test: NearTest) -> float:
    return math.inf if test.share is None else test.share


@dataclass(frozen=True, slots=True)
class Subject:
    """The day (``block`` None) or a part, as the record has it: its facts, the rules that decided
    on it, and all that fired."""

    scope: Scope
    block: int | None
    muscle_group: str | None
    facts: Facts
    decided_by: frozenset[str]
    fired: tuple[str, ...]


def explain_record(
    record: Mapping[str, Any], rule_set: RuleSet, composer: Composer
) -> dict[str, Any]:
    """Every rule with how it came out, as plain JSON values; ``rule_set`` is the record's own.

    ``reproduced`` says whether the rules, evaluated again on the recorded facts, fire as they did.
    """
    wording = Wording(composer.dictionary, composer.vocabulary, composer.texts)
    subjects = subjects_of(record)
    return {
        "rules": [
            rule_head(rule)
            | {"results": [_result(rule, s, wording) for s in subjects if s.scope == rule.scope]}
            for rule in rule_set.rules
        ],
        "reproduced": fires_again(subjects, rule_set),
    }


def subjects_of(record: Mapping[str, Any]) -> list[Subject]:
    """The day of a record and then its parts. A day rule decides when the verdict of the day or of
    any part is its own."""
    advice, facts, fired = record["advice"], record["facts"], record["fired"]
    deciding = _ids(advice, *advice["parts"])
    day = Subject("day", None, None, facts["day"], deciding, tuple(fired["day"]))
    parts = (
        Subject(
            "part",
            of["block"],
            of["muscle_group"],
            facts["day"] | of["facts"],
            _ids(part),
            tuple(fired_here),
        )
        for of, part, fired_here in zip(
            facts["parts"], advice["parts"], fired["parts"], strict=True
        )
    )
    return [day, *parts]


def _ids(*advised: Mapping[str, Any]) -> frozenset[str]:
    return frozenset(of["rule"]["id"] for of in advised if of["rule"])


def _result(rule: Rule, subject: Subject, wording: Wording) -> dict[str, Any]:
    trace = explain(rule.when, subject.facts)
    return {
        "block": subject.block,
        "muscle_group": subject.muscle_group,
        "fired": trace.holds,
        "decided": rule.id in subject.decided_by,
        "conditions": trace.to_json(),
        "near_miss": [
            _told(test, subject.facts, wording) for test in missing_tests(rule.when, subject.facts)
        ],
    }


def _told(test: Test, facts: Facts, wording: Wording) -> dict[str, Any]:
    value = test.value
    return {
        "fact": test.fact,
        "operator": test.operator.value,
        "threshold": list(value) if isinstance(value, tuple) else value,
        "value": facts.get(test.fact),
        "said": wording.test(test, facts),
    }


def fires_again(subjects: Sequence[Subject], rule_set: RuleSet) -> bool:
    """Whether on each subject just the recorded rules fire; day rules count for every part, whose
    facts hold those of the day."""
    return all(_fired_on(subject, rule_set) == subject.fired for subject in subjects)


def _fired_on(subject: Subject, rule_set: RuleSet) -> tuple[str, ...]:
    rules = rule_set.counting_for(subject.scope)
    return tuple(rule.id for rule in rules if predicate(rule.when)(subject.facts))
