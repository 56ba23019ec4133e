"""Text files: encoding, delimiter and records of a CSV file."""

from __future__ import annotations

import codecs
import csv
import io
import re
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import islice

from dawnrule.errors import MalformedInput
from dawnrule.i18n.lazy import lazy
from dawnrule.sheet.cells import Record
from dawnrule.sheet.columns import Layout
from dawnrule.sheet.options import MOST_COLUMNS
from dawnrule.sheet.shape import likeness_to_header

_UTF_8, _WINDOWS_1252 = "utf-8", "windows-1252"
_MARKS = {
    codecs.BOM_UTF8: _UTF_8,
    codecs.BOM_UTF16_LE: "utf-16-le",
    codecs.BOM_UTF16_BE: "utf-16-be",
}
_NOT_TEXT = re.compile(r"[\x00-\x08\x0e-\x1f]")
_OTHER_FORMATS = {
    b"\xd0\xcf\x11\xe0": "sheet.is_old_excel",
    b"%PDF": "sheet.is_pdf",
    b"<": "sheet.is_markup",
}
_DELIMITERS = ",;\t|"
_STATED = "sep="
_ROWS_LOOKED_AT = 25
_FIELD_TOO_LONG = "field larger"  # the start of the csv module's message


@dataclass(frozen=True, slots=True)
class Decoded:
    """A file's text without its byte order mark, and its encoding. ``was_guessed``: no encoding
    that proves itself fits the bytes."""

    text: str
    encoding: str
    has_mark: bool = False
    was_guessed: bool = False

    @property
    def encoding_in_words(self) -> str:
        """Name the encoding, and say so if it was guessed."""
        return lazy("sheet.guessed", encoding=self.encoding) if self.was_guessed else self.encoding


def decode(data: bytes) -> Decoded:
    """Decode by the byte order mark, else as UTF-8, else as Windows-1252, which is then a guess.

    Raises ``MalformedInput`` for bytes that are not text.
    """
    _reject_other_formats(data)
    decoded = _decode_by_mark(data) or _decode_without_mark(data)
    found = _NOT_TEXT.search(decoded.text)
    if found:
        line = decoded.text.count("\n", 0, found.start()) + 1
        raise MalformedInput(lazy("sheet.no_text", line=line))
    return decoded


def split_stated_delimiter(text: str) -> tuple[str, str | None]:
    """Split off a first line like ``sep=;``; return the rest and the delimiter, or None without
    one.

    Such a line is for the spreadsheet program, which neither shows nor counts it.
    """
    first = text[: len(_STATED) + 1].lower()
    rest = text[len(first) :]
    if first.startswith(_STATED) and len(first) > len(_STATED) and rest[:1] in ("\r", "\n", ""):
        line_end = "\r\n" if rest.startswith("\r\n") else rest[:1]
        return rest.removeprefix(line_end), first[-1]
    return text, None


def likeliest_delimiter(text: str, layout: Layout) -> str:
    """Choose the delimiter that gives the most known column names in the header."""
    return max(_DELIMITERS, key=lambda delimiter: _likeness(text, delimiter, layout))


def records(text: str, delimiter: str) -> Iterator[Record]:
    """Read the rows that are not blank, each with its number, from 1.

    Raises ``MalformedInput`` where quotation marks do not fit.
    """
    lines = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    try:
        for number, cells in enumerate(lines, start=1):
            if any(map(str.strip, cells)):
                yield number, cells
    except csv.Error as error:
        raise MalformedInput(_line_error(lines.line_num, error)) from error


def _reject_other_formats(data: bytes) -> None:
    start = data.removeprefix(codecs.BOM_UTF8).lstrip()
    for magic, refusal in _OTHER_FORMATS.items():
        if start.startswith(magic):
            raise MalformedInput(lazy(refusal))


def _decode_by_mark(data: bytes) -> Decoded | None:
    for mark, encoding in _MARKS.items():
        if data.startswith(mark):
            try:
                text = data.removeprefix(mark).decode(encoding)
            except UnicodeDecodeError as error:
                message = lazy("sheet.not_as_marked", encoding=encoding.upper())
                raise MalformedInput(message) from error
            return Decoded(text, encoding, has_mark=True)
    return None


def _decode_without_mark(data: bytes) -> Decoded:
    try:
        return Decoded(data.decode(_UTF_8), _UTF_8)
    except UnicodeDecodeError:
        pass
    try:
        return Decoded(data.decode(_WINDOWS_1252), _WINDOWS_1252, was_guessed=True)
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        raise MalformedInput(lazy("sheet.no_encoding", line=line)) from error


def _likeness(text: str, delimiter: str, layout: Layout) -> tuple[bool, int]:
    """Tell how much the cells between a delimiter look like a header: those of the row that names
    what a header must, or else those of the first row."""
    first: tuple[bool, int] | None = None
    try:
        for _, cells in islice(records(text, delimiter), _ROWS_LOOKED_AT):
            found = likeness_to_header(layout, cells[:MOST_COLUMNS])
            first = first or found
            if found[0]:
                return found
    except MalformedInput:
        pass
    return first or (False, 0)


def _line_error(line: int, error: csv.Error) -> str:
    if str(error).startswith(_FIELD_TOO_LONG):
        return lazy("sheet.line_too_long", line=line, most=csv.field_size_limit())
    return lazy("sheet.line_unreadable", line=line)
