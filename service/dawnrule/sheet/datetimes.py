"""Which day does a cell name?"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from typing import TypeAlias
from zoneinfo import ZoneInfo

from dawnrule.i18n.lazy import LazyText, lazy, lazy_join
from dawnrule.schemas.fields import DateOrder
from dawnrule.sheet.errors import CellError

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
        raise CellError(lazy(_NO_DATE))
    numbers = (found[1], found[3], found[4])
    if len(found[1]) == _YEAR_DIGITS:
        return _in_order(numbers, DateOrder.YEAR_MONTH_DAY), ""
    order = declared or (DateOrder.DAY_MONTH_YEAR if found[2] == _DOT else None)
    order = order or _only_order(numbers)
    is_long = len(found[4]) == _YEAR_DIGITS
    how = lazy("sheet.in_an_order", order=_named(order)) if is_long else lazy("sheet.short_year")
    return _in_order(numbers, order), how


def is_serial(text: str) -> bool:
    """Whether a text is a day as spreadsheet programs count them: 46090."""
    return bool(_SERIAL.fullmatch(text))


def date_of_serial(number: float) -> date:
    """The day of a serial number. Raises ``CellError`` where the number has none."""
    if not float(number).is_integer():
        raise CellError(lazy("sheet.date_has_time"))
    try:
        return _DAY_ZERO + timedelta(days=int(number))
    except OverflowError as error:
        raise CellError(lazy(_NO_DATE)) from error


def moment_of_serial(number: float) -> datetime:
    """The local time of a serial number, to the second. Raises ``CellError``."""
    start = datetime.combine(_DAY_ZERO, datetime.min.time())
    try:
        moment = start + timedelta(days=number)
    except OverflowError as error:
        raise CellError(lazy("sheet.moment")) from error
    half_second = timedelta(seconds=1) / 2
    return (moment + half_second).replace(microsecond=0)


def _in_order(numbers: Numbers, order: DateOrder) -> date:
    year, month, day = (numbers[place] for place in _PLACES[order])
    if len(year) not in (_SHORT_YEAR_DIGITS, _YEAR_DIGITS):
        raise CellError(lazy("sheet.no_year", order=_named(order)))
    century = _CENTURY if len(year) == _SHORT_YEAR_DIGITS else 0
    try:
        return date(century + int(year), int(month), int(day))
    except ValueError as error:
        raise CellError(lazy("sheet.no_day", order=_named(order))) from error


def _only_order(numbers: Numbers) -> DateOrder:
    """The first order that gives a day, if all that give one give the same."""
    readings = dict(_readings(numbers))
    days = sorted(set(readings.values()))
    if len(days) == 1:
        return next(iter(readings))
    if not days:
        raise CellError(lazy("sheet.no_day_at_all"))
    each = (lazy("sheet.one_date", day=d, order=_named(order)) for order, d in readings.items())
    either = lazy_join(each, lazy("sheet.or"))
    raise CellError(lazy("sheet.two_dates", either=either, day=days[0]))


def _named(order: DateOrder) -> LazyText:
    return lazy(_ORDERS[order])


def _readings(numbers: Numbers) -> Iterator[tuple[DateOrder, date]]:
    for order in DateOrder:
        try:
            yield order, _in_order(numbers, order)
        except CellError:
            continue


LOCAL = "sheet.local"

_PARTS = re.compile(
    r"(?:(?P<day>[0-9./-]+)[T ]+)?(?P<hour>[0-9]{1,2}):(?P<minute>[0-9]{2})"
    r"(?::(?P<second>[0-9]{2})(?:[.,][0-9]{1,9})?)?"
    r"(?: ?(?P<half>[AP])\.?M\.?)?(?: ?(?P<offset>Z|[+-][0-9]{2}:?[0-9]{2}))?",
    re.IGNORECASE,
)
_DAY_ALONE = re.compile(r"[0-9]+[./-][0-9]+[./-][0-9]+\.?")
_NOON = 12
_AFTER_NOON = "P"


@dataclass(frozen=True, slots=True)
class Where:
    """What a row's cells are read with: the declared date order, the time zone of the athlete and
    how that is told, if not as where the athlete lives, and the row's date, if it is known."""

    date_order: DateOrder | None
    zone: ZoneInfo
    zone_in_words: str = ""
    day: date | None = None

    def told(self, how: str) -> str:
        """A reading of local times, as people are told of it; ``how`` is its sentence's name."""
        return lazy(how, where=self.zone_in_words or lazy("sheet.where_athlete_lives"))


def moment_of_text(text: str, where: Where, *, on_the_date: bool = False) -> tuple[str, str]:
    """The moment that a cell's text names, as RFC 3339, and how it was read where people should
    hear of it. A time alone may be ``on_the_date`` of the row.

    Raises ``CellError``.
    """
    found = _PARTS.fullmatch(text)
    if not found:
        is_day = _DAY_ALONE.fullmatch(text)
        raise CellError(lazy("sheet.moment_has_no_time") if is_day else lazy("sheet.moment"))
    offset, clock = found["offset"], _time_of_day(found)
    if found["day"] is None:
        return moment_on_the_date(clock, where, on_the_date=on_the_date and offset is None)
    day, how = date_of_text(found["day"], where.date_order)
    local = datetime.combine(day, clock)
    if offset is None:
        told = where.told(LOCAL)
        return moment_of_local(local, where.zone), lazy_join((how, told), "; ") if how else told
    return local.isoformat() + _with_colon(offset), how


def moment_on_the_date(clock: time, where: Where, *, on_the_date: bool) -> tuple[str, str]:
    """A time alone, if it may be ``on_the_date`` of its row, as RFC 3339, and how it was read.
    Raises ``CellError``."""
    if where.day is None or not on_the_date:
        raise CellError(lazy("sheet.moment_has_no_date"))
    moment = moment_of_local(datetime.combine(where.day, clock), where.zone)
    return moment, where.told("sheet.on_the_date")


def moment_of_local(local: datetime, zone: ZoneInfo) -> str:
    """A local time with the offset that holds in a time zone, as RFC 3339. Raises ``CellError``
    for one that the clocks skip or show twice there, with what would do."""
    early, late = (local.replace(tzinfo=zone, fold=fold) for fold in (0, 1))
    if early.utcoffset() == late.utcoffset():
        return early.isoformat()
    if _exists(early):
        either = {"early": early.isoformat(), "late": late.isoformat()}
        raise CellError(lazy("sheet.happened_twice", zone=zone, **either))
    shifted = early.astimezone(UTC).astimezone(zone)
    raise CellError(lazy("sheet.did_not_happen", zone=zone, shifted=shifted.isoformat()))


def moment_of_day(day: date) -> str:
    """Raises ``CellError``: a day is no moment."""
    raise CellError(lazy("sheet.day_has_no_time", day=day))


def _exists(moment: datetime) -> bool:
    there_and_back = moment.astimezone(UTC).astimezone(moment.tzinfo)
    return there_and_back.replace(tzinfo=None) == moment.replace(tzinfo=None, fold=0)


def _time_of_day(found: re.Match[str]) -> time:
    hour, half = int(found["hour"]), found["half"]
    if half and not 0 < hour <= _NOON:
        raise CellError(lazy("sheet.no_such_hour"))
    if half:
        hour = hour % _NOON + (_NOON if half.upper() == _AFTER_NOON else 0)
    try:
        return time(hour, int(found["minute"]), int(found["second"] or 0))
    except ValueError as error:
        raise CellError(lazy("sheet.no_such_time")) from error


def _with_colon(offset: str) -> str:
    if offset.upper() == "Z":
        return "Z"
    sign_and_hours, minutes = offset.replace(":", "")[:-2], offset[-2:]
    return f"{sign_and_hours}:{minutes}"
