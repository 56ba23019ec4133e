"""How does a file, as people and programs write it, become a sheet?"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from difflib import get_close_matches
from itertools import islice
from typing import Any

from dawnrule.errors import FieldError, MalformedInput
from dawnrule.i18n.lazy import LazyText, lazy, lazy_join, lazy_list
from dawnrule.sheet.cells import Cell, Record, is_blank, shown
from dawnrule.sheet.columns import HeaderWords, Layout, Path, plain_name
from dawnrule.sheet.errors import CellFault, cell_name, column_letters
from dawnrule.sheet.options import MOST_COLUMNS, MOST_ROWS, NOTHING, Declared
from dawnrule.sheet.rows import Header, SheetRow, read_row
from dawnrule.sheet.sheet import Sheet
from dawnrule.sheet.text_file import decode, likeliest_delimiter, records, without_stated_delimiter
from dawnrule.sheet.workbook import ZIP_START, read_workbook

_NEARLY_ALIKE = 0.82  # of difflib's likeness, from 0 to 1: illnes, and not wellness
_ALIKE = 0.7  # enough to choose between columns about one thing
_SHORTEST_IN_A_WORD = 4  # letters: painful has pain in it, skill is not about being ill
_LONGEST_MISTYPED = 60  # characters: what is longer is a sentence, and slow to compare
_SHORTEST_MISTYPED = 5  # letters: of shorter words too many others are nearly one


def refuse_unread_signs(head: Header) -> None:
    """Pain, illness, a warning sign or soreness that is left out would look as if there were
    none. Raises ``MalformedInput`` with every column that may speak of one and is not known."""
    found = [*_told(head)] if head.layout.is_of_mornings else []
    if found:
        raise MalformedInput(lazy_join(found))


def _told(head: Header) -> Iterator[str]:
    own = HeaderWords.bundled().own
    for place, (name, column) in enumerate(zip(head.names, head.columns, strict=True)):
        word = plain_name(name)
        is_known = column or word in head.layout.answers or word.startswith(own)
        meant = None if is_known else _meant(word, head.layout)
        if meant:
            letters = column_letters(place)
            own_name = f"{own}{word}"
            yield lazy("sheet.unread_sign", letters=letters, name=name, meant=meant, own=own_name)


def _meant(word: str, layout: Layout) -> str | None:
    """The column that a word was likely meant for, if it may speak of what calls for rest."""
    sign = next((sign for sign in HeaderWords.bundled().never_unread if _may_be(word, sign)), None)
    if sign:
        columns = {w: c.name for w, c in layout.words().items() if c.name.startswith(sign)}
        likeliest = get_close_matches(word, columns, n=1, cutoff=_ALIKE)
        return columns[likeliest[0]] if likeliest else next(iter(columns.values()))
    known = {w: c.name for w, c in layout.words().items() if len(w) >= _SHORTEST_MISTYPED}
    nearest_of_all = get_close_matches(word, known, n=1, cutoff=_NEARLY_ALIKE)
    name = known[nearest_of_all[0]] if nearest_of_all else ""
    return name if name.startswith(tuple(HeaderWords.bundled().never_unread)) else None


def _may_be(word: str, sign: str) -> bool:
    words = HeaderWords.bundled().never_unread[sign]
    parts = word.split("_")
    return (
        any(one in parts for one in words)
        or any(one in word for one in words if len(one) >= _SHORTEST_IN_A_WORD)
        or (len(word) <= _LONGEST_MISTYPED and any(_nearly(part, words) for part in parts))
    )


def _nearly(part: str, words: Sequence[str]) -> bool:
    long = [word for word in words if len(word) >= _SHORTEST_MISTYPED]
    return bool(get_close_matches(part, long, n=1, cutoff=_NEARLY_ALIKE))


_ATHLETE: Path = ("athlete_id",)
_DATE: Path = ("date",)


def as_mornings(rows: Iterable[SheetRow]) -> list[SheetRow]:
    """Rows of one athlete and date as one, in the order of the first of each. What one of them
    leaves out another may say; what two say must be the same."""
    mornings: dict[Any, list[SheetRow]] = {}
    for row in rows:
        mornings.setdefault(_subject(row) or row.number, []).append(row)
    return [_as_one(morning) for morning in mornings.values()]


def with_contradictions(rows: Sequence[SheetRow]) -> list[SheetRow]:
    """The rows of a sheet that has one for each morning. Those of one athlete and date that say
    different things are refused at their date: which of them holds cannot be told."""
    mornings: dict[Any, list[SheetRow]] = {}
    for row in rows:
        if not row.errors and (subject := _subject(row)):
            mornings.setdefault(subject, []).append(row)
    refused = {
        row.number: replace(row, errors=(_said_otherwise(row, morning, differing),))
        for morning in mornings.values()
        if (differing := _differing(morning))
        for row in morning
    }
    return [refused.get(row.number, row) for row in rows]


def _differing(morning: Sequence[SheetRow]) -> dict[Path, str]:
    """The words of the columns in which not all rows say the same, by their paths."""
    return {
        path: row.header.names[row.places[path][1]]
        for row in morning
        for path, value in row.read.items()
        if any(other.read.get(path) != value for other in morning)
    }


def _said_otherwise(
    row: SheetRow, morning: Sequence[SheetRow], differing: Mapping[Path, str]
) -> FieldError:
    number, place = row.places[_DATE]
    athlete_id = row.read[_ATHLETE]
    about: dict[str, object] = {
        "count": len(morning),
        "athlete": athlete_id,
        "rows": lazy_list([str(one.number) for one in morning]),
        "columns": lazy_join(dict.fromkeys(differing.values()), lazy("sheet.and")),
    }
    detail = _keep_one_row(row.header.layout, differing, about)
    word, held = row.header.names[place], shown(row.lines[0].values[place])
    return CellFault.of(word, held, detail, cell_name(number, place))


def _keep_one_row(
    layout: Layout, differing: Iterable[Path], about: Mapping[str, object]
) -> LazyText:
    if any(path[0] == layout.block_list for path in differing):
        return lazy("sheet.said_otherwise_of_plan", block=layout.blocks[1], **about)
    return lazy("sheet.said_otherwise", **about)


def _subject(row: SheetRow) -> tuple[Any, ...] | None:
    """The athlete and the date, if both can be read."""
    required: list[Path] = [(name,) for name in row.header.layout.required]
    known = all(path in row.read for path in required)
    return tuple(row.read[path] for path in required) if known else None


def _as_one(rows: Sequence[SheetRow]) -> SheetRow:
    if len(rows) == 1:
        return rows[0]
    first: dict[Path, SheetRow] = {}
    faults: list[FieldError] = [error for row in rows for error in row.errors]
    for row in rows:
        for path, value in row.read.items():
            said = first.setdefault(path, row)
            if said.read[path] != value:
                faults += _contradiction(path, said, row)
    return SheetRow(
        header=rows[0].header,
        lines=tuple(line for row in rows for line in row.lines),
        read={path: row.read[path] for path, row in first.items()},
        places={path: row.places[path] for path, row in first.items()},
        errors=tuple(dict.fromkeys(faults)),
        heard=tuple(heard for row in rows for heard in row.heard),
    )


def _contradiction(path: Path, one: SheetRow, other: SheetRow) -> Iterator[FieldError]:
    """Both cells are named: which of them holds cannot be told."""
    for row, against in ((one, other), (other, one)):
        number, place = row.places[path]
        held = shown(row.lines[0].values[place])
        where = cell_name(*against.places[path])
        detail = lazy("sheet.contradicts", cell=where)
        yield CellFault.of(row.header.names[place], held, detail, cell_name(number, place))


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
        raise MalformedInput(lazy("sheet.csv_has_no_names"))
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
        raise MalformedInput(lazy_join(said)) from error
    return Sheet(layout, head, rows, workbook=workbook)


def _read(
    found: Iterator[Record], layout: Layout, declared: Declared
) -> tuple[Header, tuple[SheetRow, ...]]:
    number, first = next(found, (1, ()))
    head = Header(layout, tuple(shown(name).strip() for name in first[: _width(first)]), number)
    _refuse_unusable(head)
    rows = [read_row(head, row, cells, declared) for row, cells in islice(found, MOST_ROWS)]
    if next(found, None):
        raise MalformedInput(lazy("sheet.too_many_rows", most=MOST_ROWS))
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
        raise MalformedInput(lazy("sheet.too_many_columns", count=count, most=MOST_COLUMNS))
    twice = [*_twice(head)]
    if twice:
        raise MalformedInput(lazy("sheet.columns_twice", columns=lazy_join(twice, ", ")))
    refuse_unread_signs(head)


def _refuse_missing(head: Header) -> None:
    missing = [name for name in head.layout.required if name not in head.places]
    if missing:
        said = lazy(
            "sheet.columns_missing",
            missing=", ".join(missing),
            likely=lazy_join(_likely_meant(head, missing), ""),
            common=", ".join(head.layout.common),
            where=_ALL_COLUMNS,
        )
        raise MalformedInput(said)


def _likely_meant(head: Header, missing: Sequence[str]) -> Iterator[LazyText]:
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
            yield lazy("sheet.likely_meant", found=found, name=name)


def _twice(head: Header) -> Iterable[str]:
    """The columns that stand under more than one word, with the words where they differ."""
    words: dict[str, list[str]] = {}
    for word, column in zip(head.names, head.columns, strict=True):
        if column is not None:
            words.setdefault(column.name, []).append(word)
    for name, under in words.items():
        if len(under) > 1:
            differ = len(Counter(map(plain_name, under))) > 1
            words_under = lazy_join(under, lazy("sheet.and"))
            yield lazy("sheet.column_as", column=name, words=words_under) if differ else name
