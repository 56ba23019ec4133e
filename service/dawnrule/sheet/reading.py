"""How does a file, as people and programs write it, become a sheet?"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from difflib import get_close_matches
from itertools import islice

from dawnrule.errors import MalformedInput
from dawnrule.sheet.cells import Cell, Record, is_blank, shown
from dawnrule.sheet.columns import Layout
from dawnrule.sheet.declared import NOTHING, Declared
from dawnrule.sheet.decoding import decode
from dawnrule.sheet.headers import plain_name
from dawnrule.sheet.limits import MOST_COLUMNS, MOST_ROWS
from dawnrule.sheet.mornings import as_mornings, with_contradictions
from dawnrule.sheet.row_reading import read_row
from dawnrule.sheet.rows import Header, SheetRow
from dawnrule.sheet.separated import likeliest_delimiter, records, without_stated_delimiter
from dawnrule.sheet.sheet import Sheet
from dawnrule.sheet.unpacking import ZIP_START
from dawnrule.sheet.unread import refuse_unread_signs
from dawnrule.sheet.workbook import read_workbook
from dawnrule.vocabulary.said import Said, say, say_all

_UTF_8 = "utf-8"
_ALL_COLUMNS = "clients_demo/spreadsheet/README.md"


def read_sheet(data: bytes, layout: Layout, declared: Declared = NOTHING) -> Sheet:
    """Read a CSV file or a sheet of a workbook.

    Columns that are not known are kept; so is every row, whatever is wrong with it. Raises
    ``MalformedInput`` for a file that cannot be read as a whole, ``InvalidInput`` for what was
    declared of it and does not hold.
    """
    if data.startswith(ZIP_START):
        return _of_workbook(data, layout, declared)
    return _of_text(data, layout, declared)


def _of_text(data: bytes, layout: Layout, declared: Declared) -> Sheet:
    decoded = decode(data)
    if declared.table is not None:
        raise MalformedInput(say("sheet.csv_has_no_names"))
    text, stated = without_stated_delimiter(decoded.text)
    delimiter = stated or likeliest_delimiter(text, layout)
    head, rows = _read(records(text, delimiter), layout, declared)
    return Sheet(
        layout=layout,
        head=head,
        rows=rows,
        delimiter=delimiter,
        encoding=decoded.encoding_in_words,
        encoding_was_guessed=decoded.was_guessed,
        has_byte_order_mark=decoded.has_mark or decoded.encoding != _UTF_8,
    )


def _of_workbook(data: bytes, layout: Layout, declared: Declared) -> Sheet:
    workbook, found = read_workbook(data, declared.table)
    try:
        head, rows = _read(iter(found), layout, declared)
    except MalformedInput as error:  # perhaps as another sheet was meant
        said = filter(None, (error.detail, workbook.passed_over))
        raise MalformedInput(say_all(said)) from error
    return Sheet(layout, head, rows, workbook=workbook)


def _read(
    found: Iterator[Record], layout: Layout, declared: Declared
) -> tuple[Header, tuple[SheetRow, ...]]:
    number, first = next(found, (1, ()))
    head = Header(layout, tuple(shown(name).strip() for name in first[: _width(first)]), number)
    _refuse_unusable(head)
    rows = [read_row(head, row, cells, declared) for row, cells in islice(found, MOST_ROWS)]
    if next(found, None):
        raise MalformedInput(say("sheet.too_many_rows", most=MOST_ROWS))
    return head, tuple(_settled(head, rows))


def _settled(head: Header, rows: list[SheetRow]) -> list[SheetRow]:
    if head.is_long:
        return as_mornings(rows)
    return with_contradictions(rows) if head.layout.is_of_mornings else rows


def _width(cells: Sequence[Cell]) -> int:
    """How many cells there are up to the last that is not blank."""
    filled = (place for place, cell in enumerate(cells, start=1) if not is_blank(cell))
    return max(filled, default=0)


def _refuse_unusable(head: Header) -> None:
    _refuse_missing(head)
    if len(head.names) > MOST_COLUMNS:
        count = len(head.names)
        raise MalformedInput(say("sheet.too_many_columns", count=count, most=MOST_COLUMNS))
    twice = [*_twice(head)]
    if twice:
        raise MalformedInput(say("sheet.columns_twice", columns=say_all(twice, ", ")))
    refuse_unread_signs(head)


def _refuse_missing(head: Header) -> None:
    missing = [name for name in head.layout.required if name not in head.places]
    if missing:
        said = say(
            "sheet.columns_missing",
            missing=", ".join(missing),
            likely=say_all(_likely_meant(head, missing), ""),
            common=", ".join(head.layout.common),
            where=_ALL_COLUMNS,
        )
        raise MalformedInput(said)


def _likely_meant(head: Header, missing: Sequence[str]) -> Iterator[Said]:
    """For each missing column the unread header that is most like one of its words."""
    unread = {
        plain_name(name): name
        for name, column in zip(head.names, head.columns, strict=True)
        if not column
    }
    for name in missing:
        words = [word for word, column in head.layout.words().items() if column.name == name]
        near = (get_close_matches(word, unread, n=1) for word in words)
        found = next((unread[one] for ones in near for one in ones), None)
        if found:
            yield say("sheet.likely_meant", found=found, name=name)


def _twice(head: Header) -> Iterable[str]:
    """The columns that stand under more than one word, with the words where they differ."""
    words: dict[str, list[str]] = {}
    for word, column in zip(head.names, head.columns, strict=True):
        if column is not None:
            words.setdefault(column.name, []).append(word)
    for name, under in words.items():
        if len(under) > 1:
            differ = len(Counter(map(plain_name, under))) > 1
            words_under = say_all(under, say("sheet.and"))
            yield say("sheet.column_as", column=name, words=words_under) if differ else name
