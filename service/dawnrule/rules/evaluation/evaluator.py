"""The evaluator: the meaning of conditions, and the traces that explain them (pure).

This is the second of the two evaluations of every decision, and the one that explains. A test is
given its meaning once, in ``_test``. A group has it twice: ``_group`` decides and stops as soon as
it can, ``_holds_with`` counts for the traces, which show each condition.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass
from math import inf
from typing import Any, TypeAlias

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

Predicate: TypeAlias = Callable[[Facts], bool]


@dataclass(frozen=True, slots=True)
class Trace(ABC):
    """The outcome of a condition on some facts."""

    holds: bool

    @abstractmethod
    def to_json(self) -> dict[str, Any]:
        """Convert the trace to JSON values."""


@dataclass(frozen=True, slots=True)
class TestTrace(Trace):
    """The outcome of one test. ``value`` is None when the fact was not reported.

    ``margin``, in the fact's unit, is the distance of the value from the threshold: positive on the
    side where the test holds, negative where it fails, None for a test that does not order values
    and for a fact that was not reported.
    """

    __test__ = False  # the trade's word; not a pytest class

    fact: str
    operator: Operator
    threshold: FactValue | tuple[FactValue, ...]
    value: FactValue | None
    margin: float | None

    def to_json(self) -> dict[str, Any]:
        """Convert the trace; ``threshold`` is a list for the operator ``in``."""
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
    """The outcome of a group or signal, and of each of its conditions.

    ``kind`` is the word of the rule files; ``count`` is the number that ``at_least_n_of`` asks for
    and ``name`` the name of a ``signal``, None for the other kinds.
    """

    kind: str
    children: tuple[Trace, ...]
    count: int | None = None
    name: str | None = None

    def to_json(self) -> dict[str, Any]:
        """Convert the trace; only the kinds that have them show ``n`` and ``signal``."""
        data: dict[str, Any] = {"kind": self.kind, "holds": self.holds}
        if self.count is not None:
            data["n"] = self.count
        if self.name is not None:
            data["signal"] = self.name
        return data | {"children": [child.to_json() for child in self.children]}


def predicate(condition: Condition) -> Predicate:
    """Compile the condition to a function of the facts, quick to call many times.

    The facts must have the dictionary's types; a name that is absent was not reported.
    """
    match condition:
        case Test():
            return _test(condition)
        case Signal(condition=inner):
            return predicate(inner)
        case Group(conditions=conditions):
            return _group(condition, [predicate(inner) for inner in conditions])


def explain(condition: Condition, facts: Facts) -> Trace:
    """Trace the condition and everything in it on the facts, in the file's order."""
    match condition:
        case Test(fact, operator, threshold):
            value = facts.get(fact)
            margin = _margin(operator, threshold, value)
            return TestTrace(_test(condition)(facts), fact, operator, threshold, value, margin)
        case Signal(name, inner):
            trace = explain(inner, facts)
            return GroupTrace(trace.holds, "signal", (trace,), name=name)
        case Group(kind, conditions, count):
            children = tuple([explain(inner, facts) for inner in conditions])
            met = sum([child.holds for child in children])
            return GroupTrace(_holds_with(condition, met), kind.value, children, count)


def missing_tests(condition: Condition, trace: Trace) -> tuple[Test, ...]:
    """Find the tests each of which, with the opposite outcome, alone would make the condition hold,
    given its ``trace``.

    Empty when the condition holds, or when more than one test stands in the way.
    """
    return () if trace.holds else pivotal_tests(condition, trace)


def pivotal_tests(condition: Condition, trace: Trace) -> tuple[Test, ...]:
    """Find the tests each of which, with the opposite outcome, alone would change that of the
    condition, given its ``trace``.

    A test that stands in the condition twice, as through a signal, has the same outcome in both
    places; other tests of the same fact keep theirs.
    """
    pivotal = _pivotal(condition, trace)
    if not pivotal:
        return ()
    return tuple(test for test in dict.fromkeys(tests_of(condition)) if test in pivotal)


def _pivotal(condition: Condition, trace: Trace) -> Collection[Test]:
    """Find the tests, in any order, by counting for each by how much it would change the number of
    conditions of a group that hold."""
    if isinstance(condition, Test):
        return (condition,)
    assert isinstance(trace, GroupTrace), "the trace of a group is one"
    inside = list(zip(condition.children(), trace.children, strict=True))
    if isinstance(condition, Signal):
        return _pivotal(*inside[0])
    more: dict[Test, int] = {}
    for inner, traced in inside:
        for test in _pivotal(inner, traced):
            more[test] = more.get(test, 0) + (-1 if traced.holds else 1)
    met, needed = sum([traced.holds for _, traced in inside]), condition.needed
    return [test for test, by in more.items() if (met + by >= needed) is not (met >= needed)]


def _holds_with(group: Group, met: int) -> bool:
    """Tell whether a group holds when so many of its conditions do."""
    return (met >= group.needed) is not (group.kind is GroupKind.NONE)


def _group(group: Group, several: Sequence[Predicate]) -> Predicate:
    match group.kind:
        case GroupKind.ALL:
            return _all(several)
        case GroupKind.ANY:
            return _any(several)
        case GroupKind.NONE:
            any_holds = _any(several)
            return lambda facts: not any_holds(facts)
        case GroupKind.AT_LEAST:
            needed = group.needed
            return lambda facts: sum([holds(facts) for holds in several]) >= needed


def _all(conditions: Sequence[Predicate]) -> Predicate:
    if len(conditions) <= 1:
        return conditions[0] if conditions else lambda facts: True
    half = len(conditions) // 2
    first, second = _all(conditions[:half]), _all(conditions[half:])
    return lambda facts: first(facts) and second(facts)


def _any(conditions: Sequence[Predicate]) -> Predicate:
    if len(conditions) <= 1:
        return conditions[0] if conditions else lambda facts: False
    half = len(conditions) // 2
    first, second = _any(conditions[:half]), _any(conditions[half:])
    return lambda facts: first(facts) or second(facts)


def _test(test: Test) -> Predicate:
    """Compile one test. For a fact that was not reported, each operator gets a value that fails."""
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
