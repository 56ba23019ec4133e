"""How are facts and tests written so that the engine reads them as they are meant? (pure)

The engine (durable-rules 2.0.28) knows a name only by a 32-bit hash, has names of its own, takes
some texts for others, and refuses a number that has an exponent but no point. So no text of the
dictionary's or of a rule file's reaches it: facts go under short names of ours, the words of an
enumeration as short codes, and numbers as floats that always have a point.

Nor can the engine test that a fact is absent. A fact that was not reported is left out, and every
test of it fails. Where a rule requires a test to fail, the fact is sent once more under another
name, with a stand-in for the value that is missing: one that fails the test.
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
"""The one state that every decision is made in."""

HEAD = f'{{"sid":"{STATE_ID}","id":"0","alive":0.5'
"""How the text of the facts begins. The id is always the same, so that facts left behind by a
decision that was cut short are an error in the next one, and not part of it."""

ALIVE = '{"$and":[{"$eq":{"alive":0.5}},{"$gt":{"alive":0.25}}]}'
"""A condition that always holds. It tests a fraction, and twice, because the engine reads numbers
by the process's locale: where the decimal sign is a comma 0.5 becomes 0, and one test fails."""

BEYOND = 1.0e308
"""The stand-in for a number that was not reported; every fact and threshold is smaller."""

VALUES_KEPT = 1024
"""How many values of one fact are kept as they were written last; most mornings repeat them."""


class Sent(StrEnum):
    """The ways in which a fact is sent; each is the first letter of the name that it goes under."""

    VALUE = "f"
    """The value; left out when it was not reported."""
    OR_HIGH = "h"
    """The value, or a stand-in higher than any."""
    OR_LOW = "l"
    """The value, or a stand-in lower than any."""
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


class EngineText:
    """Writes conditions, and then the facts that they test, for one set of rules."""

    def __init__(self, dictionary: FactDictionary) -> None:
        self._dictionary = dictionary
        self._numbers = {fact: number for number, fact in enumerate(dictionary)}
        self._sent: dict[str, set[Sent]] = {fact: set() for fact in dictionary}

    def condition(self, ways: Sequence[Conjunction]) -> str:
        """The condition that one of the ways is met. Notes how the facts that it tests are sent."""
        written = [self._way(way) for way in ways]
        return written[0] if len(written) == 1 else f'{{"$or":[{",".join(written)}]}}'

    def names_sent(self) -> int:
        """How many names one subject's facts can come to, besides those of the head."""
        return sum(len(sent) for sent in self._sent.values())

    def fact_writer(self) -> FactWriter:
        """A function that writes the facts which the conditions written so far test.

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

    def _way(self, way: Conjunction) -> str:
        return f'{{"$and":[{",".join(map(self._test, way))}]}}' if way else ALIVE

    def _test(self, required: Requirement) -> str:
        test = required.test
        if isinstance(test.value, tuple):
            each = (Test(test.fact, Operator.IS, value) for value in dict.fromkeys(test.value))
            either = ",".join(self._test(Requirement(one, True)) for one in each)
            return f'{{"$or":[{either}]}}'
        definition = self._dictionary[test.fact]
        sent = _sent_for(required)
        self._sent[definition.name].add(sent)
        word = _WORDS[test.operator, required.holds]
        value = _written(test.value, definition)
        return f'{{"{word}":{{"{self._name(definition, sent)}":{value}}}}}'

    def _name(self, definition: FactDefinition, sent: Sent) -> str:
        return f"{sent}{self._numbers[definition.name]}"

    def _value_writer(self, definition: FactDefinition) -> Callable[[Any], str]:
        """Writes a value of one fact, under each of the names that the fact is sent by."""
        sent = sorted(self._sent[definition.name])
        pairs = [
            f',"{self._name(definition, s)}":{"true" if s is Sent.REPORTED else "?"}' for s in sent
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
        """What is sent for a fact that was not reported."""
        sent = sorted(self._sent[definition.name] - {Sent.VALUE})
        return "".join(f',"{self._name(definition, s)}":{_stand_in(definition, s)}' for s in sent)


def number(value: float) -> str:
    """A number as the engine reads it exactly. Raises ``EngineFailure`` when there is no such.

    The shortest digits that give the float again (``repr``), and a point before any exponent.
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


def _sent_for(required: Requirement) -> Sent:
    """The way to send a fact so that a test of it comes out right when it was not reported."""
    operator, value = required.test.operator, required.test.value
    if operator is Operator.REPORTED:
        return Sent.REPORTED
    if required.holds:
        return Sent.VALUE
    fails_below = operator in (Operator.AT_LEAST, Operator.ABOVE) or value is True
    return Sent.OR_LOW if fails_below else Sent.OR_HIGH


def _stand_in(definition: FactDefinition, sent: Sent) -> str:
    if sent is Sent.REPORTED:
        return "false"
    if definition.type == "boolean":
        return "true" if sent is Sent.OR_HIGH else "false"
    if definition.type == "enumeration":
        return '"not-reported"'
    return _digits(BEYOND if sent is Sent.OR_HIGH else -BEYOND)
