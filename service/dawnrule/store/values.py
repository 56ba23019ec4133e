"""How are times, dates and bodies written in the database?

Times are UTC text of one width, ``2026-03-09T05:40:00.000000Z``, so that the order of the text
is the order of time. Dates are ``2026-03-09``. Bodies are JSON with sorted keys and no spaces,
so that equal bodies are equal text; numbers live in bodies only, because SQLite would store a
NaN as NULL and refuse a whole number of more than 64 bits.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from datetime import UTC, datetime
from typing import Any


def utc_text(moment: datetime) -> str:
    """An aware time as it is stored; ValueError for a naive one, which could be any zone's."""
    if moment.utcoffset() is None:
        raise ValueError(f"a time needs its zone to be stored: {moment}")
    return moment.astimezone(UTC).isoformat(timespec="microseconds").removesuffix("+00:00") + "Z"


def utc_time(text: str) -> datetime:
    """The aware time (UTC) that ``utc_text`` wrote."""
    return datetime.fromisoformat(text)


def json_text(body: Mapping[str, Any]) -> str:
    """A body of plain JSON values as it is stored; ValueError for NaN and the infinities."""
    return json.dumps(body, allow_nan=False, separators=(",", ":"), sort_keys=True)
