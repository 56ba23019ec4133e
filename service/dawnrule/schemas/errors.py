"""Validation errors as JSON Pointers, and the schema of problem details."""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from itertools import islice
from typing import Any, TypeVar

from marshmallow import Schema, ValidationError, fields, missing
from marshmallow.fields import Field

from dawnrule.errors import FieldError, InvalidInput
from dawnrule.schemas.base import Object, StrictSchema


class FieldErrorSchema(StrictSchema):
    """One wrong field."""

    pointer = fields.String(
        required=True,
        metadata={"description": "Where it stands in what was sent: a JSON Pointer (RFC 6901)."},
    )
    value = fields.Raw(required=True, metadata={"description": "What came, when it is short."})
    detail = fields.String(required=True, metadata={"description": "What would be accepted."})


class ProblemSchema(StrictSchema):
    """What went wrong, why, and what to do."""

    type = fields.String(
        required=True, metadata={"description": "Address of a page about this kind of problem."}
    )
    title = fields.String(required=True)
    status = fields.Integer(required=True)
    detail = fields.String(required=True)
    instance = fields.String(required=True, metadata={"description": "The address asked for."})
    errors = fields.List(Object(FieldErrorSchema), required=True)
    request_id = fields.String(
        required=True, metadata={"description": "To be named when asking for help."}
    )


T = TypeVar("T")

MOST_ERRORS = 50
"""The most errors in one answer; more help nobody."""

_ECHOED_CHARACTERS = 200
_NAME_CHARACTERS = 200
_OF_THE_OBJECT = "_schema"


def load(schema: Schema, plain: Any) -> Any:
    """Load plain JSON values with a schema. Raises ``InvalidInput`` with every fault."""
    try:
        return schema.load(plain)
    except ValidationError as error:
        raise invalid_input(errors_of(error, plain)) from error


def load_value(field: Field[T], value: Any, name: str) -> T:
    """Load one named value with a field. Raises ``InvalidInput``."""
    try:
        let_in: T = field.deserialize(value)
        return let_in
    except ValidationError as error:
        fault = ValidationError({name: error.messages})
        raise invalid_input(errors_of(fault, {name: value})) from error


def invalid_input(errors: Sequence[FieldError]) -> InvalidInput:
    """Build the error that carries these faults and names the first in its detail."""
    first, others = errors[0], len(errors) - 1
    more = f" And {others} more." if others else ""
    return InvalidInput(f"{first.pointer or 'The body'} {first.detail}.{more}", errors)


def errors_of(error: ValidationError, data: Any) -> list[FieldError]:
    """Return the faults that a schema found in ``data``, each with its JSON Pointer (RFC 6901), the
    value that came (None when it is missing, or too long to say) and what would be accepted."""
    return errors_at(error.messages, data)


def errors_at(messages: Any, data: Any) -> list[FieldError]:
    """Return the faults of marshmallow messages, as ``errors_of`` does."""
    return list(islice(_faults(messages, data, ""), MOST_ERRORS))


def _faults(messages: Any, value: Any, pointer: str) -> Iterator[FieldError]:
    if isinstance(messages, dict):
        for key, inner in messages.items():
            if key == _OF_THE_OBJECT:
                yield from _faults(inner, value, pointer)
            else:
                yield from _faults(inner, _inside(value, key), f"{pointer}/{_escaped(key)}")
        return
    for message in messages:
        yield FieldError(pointer, _echo(value), message)


def _inside(value: Any, key: Any) -> Any:
    try:
        found = value[key]
    except (KeyError, IndexError, TypeError):
        return None
    return None if found is missing else found


def _escaped(key: object) -> str:
    """Escape one step of a JSON Pointer; long names are cut."""
    name = str(key)
    short = name if len(name) <= _NAME_CHARACTERS else f"{name[:_NAME_CHARACTERS]}…"
    return short.replace("~", "~0").replace("/", "~1")


def _echo(value: Any) -> Any:
    """Return a short value as it came; for a long one the pointer has to do."""
    return value if len(json.dumps(value, default=str)) <= _ECHOED_CHARACTERS else None
