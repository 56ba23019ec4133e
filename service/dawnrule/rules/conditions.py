"""Conditions: the closed language in which a rule asks about facts.

A condition is a tree of three kinds of node: a ``Test`` of one fact, a ``Group`` of several
conditions, and a ``Signal``, which is a condition with a name. ``children`` gives what stands
directly inside a node and ``walk`` everything inside a condition.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from enum import StrEnum
from operator import ge, gt, le, lt
from typing import Any, TypeAlias

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


COMPARISONS: Mapping[Operator, Callable[[Any, Any], Any]] = {
    Operator.AT_LEAST: ge,
    Operator.AT_MOST: le,
    Operator.ABOVE: gt,
    Operator.BELOW: lt,
}
"""How a fact is compared with a number, be they columns, or expressions of a query."""

NUMERIC_OPERATORS = frozenset(COMPARISONS)


class GroupKind(StrEnum):
    """The kinds of group, by how many conditions must hold; the values are the words of the rule
    files.

    A test of a fact that was not reported fails, so ``NONE`` holds when nothing was reported.
    """

    ALL = "all"
    ANY = "any"
    NONE = "none"
    AT_LEAST = "at_least_n_of"


@dataclass(frozen=True, slots=True)
class Test:
    """One fact against one value. ``value`` is a tuple for IN and a bool for REPORTED.

    A test of a fact that was not reported fails, except ``reported: false``.
    """

    __test__ = False  # the trade's word; not a pytest class

    fact: str
    operator: Operator
    value: FactValue | tuple[FactValue, ...]

    @property
    def values(self) -> tuple[FactValue, ...]:
        """The values compared with: several for IN, otherwise one."""
        return self.value if isinstance(self.value, tuple) else (self.value,)

    @property
    def needs_report(self) -> bool:
        """Whether the test fails where the fact was not reported."""
        return self.operator is not Operator.REPORTED or self.value is True

    def children(self) -> tuple[Condition, ...]:
        """Return nothing: a test is a leaf."""
        return ()


@dataclass(frozen=True, slots=True)
class Group:
    """Several conditions combined. ``count`` is the number that AT_LEAST asks for, else None."""

    kind: GroupKind
    conditions: tuple[Condition, ...]
    count: int | None = None

    @property
    def needed(self) -> int:
        """The number of conditions that must hold; NONE holds when this number is not reached."""
        if self.kind is GroupKind.ALL:
            return len(self.conditions)
        return 1 if self.count is None else self.count

    def children(self) -> tuple[Condition, ...]:
        """Return the conditions combined, in the file's order."""
        return self.conditions


@dataclass(frozen=True, slots=True)
class Signal:
    """A condition that the rule set defines once under a name."""

    name: str
    condition: Condition

    def children(self) -> tuple[Condition, ...]:
        """Return the one condition that the name stands for."""
        return (self.condition,)


Condition: TypeAlias = Test | Group | Signal


def all_of(*conditions: Condition) -> Group:
    """Combine conditions so that all must hold."""
    return Group(GroupKind.ALL, conditions)


def any_of(*conditions: Condition) -> Group:
    """Combine conditions so that at least one must hold."""
    return Group(GroupKind.ANY, conditions)


def none_of(*conditions: Condition) -> Group:
    """Combine conditions so that none may hold."""
    return Group(GroupKind.NONE, conditions)


def at_least(count: int, *conditions: Condition) -> Group:
    """Combine conditions so that at least ``count`` must hold."""
    return Group(GroupKind.AT_LEAST, conditions, count)


def walk(condition: Condition) -> Iterator[Condition]:
    """Yield everything in a condition and then the condition itself, in the file's order."""
    for child in condition.children():
        yield from walk(child)
    yield condition


def tests_of(condition: Condition) -> Iterator[Test]:
    """Yield every test in a condition, in the file's order."""
    return (node for node in walk(condition) if isinstance(node, Test))


def needed_tests(condition: Condition) -> Iterator[Test]:
    """Yield tests that hold wherever the condition does, in the file's order."""
    match condition:
        case Test():
            yield condition
        case Signal(condition=inner):
            yield from needed_tests(inner)
        case Group(kind=GroupKind.ALL, conditions=several):
            for inner in several:
                yield from needed_tests(inner)


def signals_of(condition: Condition) -> Iterator[Signal]:
    """Yield every signal in a condition, each after those it is made of."""
    return (node for node in walk(condition) if isinstance(node, Signal))


def facts_of(condition: Condition) -> tuple[str, ...]:
    """List the facts that a condition tests, each once, in the file's order."""
    return tuple(dict.fromkeys(test.fact for test in tests_of(condition)))
