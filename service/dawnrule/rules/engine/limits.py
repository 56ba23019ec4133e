"""Engine limits: what the engine can hold at once, and how rules are divided accordingly (pure).

Past its capacity the engine (durable-rules 2.0.28) fails, crashes or never returns. So the needs of
each rule are counted before the engine sees it; a rule that needs too much is refused by name, and
the others are divided into shards.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import TypeVar

from dawnrule.errors import Finding, RuleSetInvalid
from dawnrule.model import FactDefinition, FactDictionary, Scope
from dawnrule.rules.conditions import NUMERIC_OPERATORS, Operator, Test, tests_of
from dawnrule.rules.engine.dnf import Conjunction, TooManyConjunctionsError, disjunctive_normal_form
from dawnrule.rules.rule_set import Rule

T = TypeVar("T")

MAX_CONJUNCTIONS = 62
"""The engine has room for 64 tests that hold and wait for what follows them, whether that holds or
not; each conjunction contributes at most one, and one is ours. An ``in`` is in one conjunction: its
values exclude each other."""

MAX_CHOICES = 400
"""The engine never ends when 512 different tests follow one, or begin the rules."""

MAX_MARKS = 29
"""The engine has room for 31 marks in a rule; two are for the rule as a whole."""

MAX_NAMES = 250
"""The engine has room for 254 names in a fact; three are those of the head."""

_TOO_MUCH = (
    f"the engine takes no condition that can be met in more than {MAX_CONJUNCTIONS} ways or that "
    "chooses from so many values; split the rule"
)


@dataclass(frozen=True, slots=True)
class CompilableRule:
    """A rule that the engine can take, as its conjunctions."""

    id: str
    conjunctions: Sequence[Conjunction]


def compilable(rule: Rule, dictionary: FactDictionary, scope: Scope, file: str) -> CompilableRule:
    """Expand a rule into its conjunctions. Raises ``RuleSetInvalid`` for one that the engine cannot
    take."""
    for test in tests_of(rule.when):
        fact = dictionary.get(test.fact)
        if fact is None or not (fact.is_readable_in(scope) and _suits(fact, test)):
            message = f"{test.fact} {test.operator} {test.value!r} does not fit the dictionary"
            raise refusal(rule, file, "condition", message)
    try:
        conjunctions = disjunctive_normal_form(rule.when, MAX_CONJUNCTIONS)
    except TooManyConjunctionsError as error:
        raise refusal(rule, file, "too-many-ways", _TOO_MUCH) from error
    if not _fit(conjunctions) or max(map(_marks, conjunctions), default=0) > MAX_MARKS:
        raise refusal(rule, file, "too-many-ways", _TOO_MUCH)
    return CompilableRule(rule.id, conjunctions)


def shards(rules: Iterable[CompilableRule]) -> Iterator[list[CompilableRule]]:
    """Divide rules into groups that the engine can take at once."""
    return _grouped(rules, lambda shard: _fit([one for rule in shard for one in rule.conjunctions]))


def pieces(
    rules: Iterable[CompilableRule],
) -> Iterator[tuple[CompilableRule, Sequence[Conjunction]]]:
    """Yield each rule with as many of its conjunctions as the engine holds in one of its own
    rules."""
    for rule in rules:
        for conjunctions in _grouped(
            rule.conjunctions, lambda conjunctions: sum(map(_marks, conjunctions)) <= MAX_MARKS
        ):
            yield rule, conjunctions


def refusal(rule: Rule, file: str, code: str, message: str) -> RuleSetInvalid:
    """Create the error that names a rule which cannot be used."""
    return RuleSetInvalid([Finding(file, rule.line, rule.id, code, message)])


def _grouped(items: Iterable[T], fit: Callable[[Sequence[T]], bool]) -> Iterator[list[T]]:
    """Divide items, in their order, into groups that each hold as many as fit; each alone must
    fit."""
    group: list[T] = []
    for item in items:
        if group and not fit([*group, item]):
            yield group
            group = []
        group.append(item)
    if group:
        yield group


def _fit(conjunctions: Sequence[Conjunction]) -> bool:
    return len(conjunctions) <= MAX_CONJUNCTIONS and sum(map(_choices, conjunctions)) <= MAX_CHOICES


def _choices(conjunction: Conjunction) -> int:
    """Count the tests of a conjunction that may follow one: the values of its longest ``in``."""
    values = (required.test.value for required in conjunction)
    return max((len(value) for value in values if isinstance(value, tuple)), default=1)


def _marks(conjunction: Conjunction) -> int:
    """Count the marks of a conjunction: two for an ``and`` and two for an ``or``, which an ``in``
    becomes."""
    return 2 + 2 * sum(required.test.operator is Operator.IN for required in conjunction)


def _suits(definition: FactDefinition, test: Test) -> bool:
    """Tell whether the loader would accept this test of the fact."""
    if test.operator is Operator.REPORTED:
        return isinstance(test.value, bool)
    if test.operator in NUMERIC_OPERATORS and not definition.is_numeric:
        return False
    if isinstance(test.value, tuple):
        return test.operator is Operator.IN and all(map(definition.accepts, test.value))
    return test.operator is not Operator.IN and definition.accepts(test.value)
