"""Disjunctive normal form: a condition as alternatives of required tests (pure).

The condition holds when every requirement of at least one alternative, a conjunction, is met. A
requirement may be that a test fails, so that ``none`` of some tests is one conjunction.
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


class TooManyConjunctionsError(ValueError):
    """A condition with more conjunctions than the caller allows."""


def disjunctive_normal_form(condition: Condition, at_most: int) -> list[Conjunction]:
    """Expand a condition into its conjunctions. Raises ``TooManyConjunctionsError`` beyond
    ``at_most``.

    An ``any`` adds the conjunctions of its conditions, an ``all`` multiplies them. A conjunction
    without requirements always holds; a condition without conjunctions never does.
    """
    return _expanded(condition, True, at_most)


def _expanded(condition: Condition, holds: bool, at_most: int) -> list[Conjunction]:
    match condition:
        case Signal(condition=inner):
            return _expanded(inner, holds, at_most)
        case Test(fact, Operator.IN, tuple(values)) if not holds:
            one_each = tuple(Test(fact, Operator.IS, value) for value in values)
            return _expanded(none_of(*one_each), True, at_most)
        case Test(fact, Operator.REPORTED, value):
            return [(Requirement(Test(fact, Operator.REPORTED, value is holds), True),)]
        case Test():
            return [(Requirement(condition, holds),)]
        case Group(kind=GroupKind.NONE):
            return _expanded_group(condition.needed, condition.conditions, not holds, at_most)
        case Group():
            return _expanded_group(condition.needed, condition.conditions, holds, at_most)


def _expanded_group(
    count: int, conditions: Sequence[Condition], holds: bool, at_most: int
) -> list[Conjunction]:
    """Expand a group of which ``count`` must hold, or fewer: then all but ``count - 1`` fail."""
    needed = count if holds else len(conditions) - count + 1
    each = [_expanded(inner, holds, at_most) for inner in conditions]
    choices = (product(*chosen) for chosen in combinations(each, max(needed, 0)))
    merged = (tuple(dict.fromkeys(chain(*choice))) for choice in chain.from_iterable(choices))
    found = list(islice(merged, at_most + 1))
    if len(found) > at_most:
        raise TooManyConjunctionsError(f"more than {at_most} conjunctions")
    return found
