"""Amounts as people write them: lengths of time, ratings, sets and repetitions."""

from __future__ import annotations

import re
from datetime import datetime, time, timedelta

from dawnrule.model import FactDictionary
from dawnrule.schemas.durations import read_hours
from dawnrule.sheet.columns import Column

_BARE = re.compile("[+-]?[0-9]+(?:[.,][0-9]+)*")
_OUT_OF_TEN = re.compile(r"(?P<amount>[0-9]{1,2}(?:[.,][0-9])?)\s*(?:/|of|out of|von)\s*10")
_DASH = "[-\N{EN DASH}]"
_SETS_BY_REPS = re.compile(
    "(?P<sets>[0-9]{1,2}) *(?:[x\N{MULTIPLICATION SIGN}*]|sets of) *(?P<least>[0-9]{1,3})"
    f"(?: *{_DASH} *(?P<most>[0-9]{{1,3}}))?",
    re.IGNORECASE,
)
_FROM_TO = re.compile(f"(?P<least>[0-9]{{1,3}}) *{_DASH} *(?P<most>[0-9]{{1,3}})")
_MINUTES_OF_AN_HOUR = 60
_SECONDS_OF_AN_HOUR = 3600
_TEN = 10
_HOURS, _MINUTES = "h", "min"


def unit_of_time(column: Column) -> str | None:
    """Return h or min for a column that holds a length of time, else None."""
    if column.name == "naps_hours":
        return _HOURS
    unit = FactDictionary.bundled()[column.fact].unit if column.fact else None
    return unit if unit in (_HOURS, _MINUTES) else None


def length_of_time(column: Column, text: str) -> float | None:
    """Read a length of time like 7h30, 7:15 or 50 min in the unit of its column; None for another
    text, and for a bare number, which is in the column's unit already."""
    unit = unit_of_time(column)
    if unit is None or _BARE.fullmatch(text):
        return None
    hours = read_hours(text)
    return None if hours is None else _in_unit(hours, unit)


def length_from_value(column: Column, cell: object) -> float | None:
    """Read a time of day or a length of time of a workbook as a length; None for another value."""
    unit = unit_of_time(column)
    match cell:
        case _ if unit is None:
            return None
        case timedelta():
            return _in_unit(cell.total_seconds() / _SECONDS_OF_AN_HOUR, unit)
        case time():
            return _in_unit(cell.hour + cell.minute / _MINUTES_OF_AN_HOUR, unit)
        case datetime() if cell.year <= 1900:  # a length that a program shows as a time
            return _in_unit(cell.hour + cell.minute / _MINUTES_OF_AN_HOUR, unit)
        case _:
            return None


def _in_unit(hours: float, unit: str) -> float:
    amount = hours if unit == _HOURS else round(hours * _MINUTES_OF_AN_HOUR, 2)
    return int(amount) if float(amount).is_integer() else amount


def rating_out_of_ten(column: Column, text: str) -> str | None:
    """Return the number of a rating like 2/10, for a column that is rated to ten; None for another
    text."""
    found = _OUT_OF_TEN.fullmatch(text.strip())
    return found["amount"] if found and column.greatest == _TEN else None


def sets_and_reps(text: str) -> tuple[int, int] | None:
    """Read 4 x 8 as four sets of eight, and 4 x 8-12 as four of twelve, the most that may be asked;
    None for another text."""
    found = _SETS_BY_REPS.fullmatch(text.strip())
    return (int(found["sets"]), int(found["most"] or found["least"])) if found else None


def most_of_range(text: str) -> int | None:
    """Return the greater number of a range like 8-12; None for another text."""
    found = _FROM_TO.fullmatch(text.strip())
    if not found or int(found["least"]) > int(found["most"]):
        return None
    return int(found["most"])
