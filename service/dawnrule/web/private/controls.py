"""The controls of the check-in page, by name, and what their texts stand for.

A control reads text into a JSON value and writes a value as text. Text that cannot be read stays
text, for the schema to refuse.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from dawnrule.model import is_number
from dawnrule.schemas.durations import read_hours, write_hours

YES, NO = "yes", "no"
CHOICES = (YES, NO)

_DECIMAL = re.compile(r"-?[0-9]{1,4}([.,][0-9]{1,3})?")
_COMMA_OF_A_DECIMAL = re.compile(r"(?<=[0-9]),(?=[0-9])")
_WHOLE = re.compile(r"[0-9]{1,3}")
_BETWEEN_TRIALS = re.compile(r"\s*[;/]\s*|,\s+|\s+")


@dataclass(frozen=True, slots=True)
class Control:
    """How the text of a control becomes a JSON value, and back."""

    read: Callable[[str], Any]
    write: Callable[[Any], str]

    def value(self, text: str, before: Any) -> Any:
        """Return the value of a text; of one that nobody changed it is the value ``before``, which
        the text may have rounded."""
        is_unchanged = before is not None and _with_point(text) == self.write(before)
        return before if is_unchanged else self.read(text)


def _with_point(text: str) -> str:
    """Write decimals with a point, as controls do."""
    return _COMMA_OF_A_DECIMAL.sub(".", text)


def is_between(text: str) -> bool:
    """Return whether a text is a rating between two whole ones."""
    return "." in text and bool(_DECIMAL.fullmatch(text))


def _decimal(text: str) -> float | int | str:
    if not _DECIMAL.fullmatch(text):
        return text
    return int(text) if text.isdecimal() else float(text.replace(",", "."))


def _decimal_text(value: Any) -> str:
    """Write a number with two decimals at the most; other values come as they are."""
    if not is_number(value):
        return str(value)
    return f"{value:.2f}".rstrip("0").rstrip(".")


def _number(*units: str) -> Control:
    """Build a control for a number, which may have its unit after it."""

    def read(text: str) -> float | int | str:
        bare = next((text.removesuffix(unit) for unit in units if text.endswith(unit)), text)
        number = _decimal(bare.rstrip())
        return text if isinstance(number, str) else number

    return Control(read, _decimal_text)


def _read_whole(text: str) -> int | str:
    return int(text) if _WHOLE.fullmatch(text) else text


def _read_hours(text: str) -> float | int | str:
    hours = read_hours(text)
    return text if hours is None else hours


def _hours_text(value: Any) -> str:
    return write_hours(value) if is_number(value) else str(value)


def _read_yes_or_no(text: str) -> bool | str:
    return text == YES if text in CHOICES else text


def _yes_or_no_text(value: Any) -> str:
    return YES if value else NO


def _read_trials(text: str) -> Any:
    """Read one number or several; one that cannot be read leaves the text as it is."""
    trials = [_decimal(trial) for trial in _BETWEEN_TRIALS.split(text.removesuffix("cm").strip())]
    if any(isinstance(trial, str) for trial in trials):
        return text
    return trials[0] if len(trials) == 1 else trials


def _trials_text(value: Iterable[Any]) -> str:
    return " ".join(_decimal_text(trial) for trial in value)


HOURS_SLEPT = tuple(_decimal_text(half / 2) for half in range(8, 21))
"""The hours of a night that can be tapped, from 4 to 10; others are written."""

_TEXT = Control(str, str)
_WHOLE_NUMBER = Control(_read_whole, str)
_HOURS = Control(_read_hours, _hours_text)
_YES_OR_NO = Control(_read_yes_or_no, _yes_or_no_text)
_DEGREES = _number("°C", "° C", "°", "C")
RATING = _number()

ANSWERS: Mapping[str, Control] = {
    "sleep/hours": _HOURS,
    "sleep/quality": _WHOLE_NUMBER,
    "sleep/naps_hours": _HOURS,
    "fatigue": RATING,
    "stress": RATING,
    "illness": _TEXT,
    "temperature_c": _DEGREES,
    "fever_medicine": _YES_OR_NO,
    "jump_height_cm": Control(_read_trials, _trials_text),
    "grip_kg": _number("kg"),
    "heat/temperature_c": _DEGREES,
    "heat/humidity_percent": _number("%"),
    "heat/wbgt_c": _DEGREES,
    "heat/acclimatised": _YES_OR_NO,
    "takes/caffeine_mg": _number("mg"),
    "takes/bicarbonate_g": _number("g"),
    "takes/creatine_g": _number("g"),
    "takes/other": _TEXT,
}
"""The controls that are one value of a check-in each, at the place that their name says."""

OF_A_PAIN: Mapping[str, Control] = {
    "where": _TEXT,
    "kind": _TEXT,
    "place": _TEXT,
    "side": _TEXT,
    "severity": RATING,
    "onset": _TEXT,
    "after": _TEXT,
    "numbness": _YES_OR_NO,
    "warm": _YES_OR_NO,
    "swollen": _YES_OR_NO,
}
"""The controls of one pain, beside its muscle groups."""

OF_OWN_SESSION: Mapping[str, Control] = {
    "goal": _TEXT,
    "modality": _TEXT,
    "effort": RATING,
    "new_exercise": _YES_OR_NO,
    "to_failure": _YES_OR_NO,
}
"""The controls of a session of one's own, beside its muscle groups and its start."""
