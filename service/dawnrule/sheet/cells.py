"""What does one cell of a sheet say?"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from difflib import get_close_matches
from typing import Any, TypeAlias

from dawnrule.sheet.cell_words import id_of, ids_by_word, ids_in, known_id
from dawnrule.sheet.columns import Column
from dawnrule.sheet.dates import (
    FROM_SERIAL,
    date_of_serial,
    date_of_text,
    is_serial,
    moment_of_serial,
)
from dawnrule.sheet.faults import CellError
from dawnrule.sheet.headers import plain_name
from dawnrule.sheet.moments import (
    LOCAL,
    Where,
    moment_of_day,
    moment_of_local,
    moment_of_text,
    moment_on_the_date,
)
from dawnrule.sheet.numbers import number_of_text, number_of_value
from dawnrule.vocabulary import Vocabulary
from dawnrule.vocabulary.formulas import without_guard
from dawnrule.vocabulary.said import Said, say

_SERIAL_MOMENT = re.compile(r"([0-9]{5})(?:[.,]([0-9]{1,12}))?")
_BETWEEN_WORDS = re.compile(r"[\s_]+")


@dataclass(frozen=True, slots=True)
class Spoiled:
    """A cell of a workbook that holds no value: what the program shows, and why."""

    shown: str
    why: str


Cell: TypeAlias = str | int | float | bool | date | datetime | time | timedelta | Spoiled
"""What a cell may hold; in a text file all cells are text."""

Record: TypeAlias = tuple[int, Sequence[Cell]]
"""The number of a row and its cells."""


@dataclass(frozen=True, slots=True)
class Read:
    """The plain value of a cell; ``how`` names a reading that people should hear of."""

    value: Any
    how: str = ""


def is_blank(cell: Cell) -> bool:
    """Whether a cell says nothing."""
    return cell == "" or (isinstance(cell, str) and not cell.strip())


def shown(cell: Cell) -> str:
    """A cell as text, as it came or as a program would show it, dates as ISO 8601 has them."""
    match cell:
        case str():
            return cell
        case bool():
            return str(cell).upper()
        case Spoiled():
            return cell.shown
        case datetime():
            return cell.isoformat(" ")
        case float() if cell.is_integer():
            return str(int(cell))
        case _:
            return str(cell)


def read_cell(column: Column, cell: Cell, where: Where) -> Read:
    """What a cell that is not blank says. Raises ``CellError``."""
    if isinstance(cell, Spoiled):
        raise CellError(cell.why)
    if isinstance(cell, str):
        return _OF_TEXT[column.kind](column, without_guard(cell.strip()), where)
    return _of_value(column, cell, where)


def _date(column: Column, text: str, where: Where) -> Read:
    if is_serial(text):
        return Read(date_of_serial(int(text)).isoformat(), say(FROM_SERIAL))
    day, how = date_of_text(text, where.date_order)
    return Read(day.isoformat(), how)


def _moment(column: Column, text: str, where: Where) -> Read:
    serial = _SERIAL_MOMENT.fullmatch(text)
    if serial:
        return _moment_of_serial(float(f"{serial[1]}.{serial[2] or 0}"), where)
    return Read(*moment_of_text(text, where, on_the_date=column.on_the_date))


def _moment_of_serial(number: float, where: Where) -> Read:
    if number.is_integer():
        moment_of_day(date_of_serial(number))
    return Read(moment_of_local(moment_of_serial(number), where.zone), say(FROM_SERIAL))


def _moment_of_part_of_day(column: Column, part: float, where: Where) -> Read:
    """Of a time of day that nobody formatted as one: 0.75 is 18:00."""
    clock = moment_of_serial(part).time()
    return Read(*moment_on_the_date(clock, where, on_the_date=column.on_the_date))


def _words(column: Column, text: str, where: Where) -> Read:
    return Read(ids_in(column.words, text))


def _word(column: Column, text: str, where: Where) -> Read:
    if column.words:
        return Read(id_of(column.words, text))
    return Read("-".join(_BETWEEN_WORDS.split(text.lower())))


def _muscle_group(column: Column, text: str, where: Where) -> Read:
    groups = Vocabulary.shipped().values_of(column.words)
    found = known_id(column.words, text)
    if found in groups:
        return Read(found)
    known = {word: group for word, group in ids_by_word(column.words).items() if group in groups}
    near = get_close_matches(plain_name(text), known, n=1)
    if near:
        raise CellError(say("sheet.near_muscle_group", near=known[near[0]]))
    raise CellError(say("sheet.no_muscle_group", groups=", ".join(groups)))


_OF_TEXT: dict[str, Callable[[Column, str, Where], Read]] = {
    "text": lambda column, text, where: Read(text),
    "word": _word,
    "words": _words,
    "number": lambda column, text, where: Read(number_of_text(column, text)),
    "date": _date,
    "moment": _moment,
    "muscle-group": _muscle_group,
}


def _of_value(column: Column, cell: Cell, where: Where) -> Read:
    """What a workbook's cell that is no text says: its type may not fit its column."""
    match column.kind:
        case "number" if isinstance(cell, int | float) and not isinstance(cell, bool):
            return Read(number_of_value(column, cell))
        case "number":
            raise CellError(say("sheet.is_no_number", found=_type_in_words(cell)))
        case "date":
            return _date_of_value(cell)
        case "moment":
            return _moment_of_value(column, cell, where)
        case _ if isinstance(cell, int | float) and not isinstance(cell, bool):
            return _OF_TEXT[column.kind](column, shown(cell), where)
        case _:
            raise CellError(say("sheet.is_no_text", found=_type_in_words(cell)))


def _date_of_value(cell: Cell) -> Read:
    match cell:
        case bool() | time() | timedelta():
            raise CellError(say("sheet.is_no_date", found=_type_in_words(cell)))
        case datetime():
            raise CellError(say("sheet.date_has_time"))
        case date():
            return Read(cell.isoformat())
        case int() | float():
            return Read(date_of_serial(cell).isoformat(), say(FROM_SERIAL))
        case _:
            raise CellError(say("sheet.date"))


def _moment_of_value(column: Column, cell: Cell, where: Where) -> Read:
    match cell:
        case time():
            return Read(*moment_on_the_date(cell, where, on_the_date=column.on_the_date))
        case datetime():
            return Read(moment_of_local(cell, where.zone), where.told(LOCAL))
        case date():
            return Read(moment_of_day(cell))
        case int() | float() if not isinstance(cell, bool):
            if 0 < cell < 1:
                return _moment_of_part_of_day(column, cell, where)
            return _moment_of_serial(float(cell), where)
        case _:
            raise CellError(say("sheet.is_no_moment", found=_type_in_words(cell)))


def _type_in_words(cell: Cell) -> Said:
    match cell:
        case bool():
            return say("sheet.true_or_false")
        case time():
            return say("sheet.time_of_day")
        case timedelta():
            return say("sheet.length_of_time")
        case datetime() | date():
            return say("sheet.a_date")
        case _:
            return say("sheet.something_else")
