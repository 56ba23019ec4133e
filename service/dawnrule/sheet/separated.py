"""Where does a cell end in a text file, and which cells stand in which row?"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator, Sequence

from dawnrule.errors import MalformedInput
from dawnrule.sheet.cells import Record
from dawnrule.sheet.columns import Layout
from dawnrule.sheet.limits import MOST_COLUMNS
from dawnrule.vocabulary.said import say

_DELIMITERS = ",;\t|"
_STATED = "sep="
_TOO_LONG = "field larger"  # how the library begins to say so


def without_stated_delimiter(text: str) -> tuple[str, str | None]:
    """The text, and the delimiter that a first line like ``sep=;`` states; such a line is for
    the spreadsheet program, which does not show it and does not count it."""
    first = text[: len(_STATED) + 1].lower()
    rest = text[len(first) :]
    if first.startswith(_STATED) and len(first) > len(_STATED) and rest[:1] in ("\r", "\n", ""):
        line_end = "\r\n" if rest.startswith("\r\n") else rest[:1]
        return rest.removeprefix(line_end), first[-1]
    return text, None


def likeliest_delimiter(text: str, layout: Layout) -> str:
    """The one that gives the most known column names in the header."""
    return max(_DELIMITERS, key=lambda delimiter: _known_columns(text, delimiter, layout))


def records(text: str, delimiter: str) -> Iterator[Record]:
    """The rows that are not blank, each with its number; the first row is 1.

    Raises ``MalformedInput`` where quotation marks do not fit.
    """
    lines = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    try:
        for number, cells in enumerate(lines, start=1):
            if any(map(str.strip, cells)):
                yield number, cells
    except csv.Error as error:
        raise MalformedInput(_unreadable(lines.line_num, error)) from error


def _unreadable(line: int, error: csv.Error) -> str:
    if str(error).startswith(_TOO_LONG):
        return say("sheet.line_too_long", line=line, most=csv.field_size_limit())
    return say("sheet.line_unreadable", line=line)


def _known_columns(text: str, delimiter: str, layout: Layout) -> int:
    nothing: tuple[int, Sequence[str]] = (0, ())
    try:
        _, header = next(records(text, delimiter), nothing)
    except MalformedInput:
        return 0
    names = map(str, header[:MOST_COLUMNS])
    return sum(layout.column_named(name) is not None for name in names)
