"""Values of cells: words of the vocabulary, numbers, dates and times."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime, time, timedelta
from difflib import get_close_matches
from functools import cache
from typing import Any, TypeAlias
from zoneinfo import ZoneInfo

from dawnrule.i18n.catalog import Texts, languages
from dawnrule.i18n.lazy import LazyText, lazy, lazy_number
from dawnrule.model import Vocabulary
from dawnrule.sheet.amounts import (
    length_from_value,
    length_of_time,
    most_of_range,
    rating_out_of_ten,
    sets_and_reps,
)
from dawnrule.sheet.columns import Column, HeaderWords, Path, plain_name
from dawnrule.sheet.dangers import dangers_in, worst
from dawnrule.sheet.datetimes import (
    FROM_SERIAL,
    LOCAL,
    CellContext,
    date_from_serial,
    date_from_text,
    datetime_from_serial,
    datetime_from_text,
    datetime_on_date,
    is_serial_date,
    reject_bare_date,
    with_zone,
)
from dawnrule.sheet.errors import CellError
from dawnrule.sheet.formulas import unescape_formula
from dawnrule.sheet.words import SheetWords

NONE = "none"
"""The word for an empty list; an empty cell was not reported."""

_ATHLETE = "athlete_id"
DAY_OFF = "day_off"
"""The path of a word like off in the place of a goal: nothing is planned."""

_MUSCLE_GROUPS, _GOALS, _ILLNESSES = "muscle_groups", "goals", "illnesses"
_PLAIN = re.compile(r"[+-]?[0-9]{1,15}(?:([.,])([0-9]{1,20}))?")
_GROUPED = re.compile(
    r"[+-]?[1-9][0-9]{0,2}(?:([.,' ])[0-9]{3})(?:\1[0-9]{3}){0,4}(?:([.,])[0-9]{1,20})?"
)
_ONE_GROUP = re.compile(r"[+-]?[1-9][0-9]{0,2}[.,][0-9]{3}")
_TO_ASCII = str.maketrans(
    {
        "\N{MINUS SIGN}": "-",
        "\N{NO-BREAK SPACE}": " ",
        "\N{NARROW NO-BREAK SPACE}": " ",
        "\N{THIN SPACE}": " ",
        "\N{RIGHT SINGLE QUOTATION MARK}": "'",
    }
)
_PERCENT = "%"
_NOT_A_NUMBER = "sheet.no_number"
_LIST_SEPARATORS = re.compile(r"[,;\r\n]+")
_NUMBER_SEPARATORS = re.compile(r"[;/\s]+")
_EXPLANATION = re.compile(r"[,(]")
_SERIAL_DATETIME = re.compile(r"([0-9]{5})(?:[.,]([0-9]{1,12}))?")
_BETWEEN_WORDS = re.compile(r"[\s_]+")
_PARTS_OF_ILLNESS = re.compile(r"[,;/+&\r\n]+|\band\b|\bund\b", re.IGNORECASE)
_NO_CONTEXT = CellContext(None, ZoneInfo("UTC"))


@dataclass(frozen=True, slots=True)
class UnreadableCell:
    """A cell of a workbook that holds no value: the text that programs show, and the reason."""

    text: str
    reason: str


Cell: TypeAlias = str | int | float | bool | date | datetime | time | timedelta | UnreadableCell
"""The content of a cell; in a text file every cell is text."""

Record: TypeAlias = tuple[int, Sequence[Cell]]
"""The number of a row and its cells."""


@dataclass(frozen=True, slots=True)
class CellValue:
    """The value of a cell, as JSON has it, None where the cell says nothing of its column's own
    path; ``interpretation`` is a remark on how it was read, and ``also`` what it says besides, by
    path. ``shown`` are the words for what it was read as, where the value does not say it."""

    value: Any
    interpretation: str = ""
    also: Mapping[Path, Any] = field(default_factory=dict)
    shown: str = ""


def is_blank(cell: Cell) -> bool:
    """Tell whether a cell says nothing."""
    return cell == "" or (isinstance(cell, str) and not cell.strip())


def cell_text(cell: Cell) -> str:
    """Return a cell as text, as it came or as a program would show it; dates are in ISO 8601."""
    match cell:
        case str():
            return cell
        case bool():
            return str(cell).upper()
        case UnreadableCell():
            return cell.text
        case datetime():
            return cell.isoformat(" ")
        case float() if cell.is_integer():
            return str(int(cell))
        case _:
            return str(cell)


def read_cell(column: Column, cell: Cell, context: CellContext) -> CellValue:
    """Read a cell that is not blank. Raises ``CellError``."""
    if isinstance(cell, UnreadableCell):
        raise CellError(cell.reason)
    if isinstance(cell, str):
        return _READERS_OF_TEXT[column.kind](column, unescape_formula(cell.strip()), context)
    return _read_value(column, cell, context)


def _read_text(column: Column, text: str, context: CellContext) -> CellValue:
    if context.people is None or column.name != _ATHLETE:
        return CellValue(text)
    athlete_id = context.people.find(text)
    return CellValue(athlete_id, "" if athlete_id == text else lazy("sheet.by_name"))


def _read_date(column: Column, text: str, context: CellContext) -> CellValue:
    if is_serial_date(text):
        return CellValue(date_from_serial(int(text)).isoformat(), lazy(FROM_SERIAL))
    day, remark = date_from_text(text, context.date_order, context.today)
    return CellValue(day.isoformat(), remark)


def _read_datetime(column: Column, text: str, context: CellContext) -> CellValue:
    serial = _SERIAL_DATETIME.fullmatch(text)
    if serial:
        return _datetime_from_serial(float(f"{serial[1]}.{serial[2] or 0}"), context)
    return CellValue(*datetime_from_text(text, context, on_the_date=column.on_the_date))


def _read_words(column: Column, text: str, context: CellContext) -> CellValue:
    return CellValue(parse_ids(column.words, text))


def _read_word(column: Column, text: str, context: CellContext) -> CellValue:
    if column.words == _GOALS and SheetWords.bundled().is_day_off(text):
        return CellValue(None, also={(DAY_OFF,): True})
    if column.words == _ILLNESSES and find_id(column.words, text) is None:
        return _illness_in_words(text)
    if column.words:
        return CellValue(parse_id(column.words, text))
    return CellValue("-".join(_BETWEEN_WORDS.split(text.lower())))


def _illness_in_words(text: str) -> CellValue:
    """Read an illness that is told in more words than one: the worst that they name."""
    parts = [find_id(_ILLNESSES, part) for part in _PARTS_OF_ILLNESS.split(text) if part.strip()]
    if all(parts):
        return CellValue(worst(*map(str, parts)))
    told = dangers_in(text)
    if told.illness is None or told.is_turned:
        return CellValue(parse_id(_ILLNESSES, text))
    return CellValue(told.illness, lazy("sheet.illness_in_words"))


def _read_number(column: Column, text: str, context: CellContext) -> CellValue:
    """Read a number, or an amount as people write it."""
    if (length := length_of_time(column, text)) is not None:
        return CellValue(length, lazy("sheet.lengths"))
    if (rating := rating_out_of_ten(column, text)) is not None:
        return CellValue(parse_number(column, rating))
    if column.fact == "planned_sets" and (both := sets_and_reps(text)):
        return CellValue(both[0], also={(*column.path[:-1], "reps"): both[1]})
    if column.fact == "planned_reps" and (most := most_of_range(text)) is not None:
        return CellValue(most, lazy("sheet.most_of_range"))
    return CellValue(parse_number(column, text))


def rating_from_cell(column: Column, cell: Cell) -> int | float:
    """Read a rating from a cell of a text file or a workbook. Raises ``CellError``."""
    rating = read_cell(replace(column, kind="number", spreads=False), cell, _NO_CONTEXT).value
    return rating if isinstance(rating, int | float) else 0


def _read_muscle_group(column: Column, text: str, context: CellContext) -> CellValue:
    groups = Vocabulary.bundled().values_of(column.words)
    found = find_id(column.words, text)
    if found in groups:
        return CellValue(found)
    known = {word: group for word, group in ids_by_word(column.words).items() if group in groups}
    near = get_close_matches(plain_name(text), known, n=1)
    if near:
        raise CellError(lazy("sheet.near_muscle_group", near=known[near[0]]))
    raise CellError(lazy("sheet.no_muscle_group", groups=", ".join(groups)))


_READERS_OF_TEXT: dict[str, Callable[[Column, str, CellContext], CellValue]] = {
    "text": _read_text,
    "word": _read_word,
    "words": _read_words,
    "number": _read_number,
    "trial": _read_number,
    "numbers": lambda column, text, context: CellValue(parse_numbers(column, text)),
    "yes-or-no": lambda column, text, context: CellValue(parse_yes_or_no(text)),
    "date": _read_date,
    "datetime": _read_datetime,
    "muscle-group": _read_muscle_group,
}


def _read_value(column: Column, cell: Cell, context: CellContext) -> CellValue:
    """Read a cell of a workbook that is not text; its type may not fit its column."""
    match column.kind:
        case "yes-or-no" if isinstance(cell, bool):
            return CellValue(cell)
        case "numbers" if isinstance(cell, int | float) and not isinstance(cell, bool):
            return CellValue(number_from_value(column, cell))
        case "number" if isinstance(cell, int | float) and not isinstance(cell, bool):
            return CellValue(number_from_value(column, cell))
        case "number" if (length := length_from_value(column, cell)) is not None:
            return CellValue(length, lazy("sheet.lengths"))
        case "number":
            raise CellError(lazy("sheet.is_no_number", found=_type_in_words(cell)))
        case "date":
            return _date_from_value(cell)
        case "datetime":
            return _datetime_from_value(column, cell, context)
        case _ if isinstance(cell, int | float) and not isinstance(cell, bool):
            return _READERS_OF_TEXT[column.kind](column, cell_text(cell), context)
        case _:
            raise CellError(lazy("sheet.is_no_text", found=_type_in_words(cell)))


def _date_from_value(cell: Cell) -> CellValue:
    match cell:
        case bool() | time() | timedelta():
            raise CellError(lazy("sheet.is_no_date", found=_type_in_words(cell)))
        case datetime():
            raise CellError(lazy("sheet.date_has_time"))
        case date():
            return CellValue(cell.isoformat())
        case int() | float():
            return CellValue(date_from_serial(cell).isoformat(), lazy(FROM_SERIAL))
        case _:
            raise CellError(lazy("sheet.date"))


def _datetime_from_value(column: Column, cell: Cell, context: CellContext) -> CellValue:
    match cell:
        case time():
            return CellValue(*datetime_on_date(cell, context, on_the_date=column.on_the_date))
        case datetime():
            return CellValue(with_zone(cell, context.zone), context.interpretation(LOCAL))
        case date():
            return CellValue(reject_bare_date(cell))
        case int() | float() if not isinstance(cell, bool):
            if 0 < cell < 1:
                return _datetime_from_day_fraction(column, cell, context)
            return _datetime_from_serial(float(cell), context)
        case _:
            raise CellError(lazy("sheet.is_no_moment", found=_type_in_words(cell)))


def _datetime_from_serial(number: float, context: CellContext) -> CellValue:
    if number.is_integer():
        reject_bare_date(date_from_serial(number))
    return CellValue(with_zone(datetime_from_serial(number), context.zone), lazy(FROM_SERIAL))


def _datetime_from_day_fraction(column: Column, part: float, context: CellContext) -> CellValue:
    """Read a time of day that was not formatted as one: 0.75 is 18:00."""
    clock = datetime_from_serial(part).time()
    return CellValue(*datetime_on_date(clock, context, on_the_date=column.on_the_date))


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


def is_number(cell: str) -> bool:
    """Tell whether a cell holds one number, however it is written, and nothing else."""
    text = cell.strip().translate(_TO_ASCII)
    return bool(_PLAIN.fullmatch(text) or _GROUPED.fullmatch(text))


def parse_number(column: Column, cell: str) -> int | float:
    """Read the number that is written in a cell. Raises ``CellError``."""
    text = cell.translate(_TO_ASCII).strip()
    if text.endswith(_PERCENT):
        text = _of_percent(column, text)
    plain = _PLAIN.fullmatch(text)
    if plain and plain[1]:
        return _with_one_mark(column, text, plain[1])
    if plain:
        return int(text)
    grouped = _GROUPED.fullmatch(text)
    if not grouped or grouped[1] == grouped[2]:
        raise CellError(lazy(_NOT_A_NUMBER))
    return _number(text.replace(grouped[1], ""), grouped[2])


def parse_numbers(column: Column, cell: str) -> int | float | list[int | float]:
    """Read one number, or several that spaces, semicolons or slashes separate. Raises
    ``CellError``."""
    numbers = [parse_number(column, one) for one in _NUMBER_SEPARATORS.split(cell) if one]
    return numbers[0] if len(numbers) == 1 else numbers


def parse_yes_or_no(text: str) -> bool:
    """Read a word for yes or no, in any language. Raises ``CellError``."""
    words, word = HeaderWords.bundled(), plain_name(text)
    if word in words.yes:
        return True
    if word in words.no or means_none(word):
        return False
    raise CellError(lazy("sheet.yes_or_no"))


def number_from_value(column: Column, value: int | float) -> int | float:
    """Check a number that a workbook holds as one. Workbooks hold a percentage as a part of 1,
    without its sign, so one that may mean either is refused. Raises ``CellError``."""
    if column.is_percent and 0 < value <= 1:
        part, percent = lazy_number(value), lazy_number(100 * value)
        raise CellError(lazy("sheet.two_percentages", part=part, percent=percent))
    if not math.isfinite(value):
        raise CellError(lazy(_NOT_A_NUMBER))
    return int(value) if float(value).is_integer() else value


def _of_percent(column: Column, text: str) -> str:
    if column.is_percent:
        return text.removesuffix(_PERCENT).rstrip()
    raise CellError(lazy("sheet.percentage"))


def _with_one_mark(column: Column, text: str, mark: str) -> float:
    """Read a number with one point or comma: a decimal mark, unless it may group thousands as
    well."""
    number = _number(text, mark)
    with_groups = int(text.replace(mark, ""))
    if _ONE_GROUP.fullmatch(text) and with_groups <= column.greatest:
        decimal = lazy_number(number)
        raise CellError(lazy("sheet.two_numbers", number=decimal, thousands=with_groups))
    return number


def _number(text: str, mark: str | None) -> int | float:
    return float(text.replace(mark, ".")) if mark else int(text)


@cache
def ids_by_word(list_name: str) -> Mapping[str, str]:
    """Map every word for an id of one of the vocabulary's lists, written as headers are, to the id:
    the id itself, its label in each language, with and without its explanation, and the words of
    ``rules/sheet_columns.yaml``."""
    ids = Vocabulary.bundled().values_of(list_name)
    return {
        NONE: NONE,
        **{plain_name(word): one for one in ids for word in _words_for(list_name, one)},
    }


def find_id(list_name: str, text: str) -> str | None:
    """Return the id that a text means, or ``none``; None for a word that is not in the list."""
    word = plain_name(text)
    if means_none(word):
        return NONE
    return _ids_written(list_name).get(word) or ids_by_word(list_name).get(word)


@cache
def _ids_written(list_name: str) -> Mapping[str, str]:
    """Map ids as headers are written to the ids: the labels of all languages take long to read, and
    a sheet of ids needs none."""
    return {plain_name(one): one for one in Vocabulary.bundled().values_of(list_name)}


def means_none(text: str) -> bool:
    """Tell whether a text says that there is nothing."""
    word = plain_name(text)
    is_none = word == NONE or word in HeaderWords.bundled().none
    return is_none or SheetWords.bundled().is_none(text)


def parse_id(list_name: str, text: str) -> str:
    """Return the id that a text means; an unknown word is written as ids are, to be refused by
    name."""
    return find_id(list_name, text) or plain_name(text).replace("_", "-")


def parse_ids(list_name: str, text: str) -> list[str]:
    """Return the ids of a list, empty if it says none. What stands between commas, semicolons or
    line ends is one word if it is known; otherwise spaces separate words too."""
    whole = find_id(list_name, text)
    ids = (
        [whole] if whole else [one for part in _split(text) for one in _parse_part(list_name, part)]
    )
    if list_name == _MUSCLE_GROUPS and not whole:  # regions may overlap
        ids = [*dict.fromkeys(ids)]
    return [] if ids == [NONE] else ids


def _parse_part(list_name: str, part: str) -> list[str]:
    known = _known_part(list_name, part)
    return known or [one for word in part.split() for one in _parse_word(list_name, word)]


def _known_part(list_name: str, part: str) -> list[str]:
    """Return the ids that a part of a list means as a whole: one, or those of a region."""
    known = find_id(list_name, part)
    if known or list_name != _MUSCLE_GROUPS:
        return [known] if known else []
    return [*SheetWords.bundled().groups_by_word.get(plain_name(part), ())]


def _parse_word(list_name: str, word: str) -> list[str]:
    return _known_part(list_name, word) or [parse_id(list_name, word)]


def _split(text: str) -> Iterator[str]:
    yield from (part for part in _LIST_SEPARATORS.split(text) if part.strip())


def _words_for(list_name: str, identifier: str) -> Iterator[str]:
    words = HeaderWords.bundled()
    yield identifier
    yield from words.of_cells.get(list_name, {}).get(identifier, ())
    yield from SheetWords.bundled().of_cells(list_name, identifier)
    if list_name == _MUSCLE_GROUPS:
        yield from words.of_muscle_group(identifier)
    for language in languages():
        label = _labels(language).get(identifier)
        if label:
            yield from (label, _EXPLANATION.split(label)[0])


@cache
def _labels(language: str) -> Mapping[str, str]:
    return Vocabulary.bundled().translated(Texts.without_rules(language)).labels
