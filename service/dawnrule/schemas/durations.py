"""How long something took, as people write it: one reader for pages and sheets."""

from __future__ import annotations

import re

_MINUTES_OF_AN_HOUR = 60
_DECIMAL = r"[0-9]{1,4}(?:[.,][0-9]{1,3})?"
_HOUR = r"h|hrs?|hours?|std\.?|stunden?"
_MINUTE = r"min\.?|mins|minutes?|minuten?|m"
_CLOCK = re.compile(
    rf"(?P<hours>[0-9]{{1,2}}) ?(?::|{_HOUR}) ?(?P<minutes>[0-5]?[0-9]) ?(?:{_MINUTE}|h)?"
)
_HOURS = re.compile(rf"(?P<hours>{_DECIMAL}) ?(?:{_HOUR})?")
_MINUTES = re.compile(rf"(?P<minutes>[0-9]{{1,3}}) ?(?:{_MINUTE})")


def read_hours(text: str) -> float | int | None:
    """Read hours: 7, 7.5, 7,5, 7 h, 7h, 7:30, 7h30, 7 h 30 min or 20 min; None for other text.

    Whole hours written without a decimal are an int, as JSON has them.
    """
    bare = text.strip().lower()
    if clock := _CLOCK.fullmatch(bare):
        return int(clock["hours"]) + int(clock["minutes"]) / _MINUTES_OF_AN_HOUR
    if minutes := _MINUTES.fullmatch(bare):
        return int(minutes["minutes"]) / _MINUTES_OF_AN_HOUR
    if hours := _HOURS.fullmatch(bare):
        number = hours["hours"].replace(",", ".")
        return int(number) if number.isdecimal() else float(number)
    return None


def write_hours(hours: float) -> str:
    """Write hours as a short decimal where that is exact, else with minutes: 7.5, but 7:20."""
    if round(hours, 2) == hours:
        return f"{hours:.2f}".rstrip("0").rstrip(".")
    whole, minutes = divmod(round(hours * _MINUTES_OF_AN_HOUR), _MINUTES_OF_AN_HOUR)
    return f"{whole}:{minutes:02}"
