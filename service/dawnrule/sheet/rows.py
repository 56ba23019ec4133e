"""What does a row of a sheet say, and in which cell does a fault stand?"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from functools import cached_property
from typing import Any, TypeVar
from zoneinfo import ZoneInfo

from dawnrule.errors import FieldError, InvalidInput
from dawnrule.i18n.lazy import lazy
from dawnrule.sheet.cells import Cell, is_blank, read_cell, says_none, shown
from dawnrule.sheet.columns import MUSCLE_GROUP, Column, Layout, Path
from dawnrule.sheet.datetimes import Where
from dawnrule.sheet.errors import CellError, CellFault, cell_name
from dawnrule.sheet.formulas import without_guard
from dawnrule.sheet.options import MOST_CHARACTERS, Declared

T = TypeVar("T")

Place = tuple[int, int]
"""The number of a row, from 1, and a place in it, from 0."""


@dataclass(frozen=True)
class Header:
    """The row that names the columns: its number, its words as they came, and what each means."""

    layout: Layout
    names: tuple[str, ...]
    number: int = 1

    @cached_property
    def columns(self) -> tuple[Column | None, ...]:
        """The column of each word; None where it means nothing here."""
        return tuple(map(self.layout.column_named, self.names))

    @cached_property
    def is_long(self) -> bool:
        """Whether a morning may stand in several rows, one for each muscle group."""
        return MUSCLE_GROUP in self.places

    @cached_property
    def places(self) -> Mapping[str, int]:
        """Where each column stands, by its own name."""
        return {column.name: place for place, column in enumerate(self.columns) if column}

    def word_for(self, column: Column) -> str:
        """What the sheet calls a column."""
        place = self.places.get(column.name)
        return column.name if place is None else self.names[place]


@dataclass(frozen=True, slots=True)
class Heard:
    """A reading that people should hear of: how, of which cell, what it holds, as what."""

    how: str
    column: str
    cell: str
    held: str
    read_as: str


@dataclass(frozen=True, slots=True)
class Line:
    """One row as it stands in the sheet. ``values`` are the cells under the header."""

    number: int
    values: tuple[Cell, ...]


@dataclass(frozen=True, slots=True)
class SheetRow:
    """What one row says, or several that speak of one morning, as far as it could be read.

    ``read`` has the values by their paths in the plain form, ``places`` the cells that they stand
    in. ``errors`` are the cells that cannot be read.
    """

    header: Header
    lines: tuple[Line, ...]
    read: Mapping[Path, Any]
    places: Mapping[Path, Place]
    errors: tuple[FieldError, ...]
    heard: tuple[Heard, ...] = ()

    @property
    def number(self) -> int:
        """That of its first row, as a spreadsheet program counts: from 1, with the blank ones."""
        return self.lines[0].number

    @property
    def numbers(self) -> tuple[int, ...]:
        """Those of all its rows."""
        return tuple(line.number for line in self.lines)

    @property
    def cells(self) -> dict[str, str]:
        """The cells of its first row as text, by the header's own words."""
        return dict(zip(self.header.names, map(shown, self.lines[0].values), strict=True))

    @property
    def plain(self) -> dict[str, Any] | None:
        """What the row says in the interface's plain form, not validated; None if a cell cannot
        be read."""
        return None if self.errors else _plain(self.read, self.header.layout)

    def load(self, load: Callable[[dict[str, Any]], T]) -> T:
        """What the row says. Raises ``InvalidInput`` with every fault: the cells that cannot be
        read, and what ``load`` (the schemas') says of the others."""
        message = lazy("sheet.row_refused", number=self.number)
        try:
            loaded = load(_plain(self.read, self.header.layout))
        except InvalidInput as invalid:
            faults = (*self.errors, *self._unnamed(self.in_columns(invalid.errors)))
            raise InvalidInput(message, faults) from invalid
        if self.errors:
            raise InvalidInput(message, self.errors)
        return loaded

    def in_columns(self, errors: Sequence[FieldError]) -> tuple[FieldError, ...]:
        """Faults of the plain form, each put to the cell that it came from."""
        columns: dict[str, tuple[Path, Column]] = {}
        for pointer, found in self._columns_by_pointer():
            columns.setdefault(pointer, found)
        return tuple(self._in_column(error, _nearest(error.pointer, columns)) for error in errors)

    def _in_column(self, error: FieldError, found: tuple[Path, Column] | None) -> FieldError:
        if found is None:
            return error
        path, column = found
        held = self.header.places.get(column.name)
        place = self.places.get(path) or (held is not None and (self.number, held))
        cell = cell_name(*place) if place else ""
        return CellFault(f"/{self.header.word_for(column)}", error.value, error.detail, cell)

    def _unnamed(self, errors: Iterable[FieldError]) -> Iterator[FieldError]:
        """The faults, save that something is missing which is there and cannot be read."""
        named = {error.pointer for error in self.errors}
        return (one for one in errors if one.value is not None or one.pointer not in named)

    def _columns_by_pointer(self) -> Iterator[tuple[str, tuple[Path, Column]]]:
        """The columns of each pointer of the plain form, the likeliest first: those that were
        filled in, then those that the sheet has."""
        layout = self.header.layout
        blocks = _blocks(self.read, layout.block_list) or [0]
        named = [(path, column) for path, column in self._possible() if path[0] != MUSCLE_GROUP]
        for path, column in sorted(named, key=self._likeliness):
            if path[0] != layout.block_list:
                yield _pointer(path), (path, column)
            elif (block := path[1]) in blocks:
                plain_path = (path[0], blocks.index(block), *path[2:])
                yield _pointer(plain_path), (path, column)

    def _likeliness(self, possible: tuple[Path, Column]) -> tuple[bool, bool]:
        path, column = possible
        return path not in self.read, column.name not in self.header.places

    def _possible(self) -> Iterator[tuple[Path, Column]]:
        """Every column that says something here, under the paths that it may have filled."""
        groups = {path[1] for path in self.places if path[0] in ("soreness", "last_trained")}
        for column in self.header.layout.columns().values():
            if not column.of_a_group:
                yield column.path, column
            elif self.header.is_long:
                yield from ((of_group(column, group), column) for group in sorted(groups, key=str))


def of_group(column: Column, group: str | int) -> Path:
    """Where a column that speaks of the row's muscle group has its value, for this group."""
    return (column.path[0], group, *column.path[1:])


def _plain(read: Mapping[Path, Any], layout: Layout) -> dict[str, Any]:
    """The plain form; without any value of a block the list of blocks is empty: a day off."""
    block_list = layout.block_list
    plain: dict[Any, Any] = {block_list: {}}
    for (*around, last), value in read.items():
        inner = plain
        for step in around:
            inner = inner.setdefault(step, {})
        inner[last] = value
    plain[block_list] = [plain[block_list][block] for block in _blocks(read, block_list)]
    if "pain" in plain:
        plain["pain"] = [pain for pain in plain["pain"].values() if not _says_none(pain)]
    return plain


def _says_none(pain: Mapping[str, Any]) -> bool:
    return all(says_none(str(value)) for value in pain.values() if value)


def _blocks(read: Mapping[Path, Any], block_list: str) -> list[int | str]:
    """The numbers of the blocks that a row fills in; the plain form has no gaps between them."""
    return sorted({path[1] for path in read if path[0] == block_list})


def _pointer(path: Path) -> str:
    return "".join(f"/{step}" for step in path)


def _nearest(pointer: str, columns: Mapping[str, T]) -> T | None:
    """What belongs to a pointer, to the nearest thing around it, or to the first thing in it."""
    around = pointer
    while around and around not in columns:
        around = around.rpartition("/")[0]
    inside = (c for inner, c in columns.items() if pointer and inner.startswith(f"{pointer}/"))
    return columns.get(around) or next(inside, None)


_UTC = ZoneInfo("UTC")
_DATE = "date"


def read_row(header: Header, number: int, cells: Sequence[Cell], declared: Declared) -> SheetRow:
    """Read one row; a cell that cannot be read is an error of the row, and the others are read."""
    width = len(header.names)
    values = (*cells, *("" for _ in header.names))[:width]
    reading = _Reading(header, number, _where(header, values, declared))
    for place, cell in enumerate(cells[width:], start=width):
        if not is_blank(cell):
            reading.refuse(place, cell, lazy("sheet.more_cells"))
    for place, (column, cell) in enumerate(zip(header.columns, values, strict=True)):
        if isinstance(cell, str) and len(cell) > MOST_CHARACTERS:
            reading.refuse(place, cell, lazy("sheet.long_cell", most=MOST_CHARACTERS))
        elif column is not None and not is_blank(cell):
            reading.read(place, column, cell)
    return reading.row(Line(number, values))


def _where(header: Header, values: Sequence[Cell], declared: Declared) -> Where:
    place = header.places.get("athlete_id")
    athlete_id = "" if place is None else without_guard(shown(values[place]).strip())
    zone = declared.zone_of(athlete_id) or _UTC
    where = Where(declared.date_order, zone, declared.zone_in_words)
    return replace(where, day=_day(header, values, where))


def _day(header: Header, values: Sequence[Cell], where: Where) -> date | None:
    """The date of the row, if it has one that can be read."""
    place = header.places.get(_DATE)
    column = None if place is None else header.columns[place]
    if place is None or column is None or is_blank(values[place]):
        return None
    try:
        return date.fromisoformat(read_cell(column, values[place], where).value)
    except CellError:
        return None


@dataclass
class _Reading:
    """A row while it is read."""

    header: Header
    number: int
    where: Where
    values: dict[Path, Any] = field(default_factory=dict)
    places: dict[Path, Place] = field(default_factory=dict)
    of_a_group: list[tuple[int, Column, Cell, Any]] = field(default_factory=list)
    errors: list[FieldError] = field(default_factory=list)
    heard: list[Heard] = field(default_factory=list)

    def read(self, place: int, column: Column, cell: Cell) -> None:
        """Read one cell."""
        try:
            read = read_cell(column, cell, self.where)
        except CellError as fault:
            self.refuse(place, cell, fault.detail)
            return
        if read.how:
            at, name = cell_name(self.number, place), self.header.names[place]
            self.heard.append(Heard(read.how, name, at, shown(cell), str(read.value)))
        if column.of_a_group:
            self.of_a_group.append((place, column, cell, read.value))
        else:
            self._keep(column.path, read.value, place)

    def refuse(self, place: int, cell: Cell, detail: str) -> None:
        """Note that a cell cannot be read."""
        names = self.header.names
        name = names[place] if place < len(names) else ""
        at = cell_name(self.number, place)
        self.errors.append(CellFault.of(name, shown(cell), detail, at))

    def row(self, line: Line) -> SheetRow:
        """The row, when all its cells are read."""
        group = self.values.pop((MUSCLE_GROUP,), None)
        self.places.pop((MUSCLE_GROUP,), None)
        for place, column, cell, value in self.of_a_group:
            if group is None:
                self._refuse_without_group(place, cell)
            else:
                self._keep(of_group(column, group), value, place)
        errors, heard = tuple(self.errors), tuple(self.heard)
        return SheetRow(self.header, (line,), self.values, self.places, errors, heard)

    def _refuse_without_group(self, place: int, cell: Cell) -> None:
        """Unless the cell that should name the group is refused itself."""
        named_in = self.header.places.get(MUSCLE_GROUP)
        pointer = None if named_in is None else f"/{self.header.names[named_in]}"
        if all(error.pointer != pointer for error in self.errors):
            self.refuse(place, cell, lazy("sheet.no_group", column=MUSCLE_GROUP))

    def _keep(self, path: Path, value: Any, place: int) -> None:
        self.values[path] = value
        self.places[path] = (self.number, place)
