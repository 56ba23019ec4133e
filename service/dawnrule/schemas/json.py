"""Strict JSON parsing."""

from __future__ import annotations

import json
import math
from collections import Counter
from typing import Any, NoReturn

from dawnrule.errors import MalformedInput

_DEEPEST = 20  # levels; a check-in in a batch has six


def read_json(data: bytes) -> Any:
    """Parse a JSON text in UTF-8; a byte order mark is ignored.

    Raises ``MalformedInput`` for what is not JSON, and for JSON that readers understand
    differently: a name twice in one object, NaN, numbers beyond all bounds, deep nesting.
    """
    try:
        value = json.loads(
            data.decode("utf-8-sig"),
            object_pairs_hook=_object,
            parse_float=_finite,
            parse_constant=_no_constant,
        )
    except UnicodeDecodeError as error:
        raise MalformedInput(f"The JSON is not UTF-8 at byte {error.start}.") from error
    except json.JSONDecodeError as error:
        place = f"line {error.lineno}, column {error.colno}"
        raise MalformedInput(f"The JSON cannot be read at {place}: {error.msg}.") from error
    except ValueError as error:  # a whole number of thousands of digits
        raise MalformedInput("The JSON holds a number that is too long.") from error
    except RecursionError as error:
        raise MalformedInput("The JSON is nested too deeply.") from error
    if data.count(b"{") + data.count(b"[") > _DEEPEST and _is_deeper(value, _DEEPEST):
        raise MalformedInput("The JSON is nested too deeply.")
    return value


def _object(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    value = dict(pairs)
    if len(value) < len(pairs):
        times = Counter(name for name, _ in pairs)
        twice = next(name for name, count in times.items() if count > 1)
        raise MalformedInput(f"The JSON has {_short(twice)} twice in one object.")
    return value


def _finite(text: str) -> float:
    number = float(text)
    if math.isinf(number):
        raise MalformedInput(f"The JSON holds a number beyond all bounds: {_short(text)}.")
    return number


def _no_constant(word: str) -> NoReturn:
    raise MalformedInput(f"The JSON holds {word}, which is no number.")


def _short(text: str) -> str:
    return repr(text[:40])


def _is_deeper(value: Any, levels: int) -> bool:
    if isinstance(value, dict):
        value = value.values()
    elif not isinstance(value, list):
        return False
    return levels == 0 or any(_is_deeper(inner, levels - 1) for inner in value)
