"""Temperatures of the body as people write of them: temp 39, 39.2 °C."""

from __future__ import annotations

import re
from functools import cache

from dawnrule.sheet.words import SheetWords, words_of

_NUMBER = r"(?<![0-9])(?<![0-9][.,:/-])[0-9]{2}(?:[.,][0-9]{1,2})?(?![0-9:/-]|[.,][0-9])"
_NUMBERS = re.compile(_NUMBER)
_CELSIUS = re.compile(
    rf"(?:(?P<before>[^\W\d_]+)\s+)?{_NUMBER}\s*(?:°\s*C|C|(?:degrees?\s+|°\s*)?Celsius)\b",
    re.IGNORECASE,
)


def is_fever(part: str) -> bool:
    """Tell whether a part of a comment says a temperature of the body, in degrees Celsius, that is
    a fever. Where it may be the weather's, or one of several is lower, it is not said."""
    known = SheetWords.bundled().body_temperature
    words = set(words_of(part))
    if not words.isdisjoint(known["around"]):
        return False
    if words.isdisjoint(known["words"]) and not _names_degrees(part):
        return False
    numbers = [float(number.replace(",", ".")) for number in _NUMBERS.findall(part)]
    of_bodies = [one for one in numbers if known["lowest"] <= one <= known["highest"]]
    return bool(of_bodies) and min(of_bodies) >= known["fever"]


def may_be_temperature(text: str) -> bool:
    """Tell whether a text has a number of degrees Celsius."""
    return _CELSIUS.search(text) is not None


@cache
def words_of_temperature() -> frozenset[str]:
    """Return the words beside which a number may be a temperature."""
    return frozenset(SheetWords.bundled().body_temperature["words"])


def _names_degrees(part: str) -> bool:
    """Tell whether a number has its unit, and is not where somebody was, as in: ran in 39 °C."""
    before = SheetWords.bundled().body_temperature["before"]
    found = _CELSIUS.search(part)
    return found is not None and (found["before"] or "").casefold() not in before
