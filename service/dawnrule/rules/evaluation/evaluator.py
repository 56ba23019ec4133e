"""Does a condition hold on these facts, and why? (pure)

This is the second of the two evaluations that every decision needs, and the one that explains.
A test is given its meaning once, in ``_test``, and a combination once, in ``_combined``; all
that this module answers is built from those two.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import inf
from typing import Any, TypeAlias, TypeVar

from dawnrule.model import Facts, FactValue
from dawnrule.rules.conditions import (
    NUMERIC_OPERATORS,
    Condition,
    Group,
    GroupKind,
    Operator,
    Signal,
    Test,
    tests_of,
)

S = TypeVar("S")
Holds: TypeAlias = Callable[[S], bool]
Predicate: TypeAlias = Holds[Facts]


@dataclass(frozen=True, slots=True)
class Trace(ABC):
    """How a condition came out on some facts."""

    holds: bool

    @abstractmethod
    def to_json(self) -> dict[str, Any]:
        """The trace as plain JSON values."""


@dataclass(frozen=True, slots=True)
class TestTrace(Trace):
    """How one test came out. ``value`` is None when the fact was not reported.

    ``margin``, in the fact's unit, is how far the value is from the threshold: positive on the
    side where the test holds, negative on the side where it fails, None for a test that does
    not order values or a fact that was not reported.
    """

    __test__ = False  # the trade's word; not a pytest class

    fact: str
    operator: Operator
    threshold: FactValue | tuple[FactValue, ...]
    value: FactValue | None
    margin: float | None

    def to_json(self) -> dict[str, Any]:
        """``threshold`` is a list for the operator ``in``."""
        threshold = self.threshold
        return {
            "fact": self.fact,
            "operator": self.operator.value,
            "threshold": list(threshold) if isinstance(threshold, tuple) else threshold,
            "value": self.value,
            "holds": self.holds,
            "margin": self.margin,
        }


@dataclass(frozen=True, slots=True)
class GroupTrace(Trace):
    """How a combination came out, and each of its conditions.

    ``kind`` is the word of the rule files; ``count`` is the number that ``at_least_n_of`` asks
    for and ``name`` the name of a ``signal``, None for the other kinds.
    """

    kind: str
    children: tuple[Trace, ...]
    count: int | None = None
    name: str | None = None

    def to_json(self) -> dict[str, Any]:
        """``n`` and ``signal`` are there only for the kinds that have them."""
        plain: dict[str, Any] = {"kind": self.kind, "holds": self.holds}
        if self.count is not None:
            plain["n"] = self.count
        if self.name is not None:
            plain["signal"] = self.name
        return plain | {"children": [child.to_json() for child in self.children]}


def predicate(condition: Condition) -> Predicate:
    """The condition as a function of the facts, quick to call many times.

    The facts must be of the dictionary's types; a name that is absent was not reported.
    """
    return _combined(condition, _test)


def explain(condition: Condition, facts: Facts) -> Trace:
    """How the condition and everything in it comes out on the facts, in the file's order."""
    holds = predicate(condition)(facts)
    match condition:
        case Test(fact, operator, threshold):
            value = facts.get(fact)
            margin = _margin(operator, threshold, value)
            return TestTrace(holds, fact, operator, threshold, value, margin)
        case Signal(name, inner):
            return GroupTrace(holds, "signal", (explain(inner, facts),), name=name)
        case Group(kind, conditions, count):
            children = tuple(explain(inner, facts) for inner in conditions)
            return GroupTrace(holds, kind.value, children, count)


def missing_tests(condition: Condition, facts: Facts) -> tuple[Test, ...]:
    """The tests of which each, by coming out the other way, alone would make the condition hold.

    Empty when the condition holds, or when more than one test stands in the way.
    """
    return () if predicate(condition)(facts) else turning_tests(condition, facts)


def turning_tests(condition: Condition, facts: Facts) -> tuple[Test, ...]:
    """The tests of which each, by coming out the other way, alone would turn the condition.

    A test that stands in the condition twice, as by a signal, comes out the same way in both
    places; other tests of the same fact are taken to stay as they are.
    """

    def unless_turned(test: Test) -> Holds[Test]:
        outcome = _test(test)(facts)
        return lambda turned: outcome is not (test == turned)

    holds = predicate(condition)(facts)
    holds_when_turned = _combined(condition, unless_turned)
    tests = dict.fromkeys(tests_of(condition))
    return tuple(test for test in tests if holds_when_turned(test) is not holds)


def _combined(condition: Condition, leaf: Callable[[Test], Holds[S]]) -> Holds[S]:
    """The condition as a function of whatever ``leaf`` makes a single test a function of."""
    match condition:
        case Test():
            return leaf(condition)
        case Signal(condition=inner):
            return _combined(inner, leaf)
        case Group(conditions=conditions):
            return _group(condition, [_combined(inner, leaf) for inner in conditions])


def _group(group: Group, several: Sequence[Holds[S]]) -> Holds[S]:
    match group.kind:
        case GroupKind.ALL:
            return _all(several)
        case GroupKind.ANY:
            return _any(several)
        case GroupKind.NONE:
            any_holds = _any(several)
            return lambda subject: not any_holds(subject)
        case GroupKind.AT_LEAST:
            needed = group.needed
            return lambda subject: sum([holds(subject) for holds in several]) >= needed


def _all(conditions: Sequence[Holds[S]]) -> Holds[S]:
    if len(conditions) <= 1:
        return conditions[0] if conditions else lambda subject: True
    half = len(conditions) // 2
    first, second = _all(conditions[:half]), _all(conditions[half:])
    return lambda subject: first(subject) and second(subject)


def _any(conditions: Sequence[Holds[S]]) -> Holds[S]:
    if len(conditions) <= 1:
        return conditions[0] if conditions else lambda subject: False
    half = len(conditions) // 2
    first, second = _any(conditions[:half]), _any(conditions[half:])
    return lambda subject: first(subject) or second(subject)


def _test(test: Test) -> Predicate:
    """What each operator means. For a fact that was not reported each takes a value that fails."""
    fact = test.fact
    threshold: Any = test.value
    match test.operator:
        case Operator.IS:
            return lambda facts: facts.get(fact) == threshold
        case Operator.IN:
            return lambda facts: facts.get(fact) in threshold
        case Operator.AT_LEAST:
            return lambda facts: facts.get(fact, -inf) >= threshold
        case Operator.AT_MOST:
            return lambda facts: facts.get(fact, inf) <= threshold
        case Operator.ABOVE:
            return lambda facts: facts.get(fact, -inf) > threshold
        case Operator.BELOW:
            return lambda facts: facts.get(fact, inf) < threshold
        case Operator.REPORTED:
            return lambda facts: (fact in facts) is threshold


def _margin(operator: Operator, threshold: Any, value: Any) -> float | None:
    if value is None or operator not in NUMERIC_OPERATORS:
        return None
    upwards = operator in (Operator.AT_LEAST, Operator.ABOVE)
    margin: float = value - threshold if upwards else threshold - value
    return margin
