"""Serialization: entities, advice and records to JSON values and back, by one converter.

The JSON form is that of the interface. Nothing is validated: the schemas have accepted the data
before, or the service has written it itself.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from datetime import date, datetime
from functools import cache
from types import NoneType
from typing import Any, TypeVar, get_args, get_origin

import rfc8785
from cattrs import Converter
from cattrs.fns import identity
from cattrs.gen import make_dict_structure_fn, make_dict_unstructure_fn, override

from dawnrule.model.advice import Advice, Alternative, Change, Note, blocks_of
from dawnrule.model.concerns import (
    Clearance,
    ConcernEvent,
    PainSite,
    Restriction,
    Restrictions,
)
from dawnrule.model.entities import (
    Athlete,
    BarSpeed,
    Block,
    CheckIn,
    Competition,
    Heat,
    LastTrained,
    Pain,
    PlanPhase,
    Rating,
    RecordedAthlete,
    Session,
    Sleep,
    Takes,
)
from dawnrule.model.fact_dictionary import Facts, FactValue

T = TypeVar("T")

_OMITS_DEFAULTS = (
    Alternative,
    BarSpeed,
    Block,
    LastTrained,
    Note,
    Pain,
    Sleep,
    Heat,
    Takes,
    Session,
    Competition,
    RecordedAthlete,
    Athlete,
    PainSite,
    Restrictions,
    Restriction,
    Clearance,
    ConcernEvent,
)
"""What is held by another stands before it."""


_PLAIN = frozenset({str, bool, int, float})


def _is_tuple_of_one_kind(kind: Any) -> bool:
    return get_origin(kind) is tuple and get_args(kind)[1:] == (Ellipsis,)


def _if_present(kind: Any) -> Any:
    """Return the kind of a value that may be None; None where it may not, or be of several."""
    others = [one for one in get_args(kind) if one is not NoneType]
    return others[0] if len(others) == 1 and NoneType in get_args(kind) else None


def _tuple_hook(kind: Any, converter: Converter) -> Callable[[Any, Any], Any]:
    """Look up how members are read once, not at each tuple."""
    member = get_args(kind)[0]
    if member in _PLAIN:
        return lambda values, _: tuple(map(member, values))
    read = converter.get_structure_hook(member)
    return lambda values, _: tuple([read(value, member) for value in values])


def _optional_hook(kind: Any, converter: Converter) -> Callable[[Any, Any], Any]:
    present = _if_present(kind)
    if present in _PLAIN:
        return lambda value, _: None if value is None else present(value)
    read = converter.get_structure_hook(present)
    return lambda value, _: None if value is None else read(value, present)


@cache
def _converter() -> Converter:
    """Make the converter when something is converted first: a sheet's advice as text needs none."""
    converter = Converter(detailed_validation=False)
    converter.register_structure_hook_factory(_is_tuple_of_one_kind, _tuple_hook)
    converter.register_structure_hook_factory(
        lambda kind: _if_present(kind) is not None, _optional_hook
    )
    converter.register_unstructure_hook_func(lambda kind: _if_present(kind) in _PLAIN, identity)
    converter.register_unstructure_hook(datetime, datetime.isoformat)
    converter.register_unstructure_hook(date, date.isoformat)
    converter.register_structure_hook(datetime, lambda text, _: datetime.fromisoformat(text))
    converter.register_structure_hook(date, lambda text, _: date.fromisoformat(text))
    converter.register_structure_hook(FactValue, lambda value, _: value)
    for rating in (Rating, Rating | None):
        converter.register_structure_hook(rating, lambda value, _: value)
    converter.register_structure_hook_func(lambda kind: kind == Facts, lambda facts, _: facts)
    converter.register_unstructure_hook_func(lambda kind: kind == Facts, dict)
    first, last = override(rename="from"), override(rename="until")
    converter.register_unstructure_hook(
        PlanPhase, make_dict_unstructure_fn(PlanPhase, converter, first=first, last=last)
    )
    converter.register_structure_hook(
        PlanPhase, make_dict_structure_fn(PlanPhase, converter, first=first, last=last)
    )
    for kind in _OMITS_DEFAULTS:
        converter.register_unstructure_hook(
            kind, make_dict_unstructure_fn(kind, converter, _cattrs_omit_if_default=True)
        )
    converter.register_unstructure_hook(
        CheckIn,
        make_dict_unstructure_fn(
            CheckIn, converter, _cattrs_omit_if_default=True, plan=override(omit_if_default=False)
        ),
    )
    from_member = override(rename="from")
    converter.register_unstructure_hook(
        Change, make_dict_unstructure_fn(Change, converter, before=from_member)
    )
    converter.register_structure_hook(
        Change, make_dict_structure_fn(Change, converter, before=from_member)
    )
    structure_advice = make_dict_structure_fn(Advice, converter)

    def advice_of(values: Mapping[str, Any], kind: type[Advice]) -> Advice:
        """Read advice; one without blocks gets them from its parts."""
        advice: Advice = structure_advice(values, kind)
        return advice if "blocks" in values else replace(advice, blocks=blocks_of(advice.parts))

    converter.register_structure_hook(Advice, advice_of)
    return converter


def to_json(value: object) -> dict[str, Any]:
    """JSON values of an entity, an advice or a record, without what was not reported."""
    values: dict[str, Any] = _converter().unstructure(value)
    return values


def from_json(kind: type[T], values: Mapping[str, Any]) -> T:
    """The entity, advice or record of JSON values that ``to_json`` made.

    Raises ``KeyError``, ``TypeError`` or ``ValueError`` for others.
    """
    return _converter().structure(values, kind)


def from_json_text(kind: type[T], text: str) -> T:
    """The same of a JSON text."""
    return from_json(kind, json.loads(text))


def all_of_json(kind: type[T], texts: Sequence[str]) -> list[T]:
    """The same of several JSON texts, which are parsed together."""
    read = _converter().get_structure_hook(kind)
    found = json.loads(f"[{','.join(texts)}]")
    if len(found) != len(texts):
        raise ValueError("a text of JSON holds one value")
    return [read(values, kind) for values in found]


def canonical_json(values: Any) -> str:
    """JSON values as canonical text (RFC 8785): equal values have equal bytes.

    The encoder of the standard library writes the same bytes, several times as fast, wherever no
    character takes two units of UTF-16, by which names are ordered, and numbers are of everyday
    size; the rest is left to the reference library.
    """
    try:
        text = _encode(_everyday(values))
        # A lone surrogate has no UTF-16.
        if text.isascii() or len(text.encode("utf-16-le")) == _BYTES_OF_A_UNIT * len(text):
            return text
    except (_NotEverydayError, UnicodeEncodeError):
        pass
    return rfc8785.dumps(values).decode("utf-8")


_encode = json.JSONEncoder(
    ensure_ascii=False, allow_nan=False, sort_keys=True, separators=(",", ":")
).encode

_AS_THEY_ARE = frozenset({str, bool, type(None)})
_NAMES = {str}
_BYTES_OF_A_UNIT = 2
_LARGEST_INTEGER = 2**53 - 1
_LEAST_FRACTION = 1e-4  # below, Python writes an exponent and ECMAScript does not


class _NotEverydayError(Exception):
    """Values of which it is not known that both encoders write the same."""


def _everyday(value: Any) -> Any:
    """Return values with whole floats as integers, which is how ECMAScript writes them."""
    kind = type(value)
    if kind is dict:
        if value and set(map(type, value)) != _NAMES:
            raise _NotEverydayError
        return {
            name: member if type(member) in _AS_THEY_ARE else _everyday(member)
            for name, member in value.items()
        }
    if kind is list or kind is tuple:
        return [member if type(member) in _AS_THEY_ARE else _everyday(member) for member in value]
    if kind is float:
        size = abs(value)
        if size <= _LARGEST_INTEGER and value == int(value):
            return int(value)
        if _LEAST_FRACTION <= size <= _LARGEST_INTEGER:
            return value
        raise _NotEverydayError
    if kind in _AS_THEY_ARE or (kind is int and abs(value) <= _LARGEST_INTEGER):
        return value
    if isinstance(value, str):  # words of a vocabulary are enumerations of strings
        return value
    raise _NotEverydayError
