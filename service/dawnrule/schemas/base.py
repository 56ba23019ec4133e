"""Base classes of all schemas: strict objects, lists and values.

Nothing is converted on the way in: ``"4"`` is not 4. A field says in words and in JSON Schema
what it takes, and both are asked for only when they are needed, so that no data file is read
before.
"""

from __future__ import annotations

import math
from abc import abstractmethod
from collections.abc import Callable, Collection, Iterable, Mapping
from difflib import get_close_matches
from typing import Any, ClassVar, TypeVar

from marshmallow import Schema, ValidationError, fields, missing, post_load
from marshmallow.types import ErrorMessages

from dawnrule.i18n.lazy import lazy, lazy_number
from dawnrule.model.serialization import to_json

T = TypeVar("T")

UNKNOWN = "is not a field here"
_AN_OBJECT = "must be an object"
_LEAVE_OUT = "leave it out when there is nothing to say"
_SUGGESTED_FOR_AT_MOST = 20  # names; a body full of unknown names is no typing error

_SCHEMA_MESSAGES = {"type": _AN_OBJECT, "unknown": UNKNOWN}
_OBJECT_MESSAGES: ErrorMessages = {
    "required": "is missing; it must be an object",
    "null": f"{_AN_OBJECT}; {_LEAVE_OUT}",
    "type": _AN_OBJECT,
}
_FIELD_SENTENCES: ErrorMessages = {
    "required": "field.missing",
    "null": "field.blank",
    "invalid": "field.wrong",
}
"""Names in the catalogue: sheets are answered in the language of their sender."""


class StrictSchema(Schema):
    """An object that refuses what it does not know, by name, with the nearest name it knows.

    An answer has the members of the objects named in ``flattened`` as if they were its own, and
    lacks a member named in ``left_out`` that is None. Input becomes an ``entity``, if one is named.
    """

    error_messages = _SCHEMA_MESSAGES
    flattened: ClassVar[tuple[str, ...]] = ()
    left_out: ClassVar[tuple[str, ...]] = ()
    entity: ClassVar[type[Any] | None] = None

    @post_load
    def _as_entity(self, data: dict[str, Any], **_: Any) -> Any:
        return self.entity(**data) if self.entity else data

    def get_attribute(self, obj: Any, attr: str, default: Any) -> Any:
        """Look up a member of an answer."""
        owner = obj
        if self.flattened and not hasattr(obj, attr):
            parts = (getattr(obj, part) for part in self.flattened)
            owner = next((part for part in parts if hasattr(part, attr)), obj)
        value = super().get_attribute(owner, attr, default)
        return missing if value is None and attr in self.left_out else value

    def handle_error(self, error: ValidationError, data: Any, *, many: bool, **_: Any) -> None:
        """Put the unknown names last, in their order, and suggest what they may have meant."""
        messages: Any = error.messages
        unknown = sorted(name for name, found in messages.items() if found == [UNKNOWN])
        known = [field.data_key or name for name, field in self.load_fields.items()]
        hints = unknown_names(unknown, known, "fields")
        for name in unknown:
            del messages[name]
        messages.update(hints)


def unknown_names(names: Iterable[str], known: Collection[str], what: str) -> dict[str, list[str]]:
    """Return a message for each unknown name: the nearest known one, or all there are."""
    listed = f"; the {what} are {', '.join(known)}"
    found: dict[str, list[str]] = {}
    for name in names:
        hint = did_you_mean(name, known) if len(found) < _SUGGESTED_FOR_AT_MOST else ""
        found[name] = [UNKNOWN + (hint or listed)]
    return found


def did_you_mean(word: str, known: Collection[str]) -> str:
    """Suggest the nearest known word: ``; did you mean …?``; empty when none is near."""
    near = get_close_matches(word.lower(), known, n=1)
    return lazy("field.did_you_mean", word=near[0]) if near else ""


class StrictField(fields.Field[T]):
    """A value that is taken as it is or refused."""

    default_error_messages = _FIELD_SENTENCES

    @property
    @abstractmethod
    def accepted(self) -> str:
        """Describe what is accepted, in words that follow "must be"."""

    @abstractmethod
    def json_schema(self) -> dict[str, Any]:
        """Describe what is accepted in JSON Schema, null aside."""

    def _validate(self, value: Any) -> None:
        """Spare a field without further validators the making of one that does nothing."""
        if self.validators:
            super()._validate(value)

    def make_error(self, key: str, **values: Any) -> ValidationError:
        """Build the error of a key of the sentences; a ``hint`` may follow what is accepted."""
        filled_in = {"accepted": self.accepted, "hint": ""} | values
        return ValidationError(lazy(str(self.error_messages[key]), **filled_in))


class Object(fields.Nested):
    """An object inside another."""

    default_error_messages = _OBJECT_MESSAGES


class Entity(Object):
    """An object that goes out in its stored form: what was not reported is left out."""

    def _serialize(self, *args: Any, **_: Any) -> Any:
        value, *_names = args
        return None if value is None else to_json(value)


class Timestamp(fields.String):
    """A moment or a date that goes out in RFC 3339."""

    def _serialize(self, value: Any, attr: str | None, obj: Any, **_: Any) -> str | None:
        return None if value is None else str(value.isoformat())


class ListOf(StrictField[tuple[Any, ...]]):
    """A list of values of one kind, perhaps of no fewer and no more than so many; it becomes a
    tuple."""

    def __init__(
        self,
        item: fields.Field[Any],
        *,
        at_least: int = 0,
        at_most: Callable[[], float] | None = None,
        **options: Any,
    ) -> None:
        super().__init__(**options)
        self.item = item
        self._at_least = at_least
        self._at_most = at_most or (lambda: math.inf)

    @property
    def accepted(self) -> str:
        """Describe what is accepted, in words."""
        at_most = self._at_most()
        if self._at_least:
            return lazy("field.list_of", least=self._at_least, most=lazy_number(at_most))
        if math.isinf(at_most):
            return lazy("field.a_list")
        return lazy("field.list_of_at_most", most=lazy_number(at_most))

    def json_schema(self) -> dict[str, Any]:
        """Describe what is accepted, in JSON Schema, without ``items``."""
        at_most = self._at_most()
        schema: dict[str, Any] = {"type": "array"}
        schema |= {"minItems": self._at_least} if self._at_least else {}
        return schema | ({} if math.isinf(at_most) else {"maxItems": int(at_most)})

    def _serialize(self, value: Any, attr: str | None, obj: Any, **_: Any) -> list[Any] | None:
        if value is None:
            return None
        return [self.item._serialize(one, attr or "", obj) for one in value]

    def _deserialize(
        self, value: Any, attr: str | None, data: Mapping[str, Any] | None, **_: Any
    ) -> tuple[Any, ...]:
        if not isinstance(value, list) or not self._at_least <= len(value) <= self._at_most():
            raise self.make_error("invalid")
        return tuple(_each(dict(enumerate(value)), self.item).values())


class ByName(StrictField[dict[str, Any]]):
    """An object whose names come from a closed list of words, with values of one kind."""

    def __init__(
        self, names: Callable[[], Collection[str]], item: fields.Field[Any], **options: Any
    ) -> None:
        super().__init__(**options)
        self._names = names
        self.item = item

    @property
    def accepted(self) -> str:
        """Describe what is accepted, in words."""
        return f"an object with names out of {', '.join(self._names())}"

    def json_schema(self) -> dict[str, Any]:
        """Describe what is accepted, in JSON Schema, without ``additionalProperties``."""
        return {"type": "object", "propertyNames": {"enum": list(self._names())}}

    def _deserialize(
        self, value: Any, attr: str | None, data: Mapping[str, Any] | None, **_: Any
    ) -> dict[str, Any]:
        if not isinstance(value, dict):
            raise self.make_error("invalid")
        known = self._names()
        unknown = [name for name in value if name not in known]
        faults: dict[Any, Any] = dict(unknown_names(unknown, known, "names"))
        try:
            let_in = _each({name: value[name] for name in value if name in known}, self.item)
        except ValidationError as error:
            faults = {**error.messages_dict, **faults}
        if faults:
            raise ValidationError(faults)
        return let_in


def _each(values: Mapping[Any, Any], item: fields.Field[Any]) -> dict[Any, Any]:
    """Validate every value with one field. Raises ``ValidationError`` with the faults by key."""
    let_in: dict[Any, Any] = {}
    faults: dict[Any, Any] = {}
    for key, value in values.items():
        try:
            let_in[key] = item.deserialize(value)
        except ValidationError as error:
            faults[key] = error.messages
    if faults:
        raise ValidationError(faults)
    return let_in
