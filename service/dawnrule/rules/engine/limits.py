"""What can the engine take at once, and how are rules divided for it? (pure)

The engine (durable-rules 2.0.28) has room for so much and no more; past it, it fails, crashes or
never returns. So what each rule asks for is counted before the engine sees it; a rule that asks
for too much is refused by name, and the others are divided.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import TypeVar

from dawnrule.errors import Finding, RuleSetInvalid
from dawnrule.model import FactDefinition, FactDictionary, Scope
from dawnrule.rules.conditions import NUMERIC_OPERATORS, Operator, Test, tests_of
from dawnrule.rules.engine.dnf import Conjunction, TooManyWaysError, ways_of
from dawnrule.rules.rule_set import Rule

T = TypeVar("T")

WAYS_AT_MOST = 62
"""The engine has room for 64 tests that hold and wait for what follows them, whether that holds
or not; of each way one at most waits, and one is ours. An ``in`` is in one way: its values exclude
each other."""

CHOICES_AT_MOST = 400
"""The engine never ends when 512 different tests follow one, or begin the rules."""

MARKS_AT_MOST = 29
"""The engine has room for 31 marks in a rule; two are for the rule as a whole."""

NAMES_AT_MOST = 250
"""The engine has room for 254 names in a fact; three are those of the head."""

_TOO_MUCH = (
    f"the engine takes no condition that can be met in more than {WAYS_AT_MOST} ways or that "
    "chooses from so many values; split the rule"
)


@dataclass(frozen=True, slots=True)
class TakenRule:
    """A rule that the engine can take, and the ways in which it fires."""

    id: str
    ways: Sequence[Conjunction]


def taken(rule: Rule, dictionary: FactDictionary, scope: Scope, file: str) -> TakenRule:
    """The rule with its ways. Raises ``RuleSetInvalid`` for one that the engine cannot take."""
    readable = dictionary.readable_in(scope)
    for test in tests_of(rule.when):
        if test.fact not in readable or not _suits(dictionary[test.fact], test):
            message = f"{test.fact} {test.operator} {test.value!r} does not fit the dictionary"
            raise refusal(rule, file, "condition", message)
    try:
        ways = ways_of(rule.when, WAYS_AT_MOST)
    except TooManyWaysError as error:
        raise refusal(rule, file, "too-many-ways", _TOO_MUCH) from error
    if not _fit(ways) or any(_marks(way) > MARKS_AT_MOST for way in ways):
        raise refusal(rule, file, "too-many-ways", _TOO_MUCH)
    return TakenRule(rule.id, ways)


def sharded(rules: Iterable[TakenRule]) -> Iterator[list[TakenRule]]:
    """The rules in groups that the engine can take at once."""
    return _grouped(rules, lambda shard: _fit([way for rule in shard for way in rule.ways]))


def pieces(rules: Iterable[TakenRule]) -> Iterator[tuple[TakenRule, Sequence[Conjunction]]]:
    """Each rule with as many of its ways as the engine has room for in one of its own rules."""
    for rule in rules:
        for ways in _grouped(rule.ways, lambda ways: sum(map(_marks, ways)) <= MARKS_AT_MOST):
            yield rule, ways


def refusal(rule: Rule, file: str, code: str, message: str) -> RuleSetInvalid:
    """The error that names a rule which cannot be used."""
    return RuleSetInvalid([Finding(file, rule.line, rule.id, code, message)])


def _grouped(items: Iterable[T], fit: Callable[[Sequence[T]], bool]) -> Iterator[list[T]]:
    """The items in their order, in groups that each hold as many as fit; each alone must fit."""
    group: list[T] = []
    for item in items:
        if group and not fit([*group, item]):
            yield group
            group = []
        group.append(item)
    if group:
        yield group


def _fit(ways: Sequence[Conjunction]) -> bool:
    return len(ways) <= WAYS_AT_MOST and sum(map(_choices, ways)) <= CHOICES_AT_MOST


def _choices(way: Conjunction) -> int:
    """The most tests of this way that may follow one: the values of its longest ``in``."""
    values = (required.test.value for required in way)
    return max((len(value) for value in values if isinstance(value, tuple)), default=1)


def _marks(way: Conjunction) -> int:
    """The engine takes two for an ``and`` and two for an ``or``, which an ``in`` becomes."""
    return 2 + 2 * sum(required.test.operator is Operator.IN for required in way)


def _suits(definition: FactDefinition, test: Test) -> bool:
    """Whether the loader would let this test of the fact pass."""
    if test.operator is Operator.REPORTED:
        return isinstance(test.value, bool)
    if test.operator in NUMERIC_OPERATORS and not definition.is_numeric:
        return False
    if isinstance(test.value, tuple):
        return test.operator is Operator.IN and all(map(definition.accepts, test.value))
    return test.operator is not Operator.IN and definition.accepts(test.value)
