"""Sheet reading: from the bytes of a file to its rows, one for each morning."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from difflib import get_close_matches
from itertools import islice
from typing import Any

from dawnrule.errors import FieldError, MalformedInput
from dawnrule.i18n.lazy import LazyText, lazy, lazy_join, lazy_list
from dawnrule.sheet.cells import Cell, Record, cell_text, is_blank
from dawnrule.sheet.columns import HeaderWords, Layout, Path, plain_name
from dawnrule.sheet.errors import CellFault, cell_name, column_letters
from dawnrule.sheet.options import DEFAULT_OPTIONS, MOST_COLUMNS, MOST_ROWS, ReadOptions
from dawnrule.sheet.rows import Header, SheetRow, read_row
from dawnrule.sheet.sheet import Sheet
from dawnrule.sheet.text_file import decode, likeliest_delimiter, records, split_stated_delimiter
from dawnrule.sheet.workbook import ZIP_START, read_workbook

_UTF_8 = "utf-8"
_COLUMNS_DOCUMENTED_IN = "clients_demo/spreadsheet/README.md"
_MISSPELLED = 0.82  # difflib's ratio, 0 to 1: takes illnes for illness, but not wellness
_SIMILAR = 0.7  # enough to choose between columns about one thing
_SHORTEST_IN_A_WORD = 4  # letters: painful contains pain; ill in skill does not count
_LONGEST_MISTYPED = 60  # characters: longer text is a sentence, and slow to compare
_SHORTEST_MISTYPED = 5  # letters: shorter words resemble too many others
_ATHLETE: Path = ("athlete_id",)
_DATE: Path = ("date",)


def read_sheet(data: bytes, layout: Layout, options: ReadOptions = DEFAULT_OPTIONS) -> Sheet:
    """Read a CSV file or a sheet of a workbook.

    Unknown columns are kept; so is every row, whatever is wrong with it. Raises ``MalformedInput``
    for a file that cannot be read as a whole, ``InvalidInput`` for options that do not fit it.
    """
    if data.startswith(ZIP_START):
        return _of_workbook(data, layout, options)
    return _of_text(data, layout, options)


def _of_text(data: bytes, layout: Layout, options: ReadOptions) -> Sheet:
    decoded = decode(data)
    if options.table is not None:
        raise MalformedInput(lazy("sheet.csv_has_no_names"))
    text, stated = split_stated_delimiter(decoded.text)
    delimiter = stated or likeliest_delimiter(text, layout)
    head, rows = _read_records(records(text, delimiter), layout, options)
    return Sheet(
        layout=layout,
        head=head,
        rows=rows,
        delimiter=delimiter,
        encoding=decoded.encoding_in_words,
        encoding_was_guessed=decoded.was_guessed,
        has_byte_order_mark=decoded.has_mark or decoded.encoding != _UTF_8,
    )


def _of_workbook(data: bytes, layout: Layout, options: ReadOptions) -> Sheet:
    workbook, found = read_workbook(data, options.table)
    try:
        head, rows = _read_records(iter(found), layout, options)
    except MalformedInput as error:  # perhaps another sheet was meant
        details = filter(None, (error.detail, workbook.other_tables_remark))
        raise MalformedInput(lazy_join(details)) from error
    return Sheet(layout, head, rows, workbook=workbook)


def _read_records(
    found: Iterator[Record], layout: Layout, options: ReadOptions
) -> tuple[Header, tuple[SheetRow, ...]]:
    number, first = next(found, (1, ()))
    head = Header(layout, tuple(cell_text(name).strip() for name in first[: _width(first)]), number)
    _reject_unusable(head)
    lines = list(islice(found, MOST_ROWS))
    if next(found, None):
        raise MalformedInput(lazy("sheet.too_many_rows", most=MOST_ROWS))
    options.check_count(_count(head, lines))
    rows = [read_row(head, row, cells, options) for row, cells in lines]
    return head, tuple(_without_duplicates(head, rows))


def _count(head: Header, lines: Sequence[Record]) -> int:
    """Count the rows, or the mornings where one may take several rows. Cells are compared as they
    are written: reading them takes a hundred times as long."""
    if not head.is_long:
        return len(lines)
    last = 1 + max(head.places[name] for name in head.layout.required)
    places = [head.places[name] for name in head.layout.required]
    written = ([*map(cell_text, cells[:last]), *("",) * last] for _, cells in lines)
    return len({tuple(cells[place] for place in places) for cells in written})


def _width(cells: Sequence[Cell]) -> int:
    """Count the cells up to the last that is not blank."""
    filled = (place for place, cell in enumerate(cells, start=1) if not is_blank(cell))
    return max(filled, default=0)


def _reject_unusable(head: Header) -> None:
    _reject_missing(head)
    if len(head.names) > MOST_COLUMNS:
        count = len(head.names)
        raise MalformedInput(lazy("sheet.too_many_columns", count=count, most=MOST_COLUMNS))
    repeated = [*_repeated_columns(head)]
    if repeated:
        raise MalformedInput(lazy("sheet.columns_twice", columns=lazy_join(repeated, ", ")))
    reject_unknown_sign_columns(head)


def _reject_missing(head: Header) -> None:
    missing = [name for name in head.layout.required if name not in head.places]
    if missing:
        detail = lazy(
            "sheet.columns_missing",
            missing=", ".join(missing),
            likely=lazy_join(_likely_words(head, missing), ""),
            common=", ".join(head.layout.common),
            where=_COLUMNS_DOCUMENTED_IN,
        )
        raise MalformedInput(detail)


def _likely_words(head: Header, missing: Sequence[str]) -> Iterator[LazyText]:
    """Find for each missing column the unknown header that is most like one of its words."""
    unknown = {
        plain_name(name): name
        for name, column in zip(head.names, head.columns, strict=True)
        if not column
    }
    for name in missing:
        words = [word for word, column in head.layout.words().items() if column.name == name]
        near = (get_close_matches(word, unknown, n=1) for word in words)
        found = next((unknown[one] for ones in near for one in ones), None)
        if found:
            yield lazy("sheet.likely_meant", found=found, name=name)


def _repeated_columns(head: Header) -> Iterable[str]:
    """Yield the columns that stand under more than one word, with the words where they differ."""
    words: dict[str, list[str]] = {}
    for word, column in zip(head.names, head.columns, strict=True):
        if column is not None:
            words.setdefault(column.name, []).append(word)
    for name, under in words.items():
        if len(under) > 1:
            differ = len(Counter(map(plain_name, under))) > 1
            words_under = lazy_join(under, lazy("sheet.and"))
            yield lazy("sheet.column_as", column=name, words=words_under) if differ else name


def reject_unknown_sign_columns(head: Header) -> None:
    """Refuse unknown columns that may speak of pain, illness, a warning sign or soreness: ignored,
    they would look as if there were none. Raises ``MalformedInput`` with each of them."""
    found = [*_unknown_sign_columns(head)] if head.layout.is_of_mornings else []
    if found:
        raise MalformedInput(lazy_join(found))


def _unknown_sign_columns(head: Header) -> Iterator[str]:
    own = HeaderWords.bundled().own
    for place, (name, column) in enumerate(zip(head.names, head.columns, strict=True)):
        word = plain_name(name)
        is_known = column or word in head.layout.answers or word.startswith(own)
        meant = None if is_known else _meant_sign_column(word, head.layout)
        if meant:
            letters = column_letters(place)
            own_name = f"{own}{word}"
            yield lazy("sheet.unread_sign", letters=letters, name=name, meant=meant, own=own_name)


def _meant_sign_column(word: str, layout: Layout) -> str | None:
    """Return the column that a word probably means, if it may call for rest."""
    sign = next(
        (sign for sign in HeaderWords.bundled().never_unread if _may_mean(word, sign)), None
    )
    if sign:
        columns = {w: c.name for w, c in layout.words().items() if c.name.startswith(sign)}
        likeliest = get_close_matches(word, columns, n=1, cutoff=_SIMILAR)
        return columns[likeliest[0]] if likeliest else next(iter(columns.values()))
    known = {w: c.name for w, c in layout.words().items() if len(w) >= _SHORTEST_MISTYPED}
    nearest_of_all = get_close_matches(word, known, n=1, cutoff=_MISSPELLED)
    name = known[nearest_of_all[0]] if nearest_of_all else ""
    return name if name.startswith(tuple(HeaderWords.bundled().never_unread)) else None


def _may_mean(word: str, sign: str) -> bool:
    words = HeaderWords.bundled().never_unread[sign]
    parts = word.split("_")
    return (
        any(one in parts for one in words)
        or any(one in word for one in words if len(one) >= _SHORTEST_IN_A_WORD)
        or (len(word) <= _LONGEST_MISTYPED and any(_is_misspelled(part, words) for part in parts))
    )


def _is_misspelled(part: str, words: Sequence[str]) -> bool:
    long = [word for word in words if len(word) >= _SHORTEST_MISTYPED]
    return bool(get_close_matches(part, long, n=1, cutoff=_MISSPELLED))


def _without_duplicates(head: Header, rows: list[SheetRow]) -> list[SheetRow]:
    if head.is_long:
        return merge_mornings(rows)
    return reject_contradictions(rows) if head.layout.is_of_mornings else rows


def merge_mornings(rows: Iterable[SheetRow]) -> list[SheetRow]:
    """Merge rows of one athlete and date, in the order of the first of each. Rows may complete each
    other; what two of them say must be the same."""
    mornings: dict[Any, list[SheetRow]] = {}
    for row in rows:
        mornings.setdefault(_subject(row) or row.number, []).append(row)
    return [_merge(morning) for morning in mornings.values()]


def _merge(rows: Sequence[SheetRow]) -> SheetRow:
    if len(rows) == 1:
        return rows[0]
    first: dict[Path, SheetRow] = {}
    faults: list[FieldError] = [error for row in rows for error in row.errors]
    for row in rows:
        for path, value in row.read.items():
            earlier = first.setdefault(path, row)
            if earlier.read[path] != value:
                faults += _contradicting_cells(path, earlier, row)
    return SheetRow(
        header=rows[0].header,
        lines=tuple(line for row in rows for line in row.lines),
        read={path: row.read[path] for path, row in first.items()},
        places={path: row.places[path] for path, row in first.items()},
        errors=tuple(dict.fromkeys(faults)),
        interpretations=tuple(one for row in rows for one in row.interpretations),
    )


def _contradicting_cells(path: Path, one: SheetRow, other: SheetRow) -> Iterator[FieldError]:
    """Name both cells, as nobody can tell which of them is right."""
    for row, against in ((one, other), (other, one)):
        number, place = row.places[path]
        content = cell_text(row.lines[0].values[place])
        where = cell_name(*against.places[path])
        detail = lazy("sheet.contradicts", cell=where)
        yield CellFault.of(row.header.names[place], content, detail, cell_name(number, place))


def reject_contradictions(rows: Sequence[SheetRow]) -> list[SheetRow]:
    """Refuse rows of one athlete and date that differ, in a sheet with one row for each morning;
    nobody can tell which of them is right. Their fault stands at the date."""
    mornings: dict[Any, list[SheetRow]] = {}
    for row in rows:
        if not row.errors and (subject := _subject(row)):
            mornings.setdefault(subject, []).append(row)
    refused = {
        row.number: replace(row, errors=(_contradicted_date(row, morning, differing),))
        for morning in mornings.values()
        if (differing := _differing(morning))
        for row in morning
    }
    return [refused.get(row.number, row) for row in rows]


def _differing(morning: Sequence[SheetRow]) -> dict[Path, str]:
    """Map the paths in which the rows differ to the words of their columns."""
    return {
        path: row.header.names[row.places[path][1]]
        for row in morning
        for path, value in row.read.items()
        if any(other.read.get(path) != value for other in morning)
    }


def _contradicted_date(
    row: SheetRow, morning: Sequence[SheetRow], differing: Mapping[Path, str]
) -> FieldError:
    number, place = row.places[_DATE]
    athlete_id = row.read[_ATHLETE]
    details: dict[str, object] = {
        "count": len(morning),
        "athlete": athlete_id,
        "rows": lazy_list([str(one.number) for one in morning]),
        "columns": lazy_join(dict.fromkeys(differing.values()), lazy("sheet.and")),
    }
    detail = _keep_one_row(row.header.layout, differing, details)
    word, content = row.header.names[place], cell_text(row.lines[0].values[place])
    return CellFault.of(word, content, detail, cell_name(number, place))


def _keep_one_row(
    layout: Layout, differing: Iterable[Path], details: Mapping[str, object]
) -> LazyText:
    if any(path[0] == layout.block_list for path in differing):
        return lazy("sheet.said_otherwise_of_plan", block=layout.blocks[1], **details)
    return lazy("sheet.said_otherwise", **details)


def _subject(row: SheetRow) -> tuple[Any, ...] | None:
    """Return the athlete and the date, if both can be read."""
    required: list[Path] = [(name,) for name in row.header.layout.required]
    known = all(path in row.read for path in required)
    return tuple(row.read[path] for path in required) if known else None
