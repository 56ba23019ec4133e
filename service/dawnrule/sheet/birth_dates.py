"""Dates of birth as people write them: with a year of two digits, the day or the month first."""

from __future__ import annotations

import re
from datetime import date

from dawnrule.schemas.fields import DateOrder
from dawnrule.sheet.datetimes import date_from_text
from dawnrule.sheet.errors import CellError

_SHORT_YEAR = re.compile(r"(?![0-9]{4})(?P<before>.*[./\s'-])(?P<year>[0-9]{2})")
_LIKE_A_DATE = re.compile(r"[0-9]{1,4}[./-][0-9]{1,2}[./-][0-9]{1,4}")
_CENTURY = 100


def has_short_year(text: str) -> bool:
    """Tell whether a date is written with a year of two digits."""
    return bool(_SHORT_YEAR.fullmatch(text))


def is_like_a_date(text: str) -> bool:
    """Tell whether a text is three numbers as dates have them, whatever they say."""
    return bool(_LIKE_A_DATE.fullmatch(text))


def birth_dates(text: str, today: date) -> list[date]:
    """List the days that a date of birth may mean, the earliest first. A year of two digits is the
    last such one that has begun."""
    if short := _SHORT_YEAR.fullmatch(text):
        year = int(short["year"]) + today.year // _CENTURY * _CENTURY
        text = f"{short['before']}{year if year <= today.year else year - _CENTURY}"
    if alone := _read(text, None):
        return [alone]
    days = {_read(text, order) for order in DateOrder}
    return sorted(day for day in days if day)


def _read(text: str, order: DateOrder | None) -> date | None:
    try:
        return date_from_text(text, order)[0]
    except CellError:
        return None
