"""What is a sheet, once it is read, and what should whoever sent it hear of the reading?"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from difflib import get_close_matches
from functools import cached_property
from typing import Any, Self

from dawnrule.sheet.cells import is_blank
from dawnrule.sheet.columns import Layout
from dawnrule.sheet.declared import NOTHING
from dawnrule.sheet.faults import column_letters
from dawnrule.sheet.headers import plain_name
from dawnrule.sheet.row_reading import read_row
from dawnrule.sheet.rows import Header, Heard, Line, SheetRow
from dawnrule.sheet.workbook import Workbook
from dawnrule.vocabulary import Texts
from dawnrule.vocabulary.said import say, say_all, told

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
            "encoding": told(self.encoding, texts) or None,
            "delimiter": None if book else self.delimiter,
            "name": book.table if book else None,
            "other_sheets": list(book.other_tables) if book else [],
            "read_as": self.renamed,
            "unread": list(self.unread),
            "remarks": [told(remark, texts) for remark in self.remarks()],
        }

    def _of_the_file(self) -> Iterator[str]:
        if self.encoding_was_guessed:
            yield say("sheet.was_guessed", encoding=self.encoding)
        if self.workbook and self.workbook.passed_over:
            yield self.workbook.passed_over

    def _of_the_columns(self) -> Iterator[str]:
        if self.renamed:
            named = (say("sheet.renamed_column", word=w, column=c) for w, c in self.renamed.items())
            yield say("sheet.renamed", columns=say_all(named, ", "))
        if self.unread:
            words = map(self._with_nearest, self.unread)
            yield say("sheet.unread", columns=say_all(words, ", "))

    def _with_nearest(self, word: str) -> str:
        near = self.nearest.get(word)
        return say("sheet.did_you_mean", word=word, near=near) if near else word

    def _of_the_cells(self) -> Iterator[str]:
        kinds: defaultdict[tuple[str, str], list[Heard]] = defaultdict(list)
        for row in self.rows:
            for heard in row.heard:
                kinds[heard.column, heard.how].append(heard)
        for (column, how), found in kinds.items():
            first, count = found[0], len(found)
            yield say(
                "sheet.heard",
                column=column,
                how=how,
                times=say("sheet.once") if count == 1 else say("sheet.times", count=count),
                cell=first.cell,
                held=first.held,
                read_as=first.read_as,
            )
