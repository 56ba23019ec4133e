"""Encoding: facts and tests in text that the engine reads as they are meant (pure).

The engine (durable-rules 2.0.28) knows a name only by a 32-bit hash, reserves names of its own,
mistakes some texts for others, and refuses a number that has an exponent but no point. So no text
of the dictionary or of a rule file reaches it: facts have short names of ours, enumeration values
short codes, and numbers are floats that always have a point.

Nor can the engine test that a fact is absent. A fact that was not reported is left out, and every
test of it fails. Where a rule requires a test to fail, the fact is sent a second time under another
name, with a substitute for the missing value that fails the test.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from enum import StrEnum
from functools import lru_cache
from typing import Any, TypeAlias

from dawnrule.errors import EngineFailure
from dawnrule.model import FactDefinition, FactDictionary, Facts
from dawnrule.rules.conditions import Operator, Test
from dawnrule.rules.engine.dnf import Conjunction, Requirement

FactWriter: TypeAlias = Callable[[Facts], str]

STATE_ID = "0"
"""The one state in which every decision is made."""

HEAD = f'{{"sid":"{STATE_ID}","id":"0","alive":0.5'
"""The beginning of the encoded facts. The id is always the same, so that facts left behind by an
interrupted decision cause an error in the next one instead of taking part in it."""

ALIVE = '{"$and":[{"$eq":{"alive":0.5}},{"$gt":{"alive":0.25}}]}'
"""A condition that always holds. It tests a fraction, and twice, because the engine reads numbers
by the process's locale: where the decimal mark is a comma 0.5 becomes 0, and one test fails."""

BEYOND = 1.0e308
"""The substitute for a number that was not reported; every fact and threshold is smaller."""

VALUES_KEPT = 1024
"""The number of values of one fact whose encoding is cached; most mornings repeat them."""


class Form(StrEnum):
    """The forms in which a fact is sent; each value is the first letter of its name in the
    engine."""

    VALUE = "f"
    """The value; left out when it was not reported."""
    OR_HIGH = "h"
    """The value, or a substitute higher than any."""
    OR_LOW = "l"
    """The value, or a substitute lower than any."""
    REPORTED = "r"
    """Whether it was reported."""


_WORDS = {
    (Operator.IS, True): "$eq",
    (Operator.IS, False): "$neq",
    (Operator.AT_LEAST, True): "$gte",
    (Operator.AT_LEAST, False): "$lt",
    (Operator.AT_MOST, True): "$lte",
    (Operator.AT_MOST, False): "$gt",
    (Operator.ABOVE, True): "$gt",
    (Operator.ABOVE, False): "$lte",
    (Operator.BELOW, True): "$lt",
    (Operator.BELOW, False): "$gte",
    (Operator.REPORTED, True): "$eq",
}
"""The engine's word for a test that must hold, and for one that must fail."""


class Encoder:
    """An encoder for the conditions of one set of rules, and then for the facts that they test."""

    def __init__(self, dictionary: FactDictionary) -> None:
        self._dictionary = dictionary
        self._numbers = {fact: number for number, fact in enumerate(dictionary)}
        self._forms: dict[str, set[Form]] = {fact: set() for fact in dictionary}

    def condition(self, conjunctions: Sequence[Conjunction]) -> str:
        """Encode the condition that one of the conjunctions holds, and note the forms it needs."""
        written = [self._conjunction(one) for one in conjunctions]
        return written[0] if len(written) == 1 else f'{{"$or":[{",".join(written)}]}}'

    def names_sent(self) -> int:
        """Count the names that the facts of one subject can take, apart from those of the head."""
        return sum(len(forms) for forms in self._forms.values())

    def fact_writer(self) -> FactWriter:
        """Build a function that encodes the facts tested by the conditions encoded so far.

        It raises ``EngineFailure`` for a fact that is not in the dictionary, and for a value of
        another type than declared or outside the declared range.
        """
        writers = {fact: self._value_writer(d) for fact, d in self._dictionary.items()}
        absent = {fact: self._stand_ins(d) for fact, d in self._dictionary.items()}
        stand_ins = tuple((fact, text) for fact, text in absent.items() if text)

        def write(facts: Facts) -> str:
            try:
                written = [writers[fact](value) for fact, value in facts.items()]
            except (KeyError, TypeError, ValueError) as error:
                raise self._misfit(facts) from error
            written += [text for fact, text in stand_ins if fact not in facts]
            return f"{HEAD}{''.join(written)}}}"

        return write

    def _conjunction(self, conjunction: Conjunction) -> str:
        tests = ",".join(map(self._test, conjunction))
        return f'{{"$and":[{tests}]}}' if conjunction else ALIVE

    def _test(self, required: Requirement) -> str:
        test = required.test
        if isinstance(test.value, tuple):
            each = (Test(test.fact, Operator.IS, value) for value in dict.fromkeys(test.value))
            either = ",".join(self._test(Requirement(one, True)) for one in each)
            return f'{{"$or":[{either}]}}'
        definition = self._dictionary[test.fact]
        form = _form_for(required)
        self._forms[definition.name].add(form)
        word = _WORDS[test.operator, required.holds]
        value = _written(test.value, definition)
        return f'{{"{word}":{{"{self._name(definition, form)}":{value}}}}}'

    def _name(self, definition: FactDefinition, form: Form) -> str:
        return f"{form}{self._numbers[definition.name]}"

    def _value_writer(self, definition: FactDefinition) -> Callable[[Any], str]:
        """Build a function that encodes a value of one fact, under each of its names."""
        forms = sorted(self._forms[definition.name])
        pairs = [
            f',"{self._name(definition, s)}":{"true" if s is Form.REPORTED else "?"}' for s in forms
        ]
        blank = "".join(pairs)

        @lru_cache(VALUES_KEPT, typed=True)
        def write(value: Any) -> str:
            if not definition.accepts(value):
                raise ValueError(value)
            return blank.replace("?", _written(value, definition)) if blank else ""

        return write

    def _misfit(self, facts: Facts) -> EngineFailure:
        known = self._dictionary
        misfits = [
            f"{fact} = {value!r}"
            for fact, value in facts.items()
            if fact not in known or not known[fact].accepts(value)
        ]
        return EngineFailure(f"These facts do not fit the dictionary: {', '.join(misfits)}.")

    def _stand_ins(self, definition: FactDefinition) -> str:
        """Encode the substitutes for a fact that was not reported."""
        forms = sorted(self._forms[definition.name] - {Form.VALUE})
        return "".join(f',"{self._name(definition, s)}":{_stand_in(definition, s)}' for s in forms)


def number(value: float) -> str:
    """Write a number that the engine reads exactly. Raises ``EngineFailure`` when there is none.

    These are the shortest digits that give the float again (``repr``), and a point before any
    exponent.
    """
    if not -BEYOND < value < BEYOND or (exact := float(value)) != value:
        raise EngineFailure(f"The engine cannot compare the number {value!r} exactly.")
    return _digits(exact)


def _digits(value: float) -> str:
    digits = repr(value)
    return digits.replace("e", ".0e") if "e" in digits and "." not in digits else digits


def _written(value: Any, definition: FactDefinition) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return f'"v{definition.values.index(value)}"'
    return number(value)


def _form_for(required: Requirement) -> Form:
    """Choose the form of a fact in which a test comes out right when it was not reported."""
    operator, value = required.test.operator, required.test.value
    if operator is Operator.REPORTED:
        return Form.REPORTED
    if required.holds:
        return Form.VALUE
    fails_below = operator in (Operator.AT_LEAST, Operator.ABOVE) or value is True
    return Form.OR_LOW if fails_below else Form.OR_HIGH


def _stand_in(definition: FactDefinition, form: Form) -> str:
    if form is Form.REPORTED:
        return "false"
    if definition.type == "boolean":
        return "true" if form is Form.OR_HIGH else "false"
    if definition.type == "enumeration":
        return '"not-reported"'
    return _digits(BEYOND if form is Form.OR_HIGH else -BEYOND)
