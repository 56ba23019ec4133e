"""In which ways can a condition come true? (pure)

Each way is a list of tests that must come out as given; the condition holds when any one of its
ways is met (its disjunctive normal form). A way may ask that a test fails, so that ``none`` of
some tests is one way.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import chain, combinations, islice, product
from typing import TypeAlias

from dawnrule.rules.conditions import Condition, Group, GroupKind, Operator, Signal, Test, none_of


@dataclass(frozen=True, slots=True)
class Requirement:
    """A test that must hold, or must fail; the test of a fact not reported fails.

    Tests with IN and REPORTED are only ever required to hold.
    """

    test: Test
    holds: bool


Conjunction: TypeAlias = tuple[Requirement, ...]


class TooManyWaysError(ValueError):
    """A condition that can come true in more ways than the caller allows."""


def ways_of(condition: Condition, at_most: int) -> list[Conjunction]:
    """Every way in which the condition comes true. Raises ``TooManyWaysError`` beyond ``at_most``.

    An ``any`` adds the ways of its conditions, an ``all`` multiplies them. A way without
    requirements is always met; a condition without ways never holds.
    """
    return _ways(condition, True, at_most)


def _ways(condition: Condition, holds: bool, at_most: int) -> list[Conjunction]:
    match condition:
        case Signal(condition=inner):
            return _ways(inner, holds, at_most)
        case Test(fact, Operator.IN, tuple(values)) if not holds:
            one_each = tuple(Test(fact, Operator.IS, value) for value in values)
            return _ways(none_of(*one_each), True, at_most)
        case Test(fact, Operator.REPORTED, value):
            return [(Requirement(Test(fact, Operator.REPORTED, value is holds), True),)]
        case Test():
            return [(Requirement(condition, holds),)]
        case Group(kind=GroupKind.NONE):
            return _ways_of_several(condition.needed, condition.conditions, not holds, at_most)
        case Group():
            return _ways_of_several(condition.needed, condition.conditions, holds, at_most)


def _ways_of_several(
    count: int, conditions: Sequence[Condition], holds: bool, at_most: int
) -> list[Conjunction]:
    """At least ``count`` of the conditions hold; or do not, when all but ``count - 1`` fail."""
    needed = count if holds else len(conditions) - count + 1
    each = [_ways(inner, holds, at_most) for inner in conditions]
    choices = (product(*chosen) for chosen in combinations(each, max(needed, 0)))
    merged = (tuple(dict.fromkeys(chain(*way))) for way in chain.from_iterable(choices))
    found = list(islice(merged, at_most + 1))
    if len(found) > at_most:
        raise TooManyWaysError(f"more than {at_most} ways")
    return found
