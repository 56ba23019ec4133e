"""Which check-ins do the tests of the interface send?"""

from __future__ import annotations

import copy
import json
from typing import Any

from dawnrule.schemas import check_in, session

EXAMPLE: dict[str, Any] = dict(check_in.EXAMPLE)
"""The whole of what a check-in can say."""

SESSION: dict[str, Any] = dict(session.EXAMPLE)
"""Most of what a session can say: the evening before the example's morning."""

DAY_OFF: dict[str, Any] = {"athlete_id": "a-03", "date": "2026-03-09", "plan": []}
"""The least that a check-in can say."""


def changed(pointer: str, value: Any, of: dict[str, Any] = EXAMPLE) -> dict[str, Any]:
    """A check-in with one value put in the place of another, or added."""
    whole = copy.deepcopy(of)
    *around, last = pointer.removeprefix("/").split("/")
    inner: Any = whole
    for step in around:
        inner = inner[int(step)] if isinstance(inner, list) else inner[step]
    inner[int(last) if isinstance(inner, list) else last] = value
    return whole


def without(name: str, of: dict[str, Any] = EXAMPLE) -> dict[str, Any]:
    """A check-in that does not say one thing."""
    return {key: value for key, value in of.items() if key != name}


def as_text(of: dict[str, Any], old: str, new: str) -> bytes:
    """A check-in as JSON text, in which one thing is written otherwise."""
    text = json.dumps(of)
    assert text.count(old) == 1, f"{old} must stand once in the example"
    return text.replace(old, new).encode()
