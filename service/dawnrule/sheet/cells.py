"""What does one cell of a sheet say?"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from difflib import get_close_matches
from functools import cache
from typing import Any, TypeAlias

from dawnrule.i18n.catalog import Texts, languages
from dawnrule.i18n.lazy import LazyText, lazy, lazy_number
from dawnrule.model import Vocabulary
from dawnrule.sheet.columns import Column, HeaderWords, plain_name
from dawnrule.sheet.datetimes import (
    FROM_SERIAL,
    LOCAL,
    Where,
    date_of_serial,
    date_of_text,
    is_serial,
    moment_of_day,
    moment_of_local,
    moment_of_serial,
    moment_of_text,
    moment_on_the_date,
)
from dawnrule.sheet.errors import CellError
from dawnrule.sheet.formulas import without_guard

_PLAIN = re.compile(r"[+-]?[0-9]{1,15}(?:([.,])([0-9]{1,20}))?")
_GROUPED = re.compile(
    r"[+-]?[1-9][0-9]{0,2}(?:([.,' ])[0-9]{3})(?:\1[0-9]{3}){0,4}(?:([.,])[0-9]{1,20})?"
)
_ONE_GROUP = re.compile(r"[+-]?[1-9][0-9]{0,2}[.,][0-9]{3}")
_AS_PLAIN_SIGNS = str.maketrans(
    {
        "\N{MINUS SIGN}": "-",
        "\N{NO-BREAK SPACE}": " ",
        "\N{NARROW NO-BREAK SPACE}": " ",
        "\N{THIN SPACE}": " ",
        "\N{RIGHT SINGLE QUOTATION MARK}": "'",
    }
)
_PERCENT = "%"
_IS_NONE = "sheet.no_number"


def is_number(cell: str) -> bool:
    """Whether a cell holds one number, however it is written, and nothing else."""
    text = cell.strip().translate(_AS_PLAIN_SIGNS)
    return bool(_PLAIN.fullmatch(text) or _GROUPED.fullmatch(text))


def number_of_text(column: Column, cell: str) -> int | float:
    """The number that is written in a cell. Raises ``CellError``."""
    text = cell.translate(_AS_PLAIN_SIGNS).strip()
    if text.endswith(_PERCENT):
        text = _of_percent(column, text)
    plain = _PLAIN.fullmatch(text)
    if plain and plain[1]:
        return _with_one_sign(column, text, plain[1])
    if plain:
        return int(text)
    grouped = _GROUPED.fullmatch(text)
    if not grouped or grouped[1] == grouped[2]:
        raise CellError(lazy(_IS_NONE))
    return _number(text.replace(grouped[1], ""), grouped[2])


def number_of_value(column: Column, value: int | float) -> int | float:
    """A number that a workbook holds as one. A percentage is held as a part of 1, without a sign
    of it. Raises ``CellError``."""
    if column.is_percent and 0 < value <= 1:
        part, percent = lazy_number(value), lazy_number(100 * value)
        raise CellError(lazy("sheet.two_percentages", part=part, percent=percent))
    if not math.isfinite(value):
        raise CellError(lazy(_IS_NONE))
    return int(value) if float(value).is_integer() else value


def _of_percent(column: Column, text: str) -> str:
    if column.is_percent:
        return text.removesuffix(_PERCENT).rstrip()
    raise CellError(lazy("sheet.percentage"))


def _with_one_sign(column: Column, text: str, sign: str) -> float:
    """A point or comma stands before decimals, unless it may stand between thousands as well."""
    number = _number(text, sign)
    in_thousands = int(text.replace(sign, ""))
    if _ONE_GROUP.fullmatch(text) and in_thousands <= column.greatest:
        either = lazy_number(number)
        raise CellError(lazy("sheet.two_numbers", number=either, thousands=in_thousands))
    return number


def _number(text: str, sign: str | None) -> int | float:
    return float(text.replace(sign, ".")) if sign else int(text)


NONE = "none"
"""How a list is said to be empty; an empty cell was not reported."""

_MUSCLE_GROUPS = "muscle_groups"
_BETWEEN_LISTED = re.compile(r"[,;\r\n]+")
_AFTER_THE_GIST = re.compile(r"[,(]")


@cache
def ids_by_word(list_name: str) -> Mapping[str, str]:
    """Every word for an id of one of the vocabulary's lists, plain as headers are: the id, its
    label in each language, with and without what explains it, and those of
    ``rules/sheet_columns.yaml``."""
    ids = Vocabulary.bundled().values_of(list_name)
    return {
        NONE: NONE,
        **{plain_name(word): one for one in ids for word in _words_for(list_name, one)},
    }


def known_id(list_name: str, text: str) -> str | None:
    """The id that a text means, or ``none``; None for a word that the list does not have."""
    word = plain_name(text)
    return NONE if says_none(word) else ids_by_word(list_name).get(word)


def says_none(text: str) -> bool:
    """Whether a text says that there is nothing."""
    word = plain_name(text)
    return word == NONE or word in HeaderWords.bundled().none


def id_of(list_name: str, text: str) -> str:
    """The id that a text means; an unknown word as ids are written, to be refused by name."""
    return known_id(list_name, text) or plain_name(text).replace("_", "-")


def ids_in(list_name: str, text: str) -> list[str]:
    """The ids of a list, empty if it says none. What stands between commas, semicolons or line
    ends is one word if it is known, else blanks divide it too."""
    whole = known_id(list_name, text)
    ids = [whole] if whole else [one for part in _parts(text) for one in _ids(list_name, part)]
    return [] if ids == [NONE] else ids


def _ids(list_name: str, part: str) -> list[str]:
    known = known_id(list_name, part)
    return [known] if known else [id_of(list_name, word) for word in part.split()]


def _parts(text: str) -> Iterator[str]:
    yield from (part for part in _BETWEEN_LISTED.split(text) if part.strip())


def _words_for(list_name: str, identifier: str) -> Iterator[str]:
    words = HeaderWords.bundled()
    yield identifier
    yield from words.of_cells.get(list_name, {}).get(identifier, ())
    if list_name == _MUSCLE_GROUPS:
        yield from words.of_muscle_group(identifier)
    for language in languages():
        label = _labels(language).get(identifier)
        if label:
            yield from (label, _AFTER_THE_GIST.split(label)[0])


@cache
def _labels(language: str) -> Mapping[str, str]:
    return Vocabulary.bundled().translated(Texts.bundled(language)).labels


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
        return Read(date_of_serial(int(text)).isoformat(), lazy(FROM_SERIAL))
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
    return Read(moment_of_local(moment_of_serial(number), where.zone), lazy(FROM_SERIAL))


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
    groups = Vocabulary.bundled().values_of(column.words)
    found = known_id(column.words, text)
    if found in groups:
        return Read(found)
    known = {word: group for word, group in ids_by_word(column.words).items() if group in groups}
    near = get_close_matches(plain_name(text), known, n=1)
    if near:
        raise CellError(lazy("sheet.near_muscle_group", near=known[near[0]]))
    raise CellError(lazy("sheet.no_muscle_group", groups=", ".join(groups)))


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
            raise CellError(lazy("sheet.is_no_number", found=_type_in_words(cell)))
        case "date":
            return _date_of_value(cell)
        case "moment":
            return _moment_of_value(column, cell, where)
        case _ if isinstance(cell, int | float) and not isinstance(cell, bool):
            return _OF_TEXT[column.kind](column, shown(cell), where)
        case _:
            raise CellError(lazy("sheet.is_no_text", found=_type_in_words(cell)))


def _date_of_value(cell: Cell) -> Read:
    match cell:
        case bool() | time() | timedelta():
            raise CellError(lazy("sheet.is_no_date", found=_type_in_words(cell)))
        case datetime():
            raise CellError(lazy("sheet.date_has_time"))
        case date():
            return Read(cell.isoformat())
        case int() | float():
            return Read(date_of_serial(cell).isoformat(), lazy(FROM_SERIAL))
        case _:
            raise CellError(lazy("sheet.date"))


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
            raise CellError(lazy("sheet.is_no_moment", found=_type_in_words(cell)))


def _type_in_words(cell: Cell) -> LazyText:
    match cell:
        case bool():
            return lazy("sheet.true_or_false")
        case time():
            return lazy("sheet.time_of_day")
        case timedelta():
            return lazy("sheet.length_of_time")
        case datetime() | date():
            return lazy("sheet.a_date")
        case _:
            return lazy("sheet.something_else")
