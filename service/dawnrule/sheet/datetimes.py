"""Dates and times of cells, as text or as serial numbers of spreadsheet programs."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from typing import TypeAlias
from zoneinfo import ZoneInfo

from dawnrule.i18n.lazy import LazyText, lazy, lazy_join
from dawnrule.schemas.fields import DateOrder
from dawnrule.sheet.errors import CellError
from dawnrule.sheet.people import People
from dawnrule.sheet.words import SheetWords

FROM_SERIAL = "sheet.from_serial"
LOCAL = "sheet.local"
_NUMBERS = re.compile(r"([0-9]{1,4})([./-])([0-9]{1,2})\2([0-9]{1,4})\.?")
_WITHOUT_YEAR = re.compile(r"(?P<first>[0-9]{1,2})(?P<mark>[./-])(?P<second>[0-9]{1,2})\.?")
_SLASHED = re.compile(r"[0-9]{1,2}([/-])[0-9]{1,2}(?:\1(?:[0-9]{2}|[0-9]{4}))?")
_DAY_AND_NAME = re.compile(
    r"(?P<day>[0-9]{1,2})(?:st|nd|rd|th)?[. -]*(?P<name>[^\W\d_]{3,9})"
    r"[., -]*(?P<year>[0-9]{4}|[0-9]{2})?"
)
_NAME_AND_DAY = re.compile(
    r"(?P<name>[^\W\d_]{3,9})[. ]+(?P<day>[0-9]{1,2})(?:st|nd|rd|th)?(?:[, ]+(?P<year>[0-9]{4}))?"
)
_WEEKDAY = re.compile(r"(?P<name>[^\W\d_]{2,10})[.,]*\s+(?=[0-9])")
_LEAP_YEARS = 9  # the longest time without a 29 February
_SERIAL_DATE = re.compile(r"[0-9]{5}")
_MIDNIGHT = re.compile(r"[T ]+0?0:00(:00(\.0+)?)?\Z", re.IGNORECASE)
_PARTS = re.compile(
    r"(?:(?P<day>[0-9./-]+)[T ]+)?(?P<hour>[0-9]{1,2}):(?P<minute>[0-9]{2})"
    r"(?::(?P<second>[0-9]{2})(?:[.,][0-9]{1,9})?)?"
    r"(?: ?(?P<half>[AP])\.?M\.?)?(?: ?(?P<offset>Z|[+-][0-9]{2}:?[0-9]{2}))?",
    re.IGNORECASE,
)
_DATE_ALONE = re.compile(r"[0-9]+[./-][0-9]+[./-][0-9]+\.?")
_DAY_ZERO = date(1899, 12, 30)  # of the serial numbers in which spreadsheet programs count days
_YEAR_DIGITS, _SHORT_YEAR_DIGITS = 4, 2
_CENTURY = 2000
_DOT = "."
_NOON = 12
_AFTER_NOON = "P"
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
"""The places of year, month and day among a date's numbers."""

Numbers: TypeAlias = tuple[str, str, str]


@dataclass(frozen=True, slots=True)
class CellContext:
    """What the cells of a row are read with: the declared date order, the athlete's time zone with
    its description (empty: where the athlete lives), and the row's date, if known. A date without
    its year is the last such before ``today``, or tomorrow; without it, such a date is refused.
    ``people`` has the athletes whom a sheet may name; without it a cell holds an id."""

    date_order: DateOrder | None
    zone: ZoneInfo
    zone_in_words: str = ""
    day: date | None = None
    today: date | None = None
    people: People | None = None

    def interpretation(self, name: str) -> LazyText:
        """Say how local times were read; ``name`` is the sentence's name in the catalogue."""
        return lazy(name, where=self.zone_in_words or lazy("sheet.where_athlete_lives"))


def date_from_text(
    text: str, order: DateOrder | None, today: date | None = None
) -> tuple[date, str]:
    """Read a date; return it with a remark on how it was read, empty where none is needed.

    A year of four digits in front stands before month and day, as in ISO 8601. Other dates have the
    declared order; without one, 9.3.2026 has its day first, as is usual for dates with dots, and a
    date with more than one reading is refused. Raises ``CellError``.
    """
    text = _without_weekday(_MIDNIGHT.sub("", text))
    in_words = _with_month_as_number(text)
    if in_words:
        text, order = in_words, DateOrder.DAY_MONTH_YEAR
    if today is not None and (found := _WITHOUT_YEAR.fullmatch(text)):
        return _nearest_year(found, order, today)
    found = _NUMBERS.fullmatch(text)
    if not found:
        raise CellError(lazy(_NO_DATE))
    numbers = (found[1], found[3], found[4])
    if len(found[1]) == _YEAR_DIGITS:
        return _date_in_order(numbers, DateOrder.YEAR_MONTH_DAY), ""
    if order is None and found[2] == _DOT:
        order = DateOrder.DAY_MONTH_YEAR
    order = order or _only_possible_order(numbers)
    if len(found[4]) != _YEAR_DIGITS:
        return _date_in_order(numbers, order), lazy("sheet.short_year")
    remark = lazy("sheet.in_an_order", order=_order_in_words(order))
    return _date_in_order(numbers, order), remark


def _without_weekday(text: str) -> str:
    found = _WEEKDAY.match(text)
    if found and found["name"].casefold() not in SheetWords.bundled().month_by_word:
        return text[found.end() :]
    return text


def _with_month_as_number(text: str) -> str | None:
    """Write 23 Nov 2026 as 23.11.2026, and Nov 23, 2026 too; None for a date without a name."""
    day_first, month_first = _DAY_AND_NAME.fullmatch(text), _NAME_AND_DAY.fullmatch(text)
    found = day_first or month_first
    month = SheetWords.bundled().month_by_word.get(found["name"].casefold()) if found else None
    if found is None or month is None:
        return None
    return f"{found['day']}.{month}.{found['year'] or ''}"


def _nearest_year(found: re.Match[str], order: DateOrder | None, today: date) -> tuple[date, str]:
    """Read a date without a year as the last such day, or tomorrow."""
    if found["mark"] == _DOT and order is None:
        order = DateOrder.DAY_MONTH_YEAR
    readings: dict[DateOrder, date] = {}
    for one in (DateOrder.DAY_MONTH_YEAR, DateOrder.MONTH_DAY_YEAR):
        first, second = int(found["first"]), int(found["second"])
        day, month = (first, second) if one == DateOrder.DAY_MONTH_YEAR else (second, first)
        if (order or one) == one and (near := _last_such_day(day, month, today)):
            readings[one] = near
    if not readings:
        raise CellError(lazy("sheet.no_day_at_all"))
    if len(set(readings.values())) > 1:
        raise _two_dates(readings)
    return next(iter(readings.values())), lazy("sheet.no_year_given")


def _last_such_day(day: int, month: int, today: date) -> date | None:
    for year in range(today.year + 1, today.year - _LEAP_YEARS, -1):
        try:
            found = date(year, month, day)
        except ValueError:
            continue
        if found <= today + timedelta(days=1):
            return found
    return None


def settled_order(texts: Iterable[str], today: date | None) -> DateOrder | None:
    """Return the one order in which all dates of a column are days of the calendar; None where
    several orders fit, or none does."""
    dates = [_MIDNIGHT.sub("", text.strip()) for text in texts]
    numbered = [text for text in dates if _SLASHED.fullmatch(text)]
    fit = [
        order
        for order in (DateOrder.DAY_MONTH_YEAR, DateOrder.MONTH_DAY_YEAR)
        if numbered and all(_reads(text, order, today) for text in numbered)
    ]
    return fit[0] if len(fit) == 1 else None


def _reads(text: str, order: DateOrder, today: date | None) -> bool:
    try:
        date_from_text(text, order, today)
    except CellError:
        return False
    return True


def is_serial_date(text: str) -> bool:
    """Tell whether a text is a date as spreadsheet programs count days: 46090."""
    return bool(_SERIAL_DATE.fullmatch(text))


def date_from_serial(number: float) -> date:
    """Return the date of a serial number. Raises ``CellError`` where it has none."""
    if not float(number).is_integer():
        raise CellError(lazy("sheet.date_has_time"))
    try:
        return _DAY_ZERO + timedelta(days=int(number))
    except OverflowError as error:
        raise CellError(lazy(_NO_DATE)) from error


def datetime_from_serial(number: float) -> datetime:
    """Return the local time of a serial number, to the second. Raises ``CellError``."""
    start = datetime.combine(_DAY_ZERO, datetime.min.time())
    try:
        instant = start + timedelta(days=number)
    except OverflowError as error:
        raise CellError(lazy("sheet.moment")) from error
    half_second = timedelta(seconds=1) / 2
    return (instant + half_second).replace(microsecond=0)


def datetime_from_text(
    text: str, context: CellContext, *, on_the_date: bool = False
) -> tuple[str, str]:
    """Read a date with a time; return it as RFC 3339, with a remark as in ``date_from_text``.

    A time alone may be ``on_the_date`` of the row. Raises ``CellError``.
    """
    found = _PARTS.fullmatch(text)
    if not found:
        is_date = _DATE_ALONE.fullmatch(text)
        raise CellError(lazy("sheet.moment_has_no_time") if is_date else lazy("sheet.moment"))
    offset, clock = found["offset"], _time_of_day(found)
    if found["day"] is None:
        return datetime_on_date(clock, context, on_the_date=on_the_date and offset is None)
    day, remark = date_from_text(found["day"], context.date_order, context.today)
    local = datetime.combine(day, clock)
    if offset is None:
        local_note = context.interpretation(LOCAL)
        remark = lazy_join((remark, local_note), "; ") if remark else local_note
        return with_zone(local, context.zone), remark
    return local.isoformat() + _with_colon(offset), remark


def datetime_on_date(clock: time, context: CellContext, *, on_the_date: bool) -> tuple[str, str]:
    """Put a time alone on the date of its row, if the column allows it.

    Return as ``datetime_from_text`` does. Raises ``CellError``.
    """
    if context.day is None or not on_the_date:
        raise CellError(lazy("sheet.moment_has_no_date"))
    instant = with_zone(datetime.combine(context.day, clock), context.zone)
    return instant, context.interpretation("sheet.on_the_date")


def with_zone(local: datetime, zone: ZoneInfo) -> str:
    """Add the offset that a time zone has at a local time; return it as RFC 3339.

    Raises ``CellError`` for a time that the clocks there skip or show twice, with what would be
    accepted.
    """
    early, late = (local.replace(tzinfo=zone, fold=fold) for fold in (0, 1))
    if early.utcoffset() == late.utcoffset():
        return early.isoformat()
    if _exists(early):
        instants = {"early": early.isoformat(), "late": late.isoformat()}
        raise CellError(lazy("sheet.happened_twice", zone=zone, **instants))
    shifted = early.astimezone(UTC).astimezone(zone)
    raise CellError(lazy("sheet.did_not_happen", zone=zone, shifted=shifted.isoformat()))


def reject_bare_date(day: date) -> str:
    """Raise ``CellError`` for a date without a time."""
    raise CellError(lazy("sheet.day_has_no_time", day=day))


def _date_in_order(numbers: Numbers, order: DateOrder) -> date:
    year, month, day = (numbers[place] for place in _PLACES[order])
    if len(year) not in (_SHORT_YEAR_DIGITS, _YEAR_DIGITS):
        raise CellError(lazy("sheet.no_year", order=_order_in_words(order)))
    century = _CENTURY if len(year) == _SHORT_YEAR_DIGITS else 0
    try:
        return date(century + int(year), int(month), int(day))
    except ValueError as error:
        raise CellError(lazy("sheet.no_day", order=_order_in_words(order))) from error


def _only_possible_order(numbers: Numbers) -> DateOrder:
    """Return the first order that gives a date, if all that give one give the same."""
    readings = dict(_readings(numbers))
    days = sorted(set(readings.values()))
    if len(days) == 1:
        return next(iter(readings))
    if not days:
        raise CellError(lazy("sheet.no_day_at_all"))
    raise _two_dates(readings)


def _two_dates(readings: Mapping[DateOrder, date]) -> CellError:
    each = (
        lazy("sheet.one_date", day=d, order=_order_in_words(order)) for order, d in readings.items()
    )
    choices = lazy_join(each, lazy("sheet.or"))
    return CellError(lazy("sheet.two_dates", either=choices, day=min(readings.values())))


def _readings(numbers: Numbers) -> Iterator[tuple[DateOrder, date]]:
    for order in DateOrder:
        try:
            yield order, _date_in_order(numbers, order)
        except CellError:
            continue


def _order_in_words(order: DateOrder) -> LazyText:
    return lazy(_ORDERS[order])


def _exists(instant: datetime) -> bool:
    round_trip = instant.astimezone(UTC).astimezone(instant.tzinfo)
    return round_trip.replace(tzinfo=None) == instant.replace(tzinfo=None, fold=0)


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
