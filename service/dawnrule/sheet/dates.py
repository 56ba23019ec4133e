"""Which day does a cell name?"""

from __future__ import annotations

import re
from collections.abc import Iterator
from datetime import date, datetime, timedelta
from typing import TypeAlias

from dawnrule.schemas.date_order import DateOrder
from dawnrule.sheet.faults import CellError
from dawnrule.vocabulary.said import Said, say, say_all

FROM_SERIAL = "sheet.from_serial"

_NUMBERS = re.compile(r"([0-9]{1,4})([./-])([0-9]{1,2})\2([0-9]{1,4})\.?")
_SERIAL = re.compile(r"[0-9]{5}")
_MIDNIGHT = re.compile(r"[T ]+0?0:00(:00(\.0+)?)?\Z", re.IGNORECASE)
_DAY_ZERO = date(1899, 12, 30)  # of the serial numbers in which spreadsheet programs count days
_YEAR_DIGITS, _SHORT_YEAR_DIGITS = 4, 2
_CENTURY = 2000
_DOT = "."
_NO_DATE = "sheet.date"
_ORDERS = {
    DateOrder.DAY_MONTH_YEAR: "sheet.order_day_month_year",
    DateOrder.MONTH_DAY_YEAR: "sheet.order_month_day_year",
    DateOrder.YEAR_MONTH_DAY: "sheet.order_year_month_day",
}
_PLACES = {
    DateOrder.DAY_MONTH_YEAR: (2, 1, 0),
    DateOrder.MONTH_DAY_YEAR: (2, 0, 1),
    DateOrder.YEAR_MONTH_DAY: (0, 1, 2),
}
"""Where year, month and day stand among a date's numbers."""

Numbers: TypeAlias = tuple[str, str, str]


def date_of_text(text: str, declared: DateOrder | None) -> tuple[date, str]:
    """The day that a cell's text names, and how it was read where people should hear of it.

    A year of four digits in front stands before month and day, as in ISO 8601. Others have the
    declared order; without one 9.3.2026 has its day first, as dates with dots are written, and
    what else has more than one reading is refused. Raises ``CellError``.
    """
    found = _NUMBERS.fullmatch(_MIDNIGHT.sub("", text))
    if not found:
        raise CellError(say(_NO_DATE))
    numbers = (found[1], found[3], found[4])
    if len(found[1]) == _YEAR_DIGITS:
        return _in_order(numbers, DateOrder.YEAR_MONTH_DAY), ""
    order = declared or (DateOrder.DAY_MONTH_YEAR if found[2] == _DOT else None)
    order = order or _only_order(numbers)
    is_long = len(found[4]) == _YEAR_DIGITS
    how = say("sheet.in_an_order", order=_named(order)) if is_long else say("sheet.short_year")
    return _in_order(numbers, order), how


def is_serial(text: str) -> bool:
    """Whether a text is a day as spreadsheet programs count them: 46090."""
    return bool(_SERIAL.fullmatch(text))


def date_of_serial(number: float) -> date:
    """The day of a serial number. Raises ``CellError`` where the number has none."""
    if not float(number).is_integer():
        raise CellError(say("sheet.date_has_time"))
    try:
        return _DAY_ZERO + timedelta(days=int(number))
    except OverflowError as error:
        raise CellError(say(_NO_DATE)) from error


def moment_of_serial(number: float) -> datetime:
    """The local time of a serial number, to the second. Raises ``CellError``."""
    start = datetime.combine(_DAY_ZERO, datetime.min.time())
    try:
        moment = start + timedelta(days=number)
    except OverflowError as error:
        raise CellError(say("sheet.moment")) from error
    half_second = timedelta(seconds=1) / 2
    return (moment + half_second).replace(microsecond=0)


def _in_order(numbers: Numbers, order: DateOrder) -> date:
    year, month, day = (numbers[place] for place in _PLACES[order])
    if len(year) not in (_SHORT_YEAR_DIGITS, _YEAR_DIGITS):
        raise CellError(say("sheet.no_year", order=_named(order)))
    century = _CENTURY if len(year) == _SHORT_YEAR_DIGITS else 0
    try:
        return date(century + int(year), int(month), int(day))
    except ValueError as error:
        raise CellError(say("sheet.no_day", order=_named(order))) from error


def _only_order(numbers: Numbers) -> DateOrder:
    """The first order that gives a day, if all that give one give the same."""
    readings = dict(_readings(numbers))
    days = sorted(set(readings.values()))
    if len(days) == 1:
        return next(iter(readings))
    if not days:
        raise CellError(say("sheet.no_day_at_all"))
    each = (say("sheet.one_date", day=d, order=_named(order)) for order, d in readings.items())
    either = say_all(each, say("sheet.or"))
    raise CellError(say("sheet.two_dates", either=either, day=days[0]))


def _named(order: DateOrder) -> Said:
    return say(_ORDERS[order])


def _readings(numbers: Numbers) -> Iterator[tuple[DateOrder, date]]:
    for order in DateOrder:
        try:
            yield order, _in_order(numbers, order)
        except CellError:
            continue
