"""How is one row of a sheet read?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from typing import Any
from zoneinfo import ZoneInfo

from dawnrule.errors import FieldError
from dawnrule.sheet.cells import Cell, is_blank, read_cell, shown
from dawnrule.sheet.columns import MUSCLE_GROUP, Column, Path
from dawnrule.sheet.declared import Declared
from dawnrule.sheet.faults import CellError, CellFault, cell_name
from dawnrule.sheet.limits import MOST_CHARACTERS
from dawnrule.sheet.moments import Where
from dawnrule.sheet.rows import Header, Heard, Line, Place, SheetRow, of_group
from dawnrule.vocabulary.formulas import without_guard
from dawnrule.vocabulary.said import say

_UTC = ZoneInfo("UTC")
_DATE = "date"


def read_row(header: Header, number: int, cells: Sequence[Cell], declared: Declared) -> SheetRow:
    """Read one row; a cell that cannot be read is an error of the row, and the others are read."""
    width = len(header.names)
    values = (*cells, *("" for _ in header.names))[:width]
    reading = _Reading(header, number, _where(header, values, declared))
    for place, cell in enumerate(cells[width:], start=width):
        if not is_blank(cell):
            reading.refuse(place, cell, say("sheet.more_cells"))
    for place, (column, cell) in enumerate(zip(header.columns, values, strict=True)):
        if isinstance(cell, str) and len(cell) > MOST_CHARACTERS:
            reading.refuse(place, cell, say("sheet.long_cell", most=MOST_CHARACTERS))
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
            self.refuse(place, cell, say("sheet.no_group", column=MUSCLE_GROUP))

    def _keep(self, path: Path, value: Any, place: int) -> None:
        self.values[path] = value
        self.places[path] = (self.number, place)
