"""The evaluator: the meaning of conditions, and the traces that explain them (pure).

This is the second of the two evaluations of every decision, and the one that explains. A test is
given its meaning once, in ``_test``, and a group once, in ``_group``; everything else in this
module is built from the two.
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
    return _combined(condition, _test)


def explain(condition: Condition, facts: Facts) -> Trace:
    """Trace the condition and everything in it on the facts, in the file's order."""
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
    """Find the tests each of which, with the opposite outcome, alone would make the condition hold.

    Empty when the condition holds, or when more than one test stands in the way.
    """
    return () if predicate(condition)(facts) else pivotal_tests(condition, facts)


def pivotal_tests(condition: Condition, facts: Facts) -> tuple[Test, ...]:
    """Find the tests each of which, with the opposite outcome, alone would change the condition's.

    A test that stands in the condition twice, as through a signal, has the same outcome in both
    places; other tests of the same fact keep theirs.
    """

    def unless_turned(test: Test) -> Holds[Test]:
        outcome = _test(test)(facts)
        return lambda turned: outcome is not (test == turned)

    holds = predicate(condition)(facts)
    holds_when_turned = _combined(condition, unless_turned)
    tests = dict.fromkeys(tests_of(condition))
    return tuple(test for test in tests if holds_when_turned(test) is not holds)


def _combined(condition: Condition, leaf: Callable[[Test], Holds[S]]) -> Holds[S]:
    """Compile the condition to a function of whatever ``leaf`` compiles a single test to."""
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
