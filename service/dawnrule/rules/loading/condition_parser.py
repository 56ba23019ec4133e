"""Condition parser: the ``when`` of a rule file, and its faults."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from dawnrule.errors import Finding
from dawnrule.model import FactDefinition, FactDictionary, FactValue, Scope
from dawnrule.rules.conditions import (
    NUMERIC_OPERATORS,
    Condition,
    Group,
    GroupKind,
    Operator,
    Signal,
    Test,
    all_of,
    at_least,
)
from dawnrule.rules.loading.yaml_reader import YamlSource

MAX_SIGNAL_DEPTH = 5
MAX_TESTS = 500
"""Limits on the depth of signals within signals, and on the tests of one rule with its signals
written out. A rule needs a tenth of these; they stop a file that would grow without end."""

_FORMS = "{fact: ...}, {signal: ...}, all, any, none or at_least_n_of"


class ConditionInvalid(ValueError):
    """A condition that cannot be used, with the JSON Pointer of the fault and what is allowed."""

    def __init__(self, code: str, pointer: str, message: str) -> None:
        super().__init__(message)
        self.code = code
        self.pointer = pointer


@dataclass(frozen=True, slots=True)
class ConditionReader:
    """A parser for the conditions of one rule: the scope says which facts it may test, ``signals``
    holds the conditions that have a name.

    ``within`` names the signals being read; ``tested`` collects the facts tested so far.
    """

    source: YamlSource
    dictionary: FactDictionary
    scope: Scope
    signals: Mapping[str, Any]
    within: tuple[str, ...] = ()
    tested: list[str] = field(default_factory=list)

    def read(self, data: Any, pointer: str) -> Condition:
        """Parse the condition at a JSON Pointer. Raises ``ConditionInvalid`` for the first
        fault."""
        if not isinstance(data, dict):
            raise ConditionInvalid("condition", pointer, f"a condition is one of {_FORMS}")
        if "fact" in data:
            return self._tests(data, pointer)
        if len(data) != 1:
            found = ", ".join(data) or "nothing"
            raise ConditionInvalid(
                "condition", pointer, f"found {found}; allowed is one of {_FORMS}"
            )
        (word, inner), *_ = data.items()
        here = f"{pointer}/{word}"
        if word == "signal":
            return self._signal(inner, here)
        if word == GroupKind.AT_LEAST:
            return self._at_least(inner, here)
        if word in [*GroupKind]:
            return Group(GroupKind(word), self._several(inner, here))
        raise ConditionInvalid(
            "condition", here, f"{word!r} is not known; allowed is one of {_FORMS}"
        )

    def finding(self, fault: ConditionInvalid, rule: str | None) -> Finding:
        """Convert a fault to a finding of the file."""
        return self.source.finding(fault.code, fault.pointer, str(fault), rule)

    def _several(self, data: Any, pointer: str) -> tuple[Condition, ...]:
        if not isinstance(data, list) or not data:
            raise ConditionInvalid(
                "condition", pointer, "a list of at least one condition is needed"
            )
        return tuple(self.read(item, f"{pointer}/{i}") for i, item in enumerate(data))

    def _at_least(self, data: Any, pointer: str) -> Condition:
        if not isinstance(data, dict) or set(data) != {"n", "of"}:
            raise ConditionInvalid("condition", pointer, "write {n: 2, of: [condition, ...]}")
        conditions = self._several(data["of"], f"{pointer}/of")
        count = data["n"]
        if type(count) is not int or not 1 <= count <= len(conditions):
            message = f"n must be a whole number from 1 to {len(conditions)}"
            raise ConditionInvalid("condition", f"{pointer}/n", message)
        return at_least(count, *conditions)

    def _signal(self, name: Any, pointer: str) -> Condition:
        if not isinstance(name, str) or name not in self.signals:
            known = ", ".join(self.signals) or "none are defined"
            raise ConditionInvalid(
                "unknown-signal", pointer, f"unknown signal {name!r}; known: {known}"
            )
        if name in self.within:
            raise ConditionInvalid("signal", pointer, f"the signal {name!r} is made of itself")
        if len(self.within) == MAX_SIGNAL_DEPTH:
            message = f"signals stand in signals at most {MAX_SIGNAL_DEPTH} deep"
            raise ConditionInvalid("signal", pointer, message)
        reader = replace(self, within=(*self.within, name))
        return Signal(name, reader.read(self.signals[name], f"/signals/{name}"))

    def _tests(self, data: Mapping[str, Any], pointer: str) -> Condition:
        definition = self._definition(data["fact"], f"{pointer}/fact")
        self.tested.append(definition.name)
        if len(self.tested) > MAX_TESTS:
            message = f"a rule tests at most {MAX_TESTS} facts, those of its signals included"
            raise ConditionInvalid("size", pointer, message)
        tests = tuple(self._operators(definition, data, pointer))
        if not tests:
            message = f"an operator is missing; allowed: {', '.join(_operators_for(definition))}"
            raise ConditionInvalid("operator", pointer, message)
        return tests[0] if len(tests) == 1 else all_of(*tests)

    def _definition(self, name: Any, pointer: str) -> FactDefinition:
        found = self.dictionary.get(name) if isinstance(name, str) else None
        if found is not None and found.is_readable_in(self.scope):
            return found
        if found is not None:
            message = f"{name} is a fact of a part; a day rule reads day facts only"
            raise ConditionInvalid("scope", pointer, message)
        readable = self.dictionary.readable_in(self.scope)
        known = ", ".join(fact for fact in self.dictionary if fact in readable)
        raise ConditionInvalid("unknown-fact", pointer, f"unknown fact {name!r}; known: {known}")

    def _operators(
        self, definition: FactDefinition, data: Mapping[str, Any], pointer: str
    ) -> Iterator[Test]:
        allowed = _operators_for(definition)
        for word, value in data.items():
            here = f"{pointer}/{word}"
            if word == "fact":
                continue
            if word not in allowed:
                message = f"{word!r} cannot test {definition.name}; allowed: {', '.join(allowed)}"
                raise ConditionInvalid("operator", here, message)
            operator = Operator(word)
            yield Test(definition.name, operator, _operand(definition, operator, value, here))


def _operators_for(definition: FactDefinition) -> tuple[str, ...]:
    fitting = {Operator.IS, Operator.REPORTED}
    if definition.type != "boolean":
        fitting.add(Operator.IN)
    if definition.is_numeric:
        fitting |= NUMERIC_OPERATORS
    return tuple(operator.value for operator in Operator if operator in fitting)


def _operand(
    definition: FactDefinition, operator: Operator, value: Any, pointer: str
) -> FactValue | tuple[FactValue, ...]:
    if operator is Operator.REPORTED:
        if isinstance(value, bool):
            return value
        raise ConditionInvalid("value", pointer, "must be true or false")
    if operator is not Operator.IN:
        return _accepted(definition, value, pointer)
    if not isinstance(value, list) or not value:
        raise ConditionInvalid("value", pointer, "a list of at least one value is needed")
    values = tuple(_accepted(definition, item, f"{pointer}/{i}") for i, item in enumerate(value))
    if len(set(values)) != len(values):
        raise ConditionInvalid("value", pointer, "a value stands in the list twice")
    return values


def _accepted(definition: FactDefinition, value: Any, pointer: str) -> FactValue:
    if not definition.accepts(value):
        message = f"{definition.name} is {definition.allowed()}, not {value!r}"
        raise ConditionInvalid("value", pointer, message)
    accepted: FactValue = value
    return accepted
