"""What is a sheet, once it is read, and what should whoever sent it hear of the reading?"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from difflib import get_close_matches
from functools import cached_property
from typing import Any, Self

from dawnrule.i18n.catalog import Texts
from dawnrule.i18n.lazy import lazy, lazy_join, render
from dawnrule.sheet.cells import is_blank
from dawnrule.sheet.columns import Layout, plain_name
from dawnrule.sheet.errors import column_letters
from dawnrule.sheet.options import NOTHING
from dawnrule.sheet.rows import Header, Heard, Line, SheetRow, read_row
from dawnrule.sheet.workbook import Workbook

_A_TYPING_ERROR = 0.8  # of difflib's likeness, from 0 to 1; own columns shall stay alone
_FIRST_ROW = 2  # the header stands above it


@dataclass(frozen=True)
class Sheet:
    """A sheet as it came: its header, its rows, and how it was written: as text with a delimiter
    and an encoding, or as part of a workbook."""

    layout: Layout
    head: Header
    rows: tuple[SheetRow, ...]
    delimiter: str = ","
    encoding: str = ""
    encoding_was_guessed: bool = False
    has_byte_order_mark: bool = False
    workbook: Workbook | None = None

    @classmethod
    def of(cls, layout: Layout, subjects: Iterable[Sequence[str]]) -> Self:
        """A sheet for what did not come in one: a row for each subject, which fills the required
        columns."""
        head = Header(layout, layout.required)
        rows = (
            read_row(head, number, subject, NOTHING)
            for number, subject in enumerate(subjects, start=_FIRST_ROW)
        )
        return cls(layout, head, tuple(rows))

    @property
    def header(self) -> tuple[str, ...]:
        """The words that name the columns, as they came."""
        return self.head.names

    @property
    def lines(self) -> list[Line]:
        """The rows as they stand in the sheet; several may speak of one morning."""
        lines = (line for row in self.rows for line in row.lines)
        return sorted(lines, key=lambda line: line.number)

    @property
    def unread(self) -> tuple[str, ...]:
        """The header's words that mean nothing here: own columns, or typing errors. One that has
        no word but cells is called by its letters."""
        answers = self.layout.answers
        return tuple(
            name or column_letters(place)
            for place, (name, column) in enumerate(zip(self.header, self.head.columns, strict=True))
            if not column and plain_name(name) not in answers and (name or self._has_cells(place))
        )

    @cached_property
    def nearest(self) -> dict[str, str]:
        """The column that each of the words of ``unread`` is most like, if any is."""
        words = self.layout.words()
        near = {
            name: get_close_matches(plain_name(name), words, n=1, cutoff=_A_TYPING_ERROR)
            for name in self.unread
        }
        return {name: words[found[0]].name for name, found in near.items() if found}

    @property
    def renamed(self) -> dict[str, str]:
        """The columns that stand under another word than their own name, by that word."""
        meant = zip(self.header, self.head.columns, strict=True)
        return {n: column.name for n, column in meant if column and plain_name(n) != column.name}

    def _has_cells(self, place: int) -> bool:
        return not all(is_blank(line.values[place]) for line in self.lines)

    def remarks(self) -> list[str]:
        """What was read in a way that nobody should be surprised by, a sentence for each way; it
        can be told in every language."""
        return [*self._of_the_file(), *self._of_the_columns(), *self._of_the_cells()]

    def told(self, texts: Texts) -> dict[str, Any]:
        """How the sheet was read, as plain JSON values, in the language of a catalogue."""
        book = self.workbook
        return {
            "encoding": render(self.encoding, texts) or None,
            "delimiter": None if book else self.delimiter,
            "name": book.table if book else None,
            "other_sheets": list(book.other_tables) if book else [],
            "read_as": self.renamed,
            "unread": list(self.unread),
            "remarks": [render(remark, texts) for remark in self.remarks()],
        }

    def _of_the_file(self) -> Iterator[str]:
        if self.encoding_was_guessed:
            yield lazy("sheet.was_guessed", encoding=self.encoding)
        if self.workbook and self.workbook.passed_over:
            yield self.workbook.passed_over

    def _of_the_columns(self) -> Iterator[str]:
        if self.renamed:
            named = (
                lazy("sheet.renamed_column", word=w, column=c) for w, c in self.renamed.items()
            )
            yield lazy("sheet.renamed", columns=lazy_join(named, ", "))
        if self.unread:
            words = map(self._with_nearest, self.unread)
            yield lazy("sheet.unread", columns=lazy_join(words, ", "))

    def _with_nearest(self, word: str) -> str:
        near = self.nearest.get(word)
        return lazy("sheet.did_you_mean", word=word, near=near) if near else word

    def _of_the_cells(self) -> Iterator[str]:
        kinds: defaultdict[tuple[str, str], list[Heard]] = defaultdict(list)
        for row in self.rows:
            for heard in row.heard:
                kinds[heard.column, heard.how].append(heard)
        for (column, how), found in kinds.items():
            first, count = found[0], len(found)
            yield lazy(
                "sheet.heard",
                column=column,
                how=how,
                times=lazy("sheet.once") if count == 1 else lazy("sheet.times", count=count),
                cell=first.cell,
                held=first.held,
                read_as=first.read_as,
            )
