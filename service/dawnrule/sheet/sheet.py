"""A sheet as read, with remarks on how it was read."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Self

from dawnrule.i18n.catalog import Texts
from dawnrule.i18n.lazy import LazyText, lazy, lazy_join, render
from dawnrule.sheet.cells import cell_text, is_blank
from dawnrule.sheet.columns import Column, Layout, plain_name
from dawnrule.sheet.errors import cell_name, column_letters, in_ranges
from dawnrule.sheet.meanings import ColumnMeaning
from dawnrule.sheet.options import DEFAULT_OPTIONS
from dawnrule.sheet.rows import Header, Interpretation, Line, SheetRow, read_row
from dawnrule.sheet.workbook import Workbook

_FIRST_ROW = 2  # the header stands above it
_MOST_QUOTED = 80  # characters of a comment
_MOST_COMMENTS = 40


@dataclass(frozen=True, slots=True)
class SheetReading:
    """How a sheet was read, in the language of a catalogue."""

    encoding: str | None
    delimiter: str | None
    name: str | None
    other_sheets: tuple[str, ...]
    read_as: dict[str, str]
    unread: tuple[str, ...]
    remarks: list[str]


@dataclass(frozen=True, slots=True)
class Reading:
    """How the columns were understood, and remarks on rows that hold no answers."""

    meanings: tuple[ColumnMeaning, ...] = ()
    remarks: tuple[str, ...] = ()


@dataclass(frozen=True)
class Sheet:
    """A sheet: its header, its rows, and the form in which it came, either as text with a delimiter
    and an encoding or as part of a workbook."""

    layout: Layout
    head: Header
    rows: tuple[SheetRow, ...]
    delimiter: str = ","
    encoding: str = ""
    encoding_was_guessed: bool = False
    has_byte_order_mark: bool = False
    workbook: Workbook | None = None
    how: Reading = Reading()

    @classmethod
    def of(cls, layout: Layout, subjects: Iterable[Sequence[str]]) -> Self:
        """Make a sheet for data that came in another form: a row for each subject, which fills the
        required columns."""
        head = Header(layout, layout.required)
        rows = (
            read_row(head, number, subject, DEFAULT_OPTIONS)
            for number, subject in enumerate(subjects, start=_FIRST_ROW)
        )
        return cls(layout, head, tuple(rows))

    @property
    def header(self) -> tuple[str, ...]:
        """Return the words that name the columns, as written."""
        return self.head.names

    @property
    def lines(self) -> list[Line]:
        """Return the rows as they stand in the sheet; several may be about one morning."""
        lines = (line for row in self.rows for line in row.lines)
        return sorted(lines, key=lambda line: line.number)

    @cached_property
    def unknown_headers(self) -> tuple[str, ...]:
        """Return the header words that have no meaning here: columns of one's own, or misspellings.
        A column with cells but no word is named by its letters."""
        answers = self.layout.answers
        return tuple(
            name or column_letters(place)
            for place, (name, column) in enumerate(zip(self.header, self.head.columns, strict=True))
            if (not column or self._is_plain_comment(place, column))
            and plain_name(name) not in answers
            and (name or self._has_cells(place))
        )

    def _is_plain_comment(self, place: int, column: Column) -> bool:
        """Tell whether a column holds comments of which none tells of a danger."""
        return column.kind == "comment" and not any(
            place == at for row in self.rows for _, at in row.places.values()
        )

    @property
    def renamed_headers(self) -> dict[str, str]:
        """Map header words that are not a column's own name to that name."""
        meant = zip(self.header, self.head.columns, strict=True)
        return {
            n: column.name
            for n, column in meant
            if column and column.kind != "comment" and plain_name(n) != column.name
        }

    def _has_cells(self, place: int) -> bool:
        return not all(is_blank(line.values[place]) for line in self.lines)

    def remarks(self) -> list[str]:
        """Return a sentence for each reading that might surprise somebody, in lazy text."""
        return [*self._file_remarks(), *self._column_remarks(), *self._cell_remarks()]

    def reading(self, texts: Texts) -> SheetReading:
        """Describe how the sheet was read, in the language of a catalogue."""
        book = self.workbook
        return SheetReading(
            encoding=render(self.encoding, texts) or None,
            delimiter=None if book else self.delimiter,
            name=book.table if book else None,
            other_sheets=tuple(book.other_tables) if book else (),
            read_as=self.renamed_headers,
            unread=self.unknown_headers,
            remarks=[render(remark, texts) for remark in self.remarks()],
        )

    def _file_remarks(self) -> Iterator[str]:
        if self.encoding_was_guessed:
            yield lazy("sheet.was_guessed", encoding=self.encoding)
        if self.workbook and self.workbook.other_tables_remark:
            yield self.workbook.other_tables_remark

    def _column_remarks(self) -> Iterator[str]:
        yield from self.how.remarks
        if self.renamed_headers:
            named = (
                lazy("sheet.renamed_column", word=w, column=c)
                for w, c in self.renamed_headers.items()
            )
            yield lazy("sheet.renamed", columns=lazy_join(named, ", "))
        if self.unknown_headers:
            yield lazy("sheet.unread", columns=lazy_join(self.unknown_headers, ", "))

    def _comment_remarks(self) -> Iterator[str]:
        """Quote the comments of which nothing was taken: they may be of health all the same."""
        read = {place for row in self.rows for place in row.places.values()}
        for place, column in enumerate(self.head.columns):
            if column is None or column.kind != "comment":
                continue
            left = [
                (cell_name(line.number, place), cell_text(line.values[place]))
                for line in self.lines
                if not is_blank(line.values[place]) and (line.number, place) not in read
            ]
            if left:
                cells = _quoted(left)
                yield lazy("sheet.comments_left", column=self.header[place], cells=cells)

    def _cell_remarks(self) -> Iterator[str]:
        yield from self._comment_remarks()
        kinds: defaultdict[tuple[str, str], list[Interpretation]] = defaultdict(list)
        for row in self.rows:
            for one in row.interpretations:
                kinds[one.column, one.remark].append(one)
        for (column, remark), found in kinds.items():
            first, count = found[0], len(found)
            times = lazy("sheet.once") if count == 1 else lazy("sheet.times", count=count)
            said = {"column": column, "how": remark, "times": times}
            if first.is_of_comment:
                cells = _quoted([(one.cell, one.content) for one in found])
                yield lazy("sheet.heard_in_comments", **said, cells=cells)
                continue
            read = {"cell": first.cell, "held": first.content, "read_as": first.read_as}
            yield lazy("sheet.heard", **said, **read)


def _quoted(comments: Sequence[tuple[str, str]]) -> LazyText:
    """Name the cells of comments, each of which a person should find: the first with what they
    say, the others in short."""
    first = [f"{cell} ({text[:_MOST_QUOTED]})" for cell, text in comments[:_MOST_COMMENTS]]
    others = in_ranges(cell for cell, _ in comments[_MOST_COMMENTS:])
    quoted = lazy_join(first, ", ")
    if not others:
        return quoted
    return lazy("sheet.comments_and_others", cells=quoted, others=lazy_join(others, ", "))
