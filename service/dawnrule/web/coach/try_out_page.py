"""Which facts can a coach try a rule set on, and what do the fields say? (pure)

What a field says becomes a value as JSON would have it, and is then held to the fact dictionary
like any other that is sent.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from dawnrule.advice.compose import Composer
from dawnrule.errors import FieldError
from dawnrule.vocabulary import FactDefinition, FactValue

COMMONEST = (
    "goal",
    "muscle_group",
    "soreness",
    "hours_since_growth_work",
    "hours_since_trained",
    "sleep_hours",
    "sleep_quality",
    "fatigue",
    "stress",
    "illness",
)
"""The facts that most rules and most questions are about, in the order in which they are asked."""

_NUMBER = re.compile(r"[+-]?(\d+([.,]\d*)?|[.,]\d+)")
_TRUTH = {"true": True, "false": False}


@dataclass(frozen=True, slots=True)
class Choice:
    """What may be chosen: the value that is sent and how it is said."""

    value: str
    said: str


@dataclass(frozen=True, slots=True)
class Field:
    """One fact to be filled in: as a choice when there are ``choices``, else as a number.

    ``value`` is what was filled in, ``error`` what would do instead; both may be empty.
    """

    name: str
    label: str
    hint: str
    choices: tuple[Choice, ...]
    value: str
    error: str


@dataclass(frozen=True, slots=True)
class Form:
    """The fields: the commonest first, and all other facts of the dictionary."""

    commonest: tuple[Field, ...]
    others: tuple[Field, ...]

    @property
    def wrong(self) -> tuple[Field, ...]:
        """The fields that cannot be accepted."""
        return tuple(field for field in (*self.commonest, *self.others) if field.error)

    @property
    def others_in_use(self) -> bool:
        """Whether any of the less common facts was filled in, so that they have to be seen."""
        return any(field.value for field in self.others)


def form_of(filled: Mapping[str, str], errors: Iterable[FieldError], composer: Composer) -> Form:
    """The fields with what was filled in, by fact, and what is wrong with it."""
    wrong = {error.pointer.rpartition("/")[2] for error in errors}
    fields = {
        name: _field(definition, filled.get(name, ""), name in wrong, composer)
        for name, definition in composer.dictionary.items()
    }
    commonest = tuple(fields.pop(name) for name in COMMONEST)
    return Form(commonest, tuple(fields.values()))


def assumed(filled: Mapping[str, str], composer: Composer) -> dict[str, Any]:
    """The facts that were filled in, as plain JSON values: of a day and, when any fact of a part
    is among them, of one part."""
    facts = {
        name: _value(definition, filled[name].strip())
        for name, definition in composer.dictionary.items()
        if filled.get(name, "").strip()
    }
    of_part = {n: v for n, v in facts.items() if composer.dictionary[n].scope == "part"}
    of_day = {n: v for n, v in facts.items() if n not in of_part}
    return {"day": of_day, "parts": [of_part] if of_part else []}


def _value(definition: FactDefinition, text: str) -> FactValue:
    """A text as the value that it stands for; what is no such value stays text, and is refused."""
    if definition.type == "boolean":
        return _TRUTH.get(text, text)
    if definition.is_numeric and _NUMBER.fullmatch(text):
        number = float(text.replace(",", "."))
        return int(number) if number.is_integer() and definition.type == "integer" else number
    return text


def _field(definition: FactDefinition, value: str, is_wrong: bool, composer: Composer) -> Field:
    return Field(
        definition.name,
        definition.label,
        _hint(definition, composer),
        tuple(_choices(definition, composer)),
        value,
        _what_would_do(definition, composer) if is_wrong else "",
    )


def _choices(definition: FactDefinition, composer: Composer) -> Iterable[Choice]:
    if definition.type == "boolean":
        return [Choice(word, composer.texts.say(f"prose.is_{word}")) for word in _TRUTH]
    return [Choice(value, composer.vocabulary.label(value)) for value in definition.values]


def _hint(definition: FactDefinition, composer: Composer) -> str:
    """From where to where a number may go, and its unit."""
    if not definition.is_numeric:
        return ""
    unit = composer.wording.unit(definition.name)
    return composer.texts.say("coach_rules.number_hint", unit=unit, **_range(definition)).strip()


def _what_would_do(definition: FactDefinition, composer: Composer) -> str:
    """What to answer instead of what cannot be accepted."""
    if not definition.is_numeric:
        return composer.texts.say("coach_rules.wrong_choice")
    sentence = "wrong_whole_number" if definition.type == "integer" else "wrong_number"
    return composer.texts.say(f"coach_rules.{sentence}", **_range(definition))


def _range(definition: FactDefinition) -> dict[str, str]:
    return {"least": f"{definition.least:.0f}", "greatest": f"{definition.greatest:.0f}"}
