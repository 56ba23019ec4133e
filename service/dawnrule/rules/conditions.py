"""What can a rule ask of the facts? The closed language of conditions."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum
from typing import TypeAlias

from dawnrule.model import FactValue


class Operator(StrEnum):
    """The closed list of tests on one fact; the values are the words of the rule files."""

    IS = "is"
    IN = "in"
    AT_LEAST = "at_least"
    AT_MOST = "at_most"
    ABOVE = "above"
    BELOW = "below"
    REPORTED = "reported"


NUMERIC_OPERATORS = frozenset({Operator.AT_LEAST, Operator.AT_MOST, Operator.ABOVE, Operator.BELOW})


@dataclass(frozen=True, slots=True)
class Test:
    """One fact against one value. ``value`` is a tuple for IN and a bool for REPORTED.

    A test on a fact that was not reported does not hold, save ``reported: false``.
    """

    __test__ = False  # the trade's word; not a pytest class

    fact: str
    operator: Operator
    value: FactValue | tuple[FactValue, ...]


@dataclass(frozen=True, slots=True)
class All:
    """Holds when every condition holds."""

    conditions: tuple[Condition, ...]


@dataclass(frozen=True, slots=True)
class AnyOf:
    """Holds when at least one condition holds."""

    conditions: tuple[Condition, ...]


@dataclass(frozen=True, slots=True)
class NoneOf:
    """Holds when no condition holds; a condition on a fact not reported does not hold."""

    conditions: tuple[Condition, ...]


@dataclass(frozen=True, slots=True)
class AtLeast:
    """Holds when at least ``count`` of the conditions hold."""

    count: int
    conditions: tuple[Condition, ...]


@dataclass(frozen=True, slots=True)
class Signal:
    """A condition that the rule set defines once under a name."""

    name: str
    condition: Condition


Condition: TypeAlias = Test | All | AnyOf | NoneOf | AtLeast | Signal


def tests_of(condition: Condition) -> Iterator[Test]:
    """Every test in a condition, in the file's order."""
    match condition:
        case Test():
            yield condition
        case Signal(condition=inner):
            yield from tests_of(inner)
        case All() | AnyOf() | NoneOf() | AtLeast():
            for inner in condition.conditions:
                yield from tests_of(inner)


def facts_of(condition: Condition) -> tuple[str, ...]:
    """The facts that a condition tests, each once, in the file's order."""
    return tuple(dict.fromkeys(test.fact for test in tests_of(condition)))
