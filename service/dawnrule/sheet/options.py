"""Read options: what a file does not say itself, and how large it may be."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from zoneinfo import ZoneInfo

from dawnrule.schemas.fields import DateOrder
from dawnrule.sheet.people import People

MOST_CHARACTERS = 2_000
"""In one cell."""

MOST_COLUMNS = 256
"""More than twice as many as have a meaning."""

MOST_ROWS = 100_000
"""Blank rows do not count. The service limits separately how many it answers at once."""

MOST_CELLS = 4_000_000
"""From the first to the last of a workbook's table, blank or not."""

MOST_BYTES_UNPACKED = 50_000_000
"""In all parts of a workbook together."""

MOST_CHARACTERS_OF_TABLE = 50_000_000
"""In all cells of a table together; a text that several cells share counts for each."""

MOST_TIMES_PACKED = 250
"""How many times larger than packed a part of a workbook may be; tables of numbers reach a few
dozen."""

SMALL_BYTES = 1_000_000
"""A part of a workbook up to this size is harmless, however well it was packed."""


def _as_many_as_there_are(count: int) -> None:
    """Accept any number of rows."""


def _unknown(athlete_id: str) -> None:
    """Return no time zone."""


def _nothing_chosen(layout: str, headers: Sequence[str]) -> Mapping[str, str]:
    """Return no meanings."""
    return {}


@dataclass(frozen=True, slots=True)
class ReadOptions:
    """What the sender declares with a sheet.

    ``date_order`` is that of dates like 04/05/2026, ``table`` names the sheet of a workbook.
    ``zone_of`` returns the time zone of an athlete, in which times without an offset are read; None
    for an unknown athlete, whose row is refused later. ``zone_in_words`` describes that zone to
    people; empty means that it is where the athlete lives. ``check_count`` is given the number of
    rows, or of mornings that take several, before any of them is read, and raises if they are too
    many to be answered. ``people`` has the athletes whom the sheet may name by their names;
    ``today`` is the date to which dates without a year are nearest. ``chosen`` returns the meanings
    that somebody chose for the columns of a sheet, by its layout's name and its headers; with
    ``accept`` the likeliest meaning of the other columns is taken without asking.
    """

    date_order: DateOrder | None = None
    table: str | None = None
    zone_of: Callable[[str], ZoneInfo | None] = _unknown
    zone_in_words: str = ""
    check_count: Callable[[int], None] = _as_many_as_there_are
    people: People | None = None
    today: date | None = None
    chosen: Callable[[str, Sequence[str]], Mapping[str, str]] = _nothing_chosen
    accept: bool = False


DEFAULT_OPTIONS = ReadOptions()
