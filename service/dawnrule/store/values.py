"""Stored values: times, dates and JSON as text, rows as dataclasses and back.

Times are UTC text of one width, ``2026-03-09T05:40:00.000000Z``, so that the order of the text
is the order of time. Dates are ``2026-03-09``. Bodies are JSON with sorted keys and no spaces,
so that equal bodies are equal text; numbers live in bodies only, because SQLite would store a
NaN as NULL and refuse a whole number of more than 64 bits.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence
from dataclasses import fields
from datetime import UTC, date, datetime
from functools import cache
from typing import TYPE_CHECKING, Any, TypeVar

from cattrs import Converter

if TYPE_CHECKING:
    from _typeshed import DataclassInstance

T = TypeVar("T", bound="DataclassInstance")


def utc_text(moment: datetime) -> str:
    """Format an aware time for storage; ValueError for a naive one, which could be any zone's."""
    if moment.utcoffset() is None:
        raise ValueError(f"a time needs its zone to be stored: {moment}")
    return moment.astimezone(UTC).isoformat(timespec="microseconds").removesuffix("+00:00") + "Z"


def utc_time(text: str) -> datetime:
    """Read the aware time (UTC) that ``utc_text`` wrote."""
    return datetime.fromisoformat(text)


def json_text(body: Any) -> str:
    """Format plain JSON values for storage; ValueError for NaN and the infinities."""
    return _encode(body)


_encode = json.JSONEncoder(allow_nan=False, separators=(",", ":"), sort_keys=True).encode


_converter = Converter(detailed_validation=False)
_converter.register_unstructure_hook(datetime, utc_text)
_converter.register_unstructure_hook(date, lambda day: day.isoformat())
_converter.register_structure_hook(datetime, lambda text, _: utc_time(text))
_converter.register_structure_hook(date, lambda text, _: date.fromisoformat(text))


def structure(kind: type[T], row: Sequence[Any]) -> T:
    """Convert a row to a dataclass. Columns follow the order of the fields; fields after the last
    column keep their defaults."""
    return _converter.structure(dict(zip(_names(kind), row, strict=False)), kind)


@cache
def _names(kind: type[DataclassInstance]) -> tuple[str, ...]:
    return tuple(field.name for field in fields(kind))


def columns(stored: Any) -> dict[str, Any]:
    """Convert a dataclass to column values by field name: times and dates as text."""
    values: dict[str, Any] = _converter.unstructure(stored)
    return values


def format_ranges(positions: Iterable[int]) -> str:
    """Write ascending positions in short: ``3-9,12``."""
    ranges: list[list[int]] = []
    for position in positions:
        if ranges and ranges[-1][-1] + 1 == position:
            ranges[-1][1:] = [position]
        else:
            ranges.append([position])
    return ",".join("-".join(map(str, ends)) for ends in ranges)


def parse_ranges(text: str) -> list[range]:
    """Read the positions that ``format_ranges`` wrote."""
    ends = (part.split("-") for part in text.split(",") if part)
    return [range(int(pair[0]), int(pair[-1]) + 1) for pair in ends]
