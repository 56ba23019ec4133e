"""How does a CSV file, as people write it, become a sheet?"""

from __future__ import annotations

import codecs
import csv
import io
from collections import Counter
from collections.abc import Iterator

from dawnrule.errors import MalformedInput
from dawnrule.sheet.columns import Layout, plain_name
from dawnrule.sheet.rows import Sheet, read_row

_DELIMITERS = ",;\t"
_ZIP_START = b"PK\x03\x04"
_STATED = "sep="

Record = tuple[int, list[str]]


def read_sheet(data: bytes, layout: Layout) -> Sheet:
    """Read a CSV file. Raises ``MalformedInput`` for one that cannot be read as a whole.

    The delimiter is the one that gives the most known column names in the header. Columns that
    are not known are kept; so is every row, whatever is wrong with it.
    """
    text, stated = _without_stated_delimiter(_decoded(data))
    delimiter = stated or max(_DELIMITERS, key=lambda char: _known_columns(text, char, layout))
    records = _records(text, delimiter)
    _, first = next(records, (0, []))
    header = tuple(name.strip() for name in first[: _width(first)])
    _refuse_unusable(header, layout)
    return Sheet(
        layout=layout,
        header=header,
        rows=tuple(read_row(layout, number, header, cells) for number, cells in records),
        delimiter=delimiter,
        has_byte_order_mark=data.startswith(codecs.BOM_UTF8),
    )


def _decoded(data: bytes) -> str:
    if data.startswith(_ZIP_START):
        raise MalformedInput("This is a spreadsheet's own file, not CSV; save the sheet as CSV.")
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        raise MalformedInput(f"Line {line} is not UTF-8; save the sheet as CSV UTF-8.") from error
    if "\0" in text:
        raise MalformedInput("This is not a text file; save the sheet as CSV UTF-8.")
    return text


def _without_stated_delimiter(text: str) -> tuple[str, str | None]:
    """The text, and the delimiter that a first line like ``sep=;`` states; such a line is for
    the spreadsheet program, which does not show it and does not count it."""
    first, _, rest = text.partition("\n")
    stated = first.rstrip("\r").lower().removeprefix(_STATED)
    if first.lower().startswith(_STATED) and len(stated) == 1:
        return rest, stated
    return text, None


def _known_columns(text: str, delimiter: str, layout: Layout) -> int:
    try:
        _, header = next(_records(text, delimiter), (0, []))
    except MalformedInput:
        return 0
    return sum(layout.column_named(name) is not None for name in header)


def _records(text: str, delimiter: str) -> Iterator[Record]:
    """The rows that are not blank, each with its number; the first row is 1."""
    lines = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    try:
        for number, cells in enumerate(lines, start=1):
            if _width(cells):
                yield number, cells
    except csv.Error as error:
        message = f"Line {lines.line_num} cannot be read: {error}. Check its quotation marks."
        raise MalformedInput(message) from error


def _width(cells: list[str]) -> int:
    """How many cells there are up to the last that is not blank."""
    return max((place for place, cell in enumerate(cells, start=1) if cell.strip()), default=0)


def _refuse_unusable(header: tuple[str, ...], layout: Layout) -> None:
    names = Counter(plain_name(name) for name in header)
    missing = [name for name in layout.required if name not in names]
    if missing:
        raise MalformedInput(
            f"The sheet's first row must name its columns; missing: {', '.join(missing)}. "
            f"Known columns: {', '.join(layout.columns())}."
        )
    twice = [name for name in layout.columns() if names[name] > 1]
    if twice:
        raise MalformedInput(f"These columns stand in the sheet twice: {', '.join(twice)}.")
