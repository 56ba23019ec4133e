"""Does a value fit the fact dictionary? Its types and ranges stand there and nowhere else."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from marshmallow import ValidationError

from dawnrule.schemas.strict import StrictField, did_you_mean, unknown_names
from dawnrule.vocabulary import FactDefinition, FactDictionary, Facts, FactValue, Scope
from dawnrule.vocabulary.said import say, say_number

_JSON_TYPES = {"boolean": "boolean", "integer": "integer", "number": "number"}


def fact_value(definition: FactDefinition, value: Any) -> FactValue:
    """The value as the dictionary has it: whole numbers are ints, other numbers floats.

    Raises ``ValidationError`` that says what is accepted.
    """
    if definition.type == "integer" and isinstance(value, float) and value.is_integer():
        value = int(value)  # a spreadsheet's macro writes 7 as 7.0
    if definition.accepts(value):
        return float(value) + 0.0 if definition.type == "number" else value  # -0.0 becomes 0.0
    if definition.is_numeric and _has_type(definition, value):
        least, greatest = say_number(definition.least), say_number(definition.greatest)
        raise ValidationError(say("field.out_of_range", least=least, greatest=greatest))
    hint = _hint(definition, value)
    raise ValidationError(say("field.wrong", accepted=definition.allowed(), hint=hint))


def fact_json_schema(definition: FactDefinition) -> dict[str, Any]:
    """What is accepted, in JSON Schema, with the dictionary's meaning and unit."""
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
        return say("field.number_as_text")
    return did_you_mean(value, definition.values)


class Fact(StrictField[Any]):
    """The value of one fact."""

    def __init__(self, fact: str, **options: Any) -> None:
        super().__init__(**options)
        self._fact = fact

    @property
    def accepted(self) -> str:
        """What is accepted, in words."""
        return self._definition.allowed()

    def json_schema(self) -> dict[str, Any]:
        """What is accepted, in JSON Schema."""
        return fact_json_schema(self._definition)

    @property
    def _definition(self) -> FactDefinition:
        return FactDictionary.shipped()[self._fact]

    def _deserialize(
        self, value: Any, attr: str | None, data: Mapping[str, Any] | None, **_: Any
    ) -> FactValue:
        return fact_value(self._definition, value)


def greatest(fact: str) -> float:
    """The greatest value that a fact may have."""
    return FactDictionary.shipped()[fact].greatest


class FactsOf(StrictField[Facts]):
    """Facts of one scope by name."""

    def __init__(self, scope: Scope, **options: Any) -> None:
        super().__init__(**options)
        self._scope = scope

    @property
    def accepted(self) -> str:
        """What is accepted, in words."""
        return f"an object of facts of a {self._scope}, by name"

    def json_schema(self) -> dict[str, Any]:
        """What is accepted, in JSON Schema."""
        known = self._definitions()
        return {
            "type": "object",
            "properties": {name: fact_json_schema(known[name]) for name in known},
            "additionalProperties": False,
        }

    def _definitions(self) -> dict[str, FactDefinition]:
        dictionary = FactDictionary.shipped()
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
