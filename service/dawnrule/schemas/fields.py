"""Field types: facts, text, words, ids, dates, times, time zones and numbers."""

from __future__ import annotations

import re
from collections.abc import Callable, Collection, Mapping
from datetime import date, datetime
from enum import StrEnum
from typing import Any

from marshmallow import ValidationError

from dawnrule.i18n.lazy import lazy, lazy_number
from dawnrule.model import (
    FactDefinition,
    FactDictionary,
    Facts,
    FactValue,
    Scope,
    Vocabulary,
    is_number,
)
from dawnrule.model.time_zones import time_zone_names
from dawnrule.schemas.base import ListOf, StrictField, did_you_mean, unknown_names
from dawnrule.schemas.characters import unseen_character


class DateOrder(StrEnum):
    """An order that a sheet's dates may be declared to have."""

    DAY_MONTH_YEAR = "day-month-year"
    MONTH_DAY_YEAR = "month-day-year"
    YEAR_MONTH_DAY = "year-month-day"


_JSON_TYPES = {"boolean": "boolean", "integer": "integer", "number": "number"}


def fact_value(definition: FactDefinition, value: Any) -> FactValue:
    """Return the value as the dictionary has it: whole numbers and whole ratings are ints, other
    numbers floats.

    Raises ``ValidationError`` that says what is accepted.
    """
    whole = definition.type == "integer" or definition.step is not None
    if whole and isinstance(value, float) and value.is_integer():
        value = int(value)  # a spreadsheet's macro writes 7 as 7.0
    if definition.accepts(value):
        is_float = definition.type == "number" and not (whole and isinstance(value, int))
        return float(value) + 0.0 if is_float else value  # -0.0 becomes 0.0
    if definition.is_numeric and _has_type(definition, value):
        least, greatest = lazy_number(definition.least), lazy_number(definition.greatest)
        raise ValidationError(lazy("field.out_of_range", least=least, greatest=greatest))
    hint = _hint(definition, value)
    raise ValidationError(lazy("field.wrong", accepted=definition.allowed(), hint=hint))


def fact_json_schema(definition: FactDefinition) -> dict[str, Any]:
    """Describe what is accepted, in JSON Schema, with the dictionary's meaning and unit."""
    schema: dict[str, Any] = {"description": definition.meaning}
    if definition.unit:
        schema["description"] += f" Unit: {definition.unit}."
    if definition.type == "enumeration":
        return schema | {"type": "string", "enum": list(definition.values)}
    schema["type"] = _JSON_TYPES[definition.type]
    if definition.is_numeric:
        schema |= {"minimum": definition.least, "maximum": definition.greatest}
    return schema


def _has_type(definition: FactDefinition, value: Any) -> bool:
    numbers = (int,) if definition.type == "integer" else (int, float)
    return isinstance(value, numbers) and not isinstance(value, bool)


def _hint(definition: FactDefinition, value: Any) -> str:
    if not isinstance(value, str):
        return ""
    if definition.is_numeric:
        return lazy("field.number_as_text")
    return did_you_mean(value, definition.values)


class Fact(StrictField[Any]):
    """The value of one fact."""

    def __init__(self, fact: str, **options: Any) -> None:
        super().__init__(**options)
        self._fact = fact

    @property
    def accepted(self) -> str:
        """Describe what is accepted, in words."""
        return self._definition.allowed()

    def json_schema(self) -> dict[str, Any]:
        """Describe what is accepted, in JSON Schema."""
        return fact_json_schema(self._definition)

    @property
    def _definition(self) -> FactDefinition:
        return FactDictionary.bundled()[self._fact]

    def _deserialize(
        self, value: Any, attr: str | None, data: Mapping[str, Any] | None, **_: Any
    ) -> FactValue:
        return fact_value(self._definition, value)


def greatest(fact: str) -> float:
    """Return the greatest value that a fact may have."""
    return FactDictionary.bundled()[fact].greatest


class FactsOf(StrictField[Facts]):
    """Facts of one scope by name."""

    def __init__(self, scope: Scope, **options: Any) -> None:
        super().__init__(**options)
        self._scope = scope

    @property
    def accepted(self) -> str:
        """Describe what is accepted, in words."""
        return f"an object of facts of a {self._scope}, by name"

    def json_schema(self) -> dict[str, Any]:
        """Describe what is accepted, in JSON Schema."""
        known = self._definitions()
        return {
            "type": "object",
            "properties": {name: fact_json_schema(known[name]) for name in known},
            "additionalProperties": False,
        }

    def _definitions(self) -> dict[str, FactDefinition]:
        dictionary = FactDictionary.bundled()
        return {name: fact for name, fact in dictionary.items() if fact.scope == self._scope}

    def _deserialize(
        self, value: Any, attr: str | None, data: Mapping[str, Any] | None, **_: Any
    ) -> Facts:
        if not isinstance(value, dict):
            raise self.make_error("invalid")
        known = self._definitions()
        faults = dict(unknown_names([n for n in value if n not in known], known, "facts"))
        facts: dict[str, FactValue] = {}
        for name in value.keys() & known:
            try:
                facts[name] = fact_value(known[name], value[name])
            except ValidationError as error:
                faults[name] = [str(message) for message in error.messages]
        if faults:
            raise ValidationError(dict(faults))
        return facts


EARLIEST = date(1900, 1, 1)
"""Nobody alive was born before; and no arithmetic on dates can leave the calendar."""

LATEST = date(2199, 12, 31)

_ID = re.compile(r"[A-Za-z0-9][A-Za-z0-9_-]{0,39}")
_DATE = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")
_TIME = re.compile(
    r"[0-9]{4}-[0-9]{2}-[0-9]{2}[Tt]([01][0-9]|2[0-3]):[0-5][0-9]:[0-5][0-9](\.[0-9]{1,9})?"
    r"([Zz]|[+-]([01][0-9]|2[0-3]):[0-5][0-9])"
)
_COUNT = re.compile(r"[0-9]{1,9}")


class Text(StrictField[str]):
    """One line of text that is not blank, without characters that nobody sees."""

    def __init__(self, *, at_most: int, **options: Any) -> None:
        super().__init__(**options)
        self._at_most = at_most

    @property
    def accepted(self) -> str:
        """Describe what is accepted, in words."""
        return lazy("field.text", most=self._at_most)

    def json_schema(self) -> dict[str, Any]:
        """Describe what is accepted, in JSON Schema."""
        return {"type": "string", "minLength": 1, "maxLength": self._at_most}

    def _deserialize(
        self, value: Any, attr: str | None, data: Mapping[str, Any] | None, **_: Any
    ) -> str:
        if not isinstance(value, str) or not value.strip() or len(value) > self._at_most:
            raise self.make_error("invalid")
        if unseen := unseen_character(value):
            place, character = unseen
            hint = lazy("field.unseen", place=place, character=character)
            raise self.make_error("invalid", hint=hint)
        return value


class AthleteId(StrictField[str]):
    """An athlete's id, fit to stand in an address and in a spreadsheet's cell."""

    @property
    def accepted(self) -> str:
        """Describe what is accepted, in words."""
        return lazy("field.id")

    def json_schema(self) -> dict[str, Any]:
        """Describe what is accepted, in JSON Schema."""
        return {"type": "string", "pattern": f"^{_ID.pattern}$", "examples": ["a-03"]}

    def _deserialize(
        self, value: Any, attr: str | None, data: Mapping[str, Any] | None, **_: Any
    ) -> str:
        if not isinstance(value, str) or not _ID.fullmatch(value):
            raise self.make_error("invalid")
        return value


class Word(StrictField[str]):
    """A word out of a closed list."""

    def __init__(self, words: Callable[[], Collection[str]], **options: Any) -> None:
        super().__init__(**options)
        self._words = words

    @classmethod
    def out_of(cls, list_name: str, **options: Any) -> Word:
        """Build a field for one of the vocabulary's lists."""
        return cls(lambda: Vocabulary.bundled().values_of(list_name), **options)

    @property
    def accepted(self) -> str:
        """Describe what is accepted, in words."""
        return lazy("field.one_of", words=", ".join(self._words()))

    def json_schema(self) -> dict[str, Any]:
        """Describe what is accepted, in JSON Schema, and null where that is a value."""
        words: list[str | None] = [*self._words()]
        return {"type": "string", "enum": [*words, None] if self.allow_none else words}

    def _deserialize(
        self, value: Any, attr: str | None, data: Mapping[str, Any] | None, **_: Any
    ) -> str:
        if not isinstance(value, str):
            raise self.make_error("invalid")
        words = self._words()
        if value not in words:
            raise self.make_error("invalid", hint=did_you_mean(value, words))
        return value


class WordList(ListOf):
    """Words out of one of the vocabulary's lists, each at most once."""

    def __init__(self, list_name: str, **options: Any) -> None:
        words = Word.out_of(list_name)
        super().__init__(
            words, at_most=lambda: len(Vocabulary.bundled().values_of(list_name)), **options
        )

    def json_schema(self) -> dict[str, Any]:
        """Describe what is accepted, in JSON Schema."""
        return super().json_schema() | {"uniqueItems": True}

    def _deserialize(
        self, value: Any, attr: str | None, data: Mapping[str, Any] | None, **_: Any
    ) -> tuple[Any, ...]:
        words = super()._deserialize(value, attr, data)
        if len(set(words)) < len(words):
            raise ValidationError(lazy("field.word_twice"))
        return words


class CalendarDate(StrictField[date]):
    """A day of the calendar."""

    @property
    def accepted(self) -> str:
        """Describe what is accepted, in words."""
        return lazy("field.date", first=EARLIEST, last=LATEST)

    def json_schema(self) -> dict[str, Any]:
        """Describe what is accepted, in JSON Schema."""
        return {"type": "string", "format": "date", "examples": ["2026-03-09"]}

    def _serialize(self, value: Any, attr: str | None, obj: Any, **_: Any) -> str | None:
        return None if value is None else str(value.isoformat())

    def _deserialize(
        self, value: Any, attr: str | None, data: Mapping[str, Any] | None, **_: Any
    ) -> date:
        if not isinstance(value, str) or not _DATE.fullmatch(value):
            raise self.make_error("invalid")
        try:
            day = date.fromisoformat(value)
        except ValueError as error:
            raise self.make_error("invalid", hint=lazy("field.no_such_day")) from error
        if not EARLIEST <= day <= LATEST:
            raise self.make_error("invalid")
        return day


class AwareTime(StrictField[datetime]):
    """A moment, with its offset from UTC (RFC 3339)."""

    @property
    def accepted(self) -> str:
        """Describe what is accepted, in words."""
        return lazy("field.moment")

    def json_schema(self) -> dict[str, Any]:
        """Describe what is accepted, in JSON Schema."""
        return {
            "type": "string",
            "format": "date-time",
            "examples": ["2026-03-09T06:40:00+01:00"],
        }

    def _serialize(self, value: Any, attr: str | None, obj: Any, **_: Any) -> str | None:
        return None if value is None else str(value.isoformat())

    def _deserialize(
        self, value: Any, attr: str | None, data: Mapping[str, Any] | None, **_: Any
    ) -> datetime:
        if not isinstance(value, str) or not _TIME.fullmatch(value):
            raise self.make_error("invalid")
        try:
            moment = datetime.fromisoformat(value.upper())
        except ValueError as error:
            raise self.make_error("invalid", hint=lazy("field.no_such_day")) from error
        if not EARLIEST <= moment.date() <= LATEST:
            raise self.make_error(
                "invalid", hint=lazy("field.days_between", first=EARLIEST, last=LATEST)
            )
        return moment


class TimeZone(StrictField[str]):
    """The name of a time zone."""

    @property
    def accepted(self) -> str:
        """Describe what is accepted, in words."""
        return "an IANA time zone like Europe/Berlin"

    def json_schema(self) -> dict[str, Any]:
        """Describe what is accepted, in JSON Schema."""
        return {"type": "string", "examples": ["Europe/Berlin"]}

    def _deserialize(
        self, value: Any, attr: str | None, data: Mapping[str, Any] | None, **_: Any
    ) -> str:
        if not isinstance(value, str):
            raise self.make_error("invalid")
        if value not in time_zone_names():
            raise self.make_error("invalid", hint=_nearest_zone(value))
        return value


def _nearest_zone(name: str) -> str:
    by_small_letters = {zone.lower(): zone for zone in sorted(time_zone_names())}
    same = by_small_letters.get(name.lower())
    return f"; did you mean {same}?" if same else ""


class Number(StrictField[float]):
    """A number from one to another, both included."""

    def __init__(self, least: float, greatest: float, **options: Any) -> None:
        super().__init__(**options)
        self._least, self._greatest = least, greatest

    @property
    def accepted(self) -> str:
        """Describe what is accepted, in words."""
        least, greatest = lazy_number(self._least), lazy_number(self._greatest)
        return lazy("field.number", least=least, greatest=greatest)

    def json_schema(self) -> dict[str, Any]:
        """Describe what is accepted, in JSON Schema."""
        return {"type": "number", "minimum": self._least, "maximum": self._greatest}

    def _deserialize(
        self, value: Any, attr: str | None, data: Mapping[str, Any] | None, **_: Any
    ) -> float:
        if not is_number(value) or not self._least <= value <= self._greatest:
            hint = lazy("field.number_as_text") if isinstance(value, str) else ""
            raise self.make_error("invalid", hint=hint)
        return float(value) + 0.0  # -0.0 becomes 0.0


class WholeNumber(StrictField[int]):
    """A whole number from one to another, both included, in JSON."""

    def __init__(self, least: int, greatest: int, **options: Any) -> None:
        super().__init__(**options)
        self._least, self._greatest = least, greatest

    @property
    def accepted(self) -> str:
        """Describe what is accepted, in words."""
        return lazy("field.whole_number", least=self._least, greatest=self._greatest)

    def json_schema(self) -> dict[str, Any]:
        """Describe what is accepted, in JSON Schema."""
        return {"type": "integer", "minimum": self._least, "maximum": self._greatest}

    def _deserialize(
        self, value: Any, attr: str | None, data: Mapping[str, Any] | None, **_: Any
    ) -> int:
        if isinstance(value, float) and value.is_integer():
            value = int(value)  # a spreadsheet's macro writes 7 as 7.0
        is_whole = isinstance(value, int) and not isinstance(value, bool)
        if not is_whole or not self._least <= value <= self._greatest:
            hint = lazy("field.number_as_text") if isinstance(value, str) else ""
            raise self.make_error("invalid", hint=hint)
        return int(value)


class NumberOrTrials(StrictField[tuple[float, ...]]):
    """A number from one to another, or a list of at most so many of them; it becomes a tuple."""

    def __init__(self, least: float, greatest: float, at_most: int, **options: Any) -> None:
        super().__init__(**options)
        self._number = Number(least, greatest)
        self._trials = ListOf(self._number, at_least=1, at_most=lambda: at_most)

    @property
    def accepted(self) -> str:
        """Describe what is accepted, in words."""
        return lazy("field.either", one=self._number.accepted, other=self._trials.accepted)

    def json_schema(self) -> dict[str, Any]:
        """Describe what is accepted, in JSON Schema."""
        number = self._number.json_schema()
        return {"oneOf": [number, {**self._trials.json_schema(), "items": number}]}

    def _deserialize(
        self, value: Any, attr: str | None, data: Mapping[str, Any] | None, **_: Any
    ) -> tuple[float, ...]:
        if isinstance(value, list):
            return self._trials.deserialize(value)
        try:
            return (self._number.deserialize(value),)
        except ValidationError as error:
            raise self.make_error("invalid") from error


class Count(WholeNumber):
    """A whole number from one to another, as it is written in an address."""

    def _deserialize(
        self, value: Any, attr: str | None, data: Mapping[str, Any] | None, **_: Any
    ) -> int:
        if not isinstance(value, str) or not _COUNT.fullmatch(value):
            raise self.make_error("invalid")
        if not self._least <= int(value) <= self._greatest:
            raise self.make_error("invalid")
        return int(value)


class Switch(StrictField[bool]):
    """A choice of yes or no, as it is written in an address."""

    @property
    def accepted(self) -> str:
        """Describe what is accepted, in words."""
        return lazy("field.true_or_false")

    def json_schema(self) -> dict[str, Any]:
        """Describe what is accepted, in JSON Schema."""
        return {"type": "boolean"}

    def _deserialize(
        self, value: Any, attr: str | None, data: Mapping[str, Any] | None, **_: Any
    ) -> bool:
        if value not in ("true", "false"):
            raise self.make_error("invalid")
        return bool(value == "true")


class YesOrNo(Switch):
    """A choice of yes or no in JSON."""

    def _deserialize(
        self, value: Any, attr: str | None, data: Mapping[str, Any] | None, **_: Any
    ) -> bool:
        if not isinstance(value, bool):
            raise self.make_error("invalid")
        return value
