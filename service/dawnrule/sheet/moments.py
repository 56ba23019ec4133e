"""Which moment does a cell name, where its athlete lives?"""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import UTC, date, datetime, time
from zoneinfo import ZoneInfo

from dawnrule.schemas.date_order import DateOrder
from dawnrule.sheet.dates import date_of_text
from dawnrule.sheet.faults import CellError
from dawnrule.vocabulary.said import say, say_all

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
        return say(how, where=self.zone_in_words or say("sheet.where_athlete_lives"))


def moment_of_text(text: str, where: Where, *, on_the_date: bool = False) -> tuple[str, str]:
    """The moment that a cell's text names, as RFC 3339, and how it was read where people should
    hear of it. A time alone may be ``on_the_date`` of the row.

    Raises ``CellError``.
    """
    found = _PARTS.fullmatch(text)
    if not found:
        is_day = _DAY_ALONE.fullmatch(text)
        raise CellError(say("sheet.moment_has_no_time") if is_day else say("sheet.moment"))
    offset, clock = found["offset"], _time_of_day(found)
    if found["day"] is None:
        return moment_on_the_date(clock, where, on_the_date=on_the_date and offset is None)
    day, how = date_of_text(found["day"], where.date_order)
    local = datetime.combine(day, clock)
    if offset is None:
        told = where.told(LOCAL)
        return moment_of_local(local, where.zone), say_all((how, told), "; ") if how else told
    return local.isoformat() + _with_colon(offset), how


def moment_on_the_date(clock: time, where: Where, *, on_the_date: bool) -> tuple[str, str]:
    """A time alone, if it may be ``on_the_date`` of its row, as RFC 3339, and how it was read.
    Raises ``CellError``."""
    if where.day is None or not on_the_date:
        raise CellError(say("sheet.moment_has_no_date"))
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
        raise CellError(say("sheet.happened_twice", zone=zone, **either))
    shifted = early.astimezone(UTC).astimezone(zone)
    raise CellError(say("sheet.did_not_happen", zone=zone, shifted=shifted.isoformat()))


def moment_of_day(day: date) -> str:
    """Raises ``CellError``: a day is no moment."""
    raise CellError(say("sheet.day_has_no_time", day=day))


def _exists(moment: datetime) -> bool:
    there_and_back = moment.astimezone(UTC).astimezone(moment.tzinfo)
    return there_and_back.replace(tzinfo=None) == moment.replace(tzinfo=None, fold=0)


def _time_of_day(found: re.Match[str]) -> time:
    hour, half = int(found["hour"]), found["half"]
    if half and not 0 < hour <= _NOON:
        raise CellError(say("sheet.no_such_hour"))
    if half:
        hour = hour % _NOON + (_NOON if half.upper() == _AFTER_NOON else 0)
    try:
        return time(hour, int(found["minute"]), int(found["second"] or 0))
    except ValueError as error:
        raise CellError(say("sheet.no_such_time")) from error


def _with_colon(offset: str) -> str:
    if offset.upper() == "Z":
        return "Z"
    sign_and_hours, minutes = offset.replace(":", "")[:-2], offset[-2:]
    return f"{sign_and_hours}:{minutes}"
