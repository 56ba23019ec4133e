"""Shape of a sheet: which row names the columns, and which rows hold answers.

Sheets have titles above the table and between its parts, dates that stand once for the rows under
them, sums below, and the header again for the next group. Each is seen for what it is, and said.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cache
from itertools import islice

from dawnrule.errors import MalformedInput
from dawnrule.i18n.lazy import LazyText, lazy, lazy_join
from dawnrule.sheet.cells import Cell, Record, cell_text, is_blank
from dawnrule.sheet.columns import Layout, plain_name
from dawnrule.sheet.meanings import all_words, column_by_words
from dawnrule.sheet.options import MOST_ROWS, ReadOptions
from dawnrule.sheet.words import SheetWords, plain_word

_LOOKED_AT = 25
"""How many rows may stand above the header."""

_LEAST_NAMES = 2
_LONGEST_NAME = 100  # characters of a header
_TITLES, _TOTALS = "sheet.rows_titles", "sheet.rows_totals"
_HEADER_AGAIN, _FILLED = "sheet.rows_header_again", "sheet.rows_filled"
_ATHLETE, _DATE, _STARTS_AT = "athlete_id", "date", "starts_at"


@dataclass(frozen=True, slots=True)
class Table:
    """A table in a sheet: the number of the row that names its columns, their names, the rows that
    hold answers, and remarks on the others."""

    number: int
    names: tuple[str, ...]
    body: list[Record]
    remarks: tuple[LazyText, ...] = ()


def find_table(found: Iterator[Record], layout: Layout, options: ReadOptions) -> Table:
    """Find the table in the rows of a sheet. Raises ``MalformedInput`` for too many rows, and for
    a second header that names other columns."""
    records = list(islice(found, MOST_ROWS + _LOOKED_AT + 1))
    above = _header_place(records, layout, options)
    number, first = records[above] if records else (1, ())
    names = tuple(cell_text(name).strip() for name in first[: width(first)])
    titles = [row for row, _ in records[:above]]
    body = records[above + 1 :]
    if len(body) > MOST_ROWS:
        raise MalformedInput(lazy("sheet.too_many_rows", most=MOST_ROWS))
    rows = _Rows(layout, names, options)
    kept = [record for record in body if rows.holds_answers(record)]
    kept = rows.filled_down(kept)
    return Table(number, names, kept, tuple(rows.remarks(titles)))


def width(cells: Sequence[Cell]) -> int:
    """Count the cells up to the last that is not blank."""
    filled = (place for place, cell in enumerate(cells, start=1) if not is_blank(cell))
    return max(filled, default=0)


def likeness_to_header(layout: Layout, cells: Sequence[Cell]) -> tuple[bool, int]:
    """Tell whether a row names what a header must, and count its cells that name columns."""
    names = [name for cell in cells if (name := cell_text(cell).strip())]
    known = sum(column_by_words(layout, name) is not None for name in names)
    return _names_what_is_required(layout, names), known


def _header_place(records: Sequence[Record], layout: Layout, options: ReadOptions) -> int:
    """Return the place of the first row that names an athlete and a date, or whose headers somebody
    introduced; the first row of all where there is none."""
    for place, (_, cells) in enumerate(records[:_LOOKED_AT]):
        names = [cell_text(cell).strip() for cell in cells[: width(cells)]]
        if options.chosen(layout.name, names) or _names_what_is_required(layout, names):
            return place
    return 0


def _names_what_is_required(layout: Layout, names: Sequence[str]) -> bool:
    if len(names) < _LEAST_NAMES or any(len(name) > _LONGEST_NAME for name in names):
        return False
    return _are_required({_by_words(layout, name) for name in names})


def _are_required(meant: set[str | None]) -> bool:
    return _ATHLETE in meant and not meant.isdisjoint((_DATE, _STARTS_AT))


class _Rows:
    """The rows under a header: which of them hold answers, and what the others are."""

    def __init__(self, layout: Layout, names: Sequence[str], options: ReadOptions) -> None:
        self.layout, self.options = layout, options
        self.header = [plain_name(name) for name in names]
        self.chosen = options.chosen(layout.name, names)
        self.meant = meant = [*map(self._meaning, names)]
        self.athlete = meant.index(_ATHLETE) if _ATHLETE in meant else None
        self.date = meant.index(_DATE) if _DATE in meant else None
        self.is_long = "muscle_group" in meant
        chosen_words = {word for word, one in self.chosen.items() if one == _ATHLETE}
        self.words_for_an_athlete = _words_for_an_athlete(layout) | chosen_words
        self.asked_before: dict[str, bool] = {}
        self.skipped: dict[str, list[int]] = {}
        self.filled: list[int] = []

    def holds_answers(self, record: Record) -> bool:
        """Tell whether a row is one of answers; note what it is if not."""
        number, cells = record
        kind = self._kind(number, cells)
        if kind:
            self.skipped.setdefault(kind, []).append(number)
        return not kind

    def _kind(self, number: int, cells: Sequence[Cell]) -> str:
        texts = [cell_text(cell).strip() for cell in cells]
        said = [text for text in texts if text]
        if self._is_header(texts):
            return _HEADER_AGAIN
        if len(said) > _LEAST_NAMES and self._names_columns(said):
            if self._means_the_same(texts):
                return _HEADER_AGAIN
            raise MalformedInput(lazy("sheet.other_header", number=number))
        if self._is_total(said[0], texts):
            return _TOTALS
        if len(said) == 1 and self._is_title(said[0]):
            return _TITLES
        return ""

    def _is_header(self, texts: Sequence[str]) -> bool:
        """Tell whether a row is the header again; most differ from it in their first cell."""
        named = zip(texts, self.header, strict=False)
        return len(texts) >= len(self.header) and all(plain_name(t) == name for t, name in named)

    def _names_columns(self, said: Sequence[str]) -> bool:
        """Tell whether a row names columns; most rows hold no word for an athlete."""
        if not any(map(self._is_for_an_athlete, said)):
            return False
        return _are_required({self._meaning(text) for text in said if len(text) <= _LONGEST_NAME})

    def _is_for_an_athlete(self, text: str) -> bool:
        """Tell whether a text names the athletes' column; each cell is asked, and many say the
        same."""
        known = self.asked_before.get(text)
        if known is None:
            known = len(text) <= _LONGEST_NAME and plain_word(text) in self.words_for_an_athlete
            self.asked_before[text] = known
        return known

    def _means_the_same(self, texts: Sequence[str]) -> bool:
        """Tell whether a row names the columns of the header in other words."""
        names = texts[: width(texts)]
        meant = [self._meaning(text) or plain_name(text) for text in names]
        return meant == [one or name for one, name in zip(self.meant, self.header, strict=True)]

    def _meaning(self, text: str) -> str | None:
        return self.chosen.get(plain_word(text)) or _by_words(self.layout, text)

    def _is_total(self, first: str, texts: Sequence[str]) -> bool:
        """Tell whether a row holds sums: it has no date, and its first word is no athlete."""
        has_date = self.date is not None and self.date < len(texts) and texts[self.date]
        is_total = plain_word(first) in SheetWords.bundled().totals
        return is_total and not has_date and not self._names_athlete(texts)

    def _names_athlete(self, texts: Sequence[str]) -> bool:
        place, people = self.athlete, self.options.people
        if place is None or place >= len(texts) or people is None:
            return False
        return bool(texts[place] in people.names or people.ids_of(texts[place]))

    def _is_title(self, text: str) -> bool:
        """Tell whether the only text of a row is a title or a legend: it names no athlete, and is
        more than a word that might be one."""
        people = self.options.people
        if people is not None and (text in people.names or people.ids_of(text)):
            return False
        return " " in text or "=" in text or ":" in text

    def filled_down(self, body: Sequence[Record]) -> list[Record]:
        """Give rows without a date the one above them, where each date stands once for several
        athletes; and rows without an athlete the one above, where those stand first and once each
        for several dates."""
        rows = list(body)
        if self.athlete is None or self.date is None:
            return rows
        if self._stands_once(rows, self.date):
            rows = [*self._filled(rows, self.date, self.athlete)]
        if self.athlete < self.date and self._stands_once(rows, self.athlete):
            rows = [*self._filled(rows, self.athlete, self.date)]
        return rows

    def _stands_once(self, rows: Sequence[Record], place: int) -> bool:
        """Tell whether a column has blank cells, and no value twice in the others, as where cells
        were merged; a cell that somebody forgot stands between others that repeat."""
        texts = [cell_text(_cell(cells, place)).strip() for _, cells in rows]
        said = [text for text in texts if text]
        return len(said) < len(texts) and len(set(said)) == len(said)

    def _filled(self, rows: Sequence[Record], place: int, other: int) -> Iterator[Record]:
        """Fill the blank cells of a column, unless a row above with the same value in the other
        column is about the same morning already."""
        above: Cell = ""
        seen: set[str] = set()
        for number, cells in rows:
            mine, key = _cell(cells, place), cell_text(_cell(cells, other)).strip().casefold()
            if not is_blank(mine):
                above, seen = mine, set()
            filled = is_blank(mine) and key and (self.is_long or key not in seen)
            if filled and not is_blank(above):
                self.filled.append(number)
                cells = _with_cell(cells, place, above)
            seen.add(key)
            yield number, cells

    def remarks(self, above: Sequence[int]) -> Iterator[LazyText]:
        """Say which rows were left out, and which were filled."""
        kinds = {
            _TITLES: [*above, *self.skipped.get(_TITLES, ())],
            _HEADER_AGAIN: self.skipped.get(_HEADER_AGAIN, ()),
            _TOTALS: self.skipped.get(_TOTALS, ()),
            _FILLED: self.filled,
        }
        yield from (lazy(kind, rows=_listed(rows)) for kind, rows in kinds.items() if rows)


@cache
def _words_for_an_athlete(layout: Layout) -> frozenset[str]:
    return frozenset(word for word, one in all_words(layout).items() if one.name == _ATHLETE)


def _by_words(layout: Layout, name: str) -> str | None:
    column = column_by_words(layout, name)
    return column.name if column else None


def _cell(cells: Sequence[Cell], place: int) -> Cell:
    return cells[place] if place < len(cells) else ""


def _with_cell(cells: Sequence[Cell], place: int, cell: Cell) -> Sequence[Cell]:
    filled = [*cells, *("" for _ in range(place + 1 - len(cells)))]
    filled[place] = cell
    return filled


def _listed(numbers: Sequence[int]) -> LazyText:
    """Return row numbers as few words: 3, 5-9."""
    runs: list[list[int]] = []
    for number in numbers:
        if runs and number == runs[-1][-1] + 1:
            runs[-1].append(number)
        else:
            runs.append([number])
    texts = [f"{run[0]}-{run[-1]}" if len(run) > 1 else f"{run[0]}" for run in runs]
    return lazy_join(texts, ", ")
