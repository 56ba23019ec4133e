"""Sheet reading: from the bytes of a file to its rows, one for each morning."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from difflib import get_close_matches
from typing import Any

from dawnrule.errors import FieldError, MalformedInput
from dawnrule.i18n.lazy import LazyText, lazy, lazy_join, lazy_list
from dawnrule.schemas.fields import DateOrder
from dawnrule.sheet.cells import Record, cell_text
from dawnrule.sheet.columns import HeaderWords, Layout, Path, plain_name
from dawnrule.sheet.datetimes import settled_order
from dawnrule.sheet.errors import CellFault, cell_name, column_letters
from dawnrule.sheet.meanings import ColumnMeaning, meanings_of
from dawnrule.sheet.options import DEFAULT_OPTIONS, MOST_COLUMNS, ReadOptions
from dawnrule.sheet.rows import Header, SheetRow, read_row
from dawnrule.sheet.shape import Table, find_table
from dawnrule.sheet.sheet import Reading, Sheet
from dawnrule.sheet.text_file import decode, likeliest_delimiter, records, split_stated_delimiter
from dawnrule.sheet.workbook import ZIP_START, read_workbook

_UTF_8 = "utf-8"
_COLUMNS_DOCUMENTED_IN = "clients_demo/spreadsheet/README.md"
_NEAR = 0.75  # difflib's ratio, 0 to 1: words as short as day and age must not match
_ATHLETE: Path = ("athlete_id",)
_DATE: Path = ("date",)


@dataclass(frozen=True, slots=True)
class SheetColumns:
    """The columns of a sheet with their meanings, and whom its rows name that nobody knows."""

    columns: tuple[ColumnMeaning, ...]
    unknown_athletes: tuple[str, ...]


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
    head, rows, reading = _read_records(records(text, delimiter), layout, options)
    return Sheet(
        layout=layout,
        head=head,
        rows=rows,
        delimiter=delimiter,
        encoding=decoded.encoding_in_words,
        encoding_was_guessed=decoded.was_guessed,
        has_byte_order_mark=decoded.has_mark or decoded.encoding != _UTF_8,
        how=reading,
    )


def _of_workbook(data: bytes, layout: Layout, options: ReadOptions) -> Sheet:
    workbook, found = read_workbook(data, options.table)
    try:
        head, rows, reading = _read_records(iter(found), layout, options)
    except MalformedInput as error:  # perhaps another sheet was meant
        details = filter(None, (error.detail, workbook.other_tables_remark))
        raise MalformedInput(lazy_join(details), error.errors) from error
    return Sheet(layout, head, rows, workbook=workbook, how=reading)


def _read_records(
    found: Iterator[Record], layout: Layout, options: ReadOptions
) -> tuple[Header, tuple[SheetRow, ...], Reading]:
    table = find_table(found, layout, options)
    meanings = meanings_of(
        layout,
        table.names,
        table.body,
        options.chosen(layout.name, table.names),
        accept=options.accept,
    )
    head = Header(layout, table.names, table.number, tuple(one.column for one in meanings))
    _reject_unusable(head)
    reject_not_understood(meanings)
    options.check_count(_count(head, table.body))
    options = replace(
        options, date_order=options.date_order or _settled_order(head, table, options)
    )
    rows = [read_row(head, row, cells, options) for row, cells in table.body]
    return head, tuple(_without_duplicates(head, rows)), Reading(meanings, table.remarks)


def read_columns(
    data: bytes, layout: Layout, options: ReadOptions = DEFAULT_OPTIONS
) -> SheetColumns:
    """Look at the columns of a file without reading its rows, and at whom it names. Raises as
    ``read_sheet`` does, but for columns that are not understood or missing."""
    if data.startswith(ZIP_START):
        _, found = read_workbook(data, options.table)
        records_found: Iterator[Record] = iter(found)
    else:
        text, stated = split_stated_delimiter(decode(data).text)
        records_found = records(text, stated or likeliest_delimiter(text, layout))
    table = find_table(records_found, layout, options)
    chosen = options.chosen(layout.name, table.names)
    columns = meanings_of(layout, table.names, table.body, chosen, accept=options.accept)
    return SheetColumns(columns, _unknown_athletes(columns, table, options))


def _unknown_athletes(
    columns: Sequence[ColumnMeaning], table: Table, options: ReadOptions
) -> tuple[str, ...]:
    """Return whom the rows name and nobody knows, each once."""
    place = next((one.place for one in columns if one.meaning == "athlete_id"), None)
    people = options.people
    if place is None or people is None:
        return ()
    written = (cell_text(cells[place]).strip() for _, cells in table.body if place < len(cells))
    return tuple(name for name in dict.fromkeys(filter(None, written)) if not people.knows(name))


def _settled_order(head: Header, table: Table, options: ReadOptions) -> DateOrder | None:
    """Return the order of day and month that all dates of the sheet's own days have."""
    places = [head.places[name] for name in ("date", "starts_at") if name in head.places]
    texts = [
        cell.strip().split()[0]
        for _, cells in table.body
        for place in places
        if place < len(cells) and isinstance(cell := cells[place], str) and cell.strip()
    ]
    return settled_order(texts, options.today)


def _count(head: Header, lines: Sequence[Record]) -> int:
    """Count the rows, or the mornings where one may take several rows. Cells are compared as they
    are written: reading them takes a hundred times as long."""
    if not head.is_long:
        return len(lines)
    last = 1 + max(head.places[name] for name in head.layout.required)
    places = [head.places[name] for name in head.layout.required]
    written = ([*map(cell_text, cells[:last]), *("",) * last] for _, cells in lines)
    return len({tuple(cells[place] for place in places) for cells in written})


def _reject_unusable(head: Header) -> None:
    _reject_missing(head)
    if len(head.names) > MOST_COLUMNS:
        count = len(head.names)
        raise MalformedInput(lazy("sheet.too_many_columns", count=count, most=MOST_COLUMNS))
    repeated = [*_repeated_columns(head)]
    if repeated:
        raise MalformedInput(lazy("sheet.columns_twice", columns=lazy_join(repeated, ", ")))


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
        near = (get_close_matches(word, unknown, n=1, cutoff=_NEAR) for word in words)
        found = next((unknown[one] for ones in near for one in ones), None)
        if found:
            yield lazy("sheet.likely_meant", found=found, name=name)


def _repeated_columns(head: Header) -> Iterable[str]:
    """Yield the columns that stand under more than one word, with the words where they differ."""
    words: dict[str, list[str]] = {}
    for word, column in zip(head.names, head.columns, strict=True):
        if column is not None and column.kind != "comment":
            words.setdefault(column.name, []).append(word)
    for name, under in words.items():
        if len(under) > 1:
            differ = len(Counter(map(plain_name, under))) > 1
            words_under = lazy_join(under, lazy("sheet.and"))
            yield lazy("sheet.column_as", column=name, words=words_under) if differ else name


def reject_not_understood(meanings: Sequence[ColumnMeaning]) -> None:
    """Refuse columns that are not understood and may speak of soreness, pain, illness, a sign,
    sleep or training: ignored, they would look as if there were nothing. Raises
    ``MalformedInput`` with each of them."""
    asked = [one for one in meanings if one.how == "asked"]
    if asked:
        faults = [FieldError(f"/{one.header}", one.header, _asked(one)) for one in asked]
        told = lazy_join([*(fault.detail for fault in faults), lazy("sheet.introduce_it")])
        raise MalformedInput(told, faults)


def _asked(one: ColumnMeaning) -> LazyText:
    letters, own = column_letters(one.place), HeaderWords.bundled().own
    told = {"letters": letters, "name": one.header, "own": f"{own}{plain_name(one.header)}"}
    if one.proposals:
        return lazy("sheet.unread_sign", meant=one.proposals[0], **told)
    return lazy("sheet.unread_rating", samples=", ".join(one.samples), **told)


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
        if len(morning) > 1 and (differing := _differing(morning))
        for row in morning
    }
    return [refused.get(row.number, row) for row in rows]


def _differing(morning: Sequence[SheetRow]) -> dict[Path, str]:
    """Map the paths in which the rows differ to the words of their columns."""
    first = morning[0]
    differing = {
        path
        for row in morning
        for path in (*row.read, *first.read)
        if row.read.get(path) != first.read.get(path)
    }
    return {
        path: row.header.names[row.places[path][1]]
        for row in morning
        for path in row.read
        if path in differing
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
