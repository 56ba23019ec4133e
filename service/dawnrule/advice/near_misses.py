"""Which rules would have fired with one answer other than it was, and how near was it? (pure)"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

from dawnrule.rules.conditions import Test
from dawnrule.rules.evaluator import TestTrace, explain, missing_tests
from dawnrule.rules.rule_set import Rule
from dawnrule.vocabulary import FactDefinition, FactDictionary, Facts

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
