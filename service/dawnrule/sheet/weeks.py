"""The sheet of a week: each row says for whom, when training is possible, what is wanted, what is
fixed, or what a group shares; together they are the order that ``POST /v1/weeks`` takes as JSON.

A further row with the name of a wish or fixed session above it is the next block of that session.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, time
from functools import cache
from typing import Any
from zoneinfo import ZoneInfo

from dawnrule.errors import FieldError, InvalidInput, MalformedInput
from dawnrule.i18n.lazy import lazy
from dawnrule.i18n.resources import read_data, rules_folder
from dawnrule.model.weeks import WEEKDAYS, WeekOrder
from dawnrule.schemas.errors import load
from dawnrule.schemas.week import WEEK_ORDER
from dawnrule.sheet.cells import Cell, cell_text, is_blank, read_cell
from dawnrule.sheet.columns import CHECK_INS, Column, HeaderWords, plain_name
from dawnrule.sheet.datetimes import CellContext, datetime_from_serial, with_zone
from dawnrule.sheet.errors import CellError, CellFault, cell_name
from dawnrule.sheet.formulas import unescape_formula
from dawnrule.sheet.options import ReadOptions
from dawnrule.sheet.roster import lines_of

ZoneOf = Callable[[str | None, str | None], ZoneInfo]
"""The zone of an athlete, or of a group, whose ids are given, one of the two."""

_MOST_WHOLE = 1000
_OWN_COLUMNS = (
    Column("row", ("row",), "text"),
    Column("athlete", ("athlete_id",), "text"),
    Column("group", ("group",), "text"),
    Column("date", ("date",), "date"),
    Column("days", ("days",), "number", at_most=len(WEEKDAYS)),
    Column("repeats", ("repeats",), "yes-or-no"),
    Column("weekdays", ("weekdays",), "text"),
    Column("begins", ("begins",), "text"),
    Column("ends", ("ends",), "text"),
    Column("name", ("name",), "text"),
    Column("times", ("times",), "number", at_most=len(WEEKDAYS)),
    Column("minutes", ("minutes",), "number", "planned_minutes"),
    Column("room", ("room",), "text"),
    Column("arrives", ("arrives",), "date"),
    Column("time_zones_crossed", ("time_zones_crossed",), "number", "time_zones_crossed"),
    Column("places", ("places",), "number", at_most=_MOST_WHOLE),
)
_BLOCK_COLUMNS = tuple(
    column for column in CHECK_INS.of_a_block if column.name not in ("starts_at", "minutes")
)
_OF_A_BLOCK = frozenset(column.name for column in _BLOCK_COLUMNS)
_COLUMNS_OF_ROW = {
    "week": {"athlete", "group", "date", "days", "repeats"},
    "window": {"weekdays", "begins", "ends"},
    "wish": {"name", "times", "minutes", "weekdays", "room"} | _OF_A_BLOCK,
    "fixed": {"name", "date", "begins", "minutes"} | _OF_A_BLOCK,
    "travel": {"date", "begins", "arrives", "ends", "time_zones_crossed"},
    "room": {"name", "places"},
}
_LISTS = {kind: {"window": "windows", "wish": "wishes"}.get(kind, kind) for kind in _COLUMNS_OF_ROW}
_MOMENTS = {
    "fixed": {"starts_at": ("date", "begins")},
    "travel": {"leaves_at": ("date", "begins"), "arrives_at": ("arrives", "ends")},
}
"""The members of a row that are moments, each with its columns of a date and of a time of day."""

_NAMES_OF_MEMBERS = {
    "from": "date",
    "starts_at": "begins",
    "leaves_at": "begins",
    "arrives_at": "ends",
    "athlete_id": "athlete",
}
_CLOCK = re.compile(r"([01]?[0-9]|2[0-3])[:.h]([0-5][0-9])(?::00)?")
_BETWEEN_DAYS = re.compile(r"[\s,;/+&]+")
_RANGE = re.compile(r"\s*[-\u2013]\s*")
_LOOKED_AT = 20  # rows in which the heading is looked for, under a title


@dataclass
class _Reading:
    """An order that is being put together, with the cell in which each of its values stands."""

    names: Sequence[str]
    columns: Sequence[Column | None]
    options: ReadOptions
    order: dict[str, Any] = field(default_factory=lambda: {"windows": [], "wishes": []})
    cells: dict[str, tuple[int, int, Cell]] = field(default_factory=dict)
    moments: list[tuple[dict[str, Any], str, str, datetime]] = field(default_factory=list)
    faults: list[FieldError] = field(default_factory=list)

    def read(self, number: int, cells: Sequence[Cell]) -> None:
        """Read a row."""
        found = {
            column.name: (place, cell)
            for place, (column, cell) in enumerate(zip(self.columns, cells, strict=False))
            if column is not None and not is_blank(cell)
        }
        for place, cell in enumerate(cells):
            is_nameless = place >= len(self.names) or not self.names[place]
            if is_nameless and not is_blank(cell):
                self._refuse(number, place, cell, lazy("sheet.more_cells"))
        place, cell = found.pop("row", (self._place("row"), ""))
        kind = _words("rows").get(plain_name(cell_text(cell)), "")
        if kind not in _COLUMNS_OF_ROW:
            accepted = ", ".join(_COLUMNS_OF_ROW)
            self._refuse(number, place, cell, lazy("week_sheet.no_row", rows=accepted))
            return
        values, where = self._values(number, kind, found)
        into, pointer, is_further = self._start(kind, values)
        self.cells.setdefault(pointer, (number, place, cell))
        self._fill(kind, into, pointer, is_further, values, where)

    def _values(
        self, number: int, kind: str, found: Mapping[str, tuple[int, Cell]]
    ) -> tuple[dict[str, Any], dict[str, tuple[int, int, Cell]]]:
        values, where = {}, {}
        for name, (place, cell) in found.items():
            column = self.columns[place]
            if column is None:
                continue
            if name not in _COLUMNS_OF_ROW[kind]:
                self._refuse(number, place, cell, lazy("week_sheet.not_here", row=kind))
                continue
            try:
                values[name] = self._value(column, cell)
                where[name] = (number, place, cell)
            except CellError as fault:
                self._refuse(number, place, cell, fault.detail)
        return values, where

    def _value(self, column: Column, cell: Cell) -> Any:
        if column.name == "weekdays":
            return _weekdays(cell_text(cell))
        if column.name in ("begins", "ends"):
            return _clock(cell)
        people, zone = self.options.people, ZoneInfo("UTC")
        context = CellContext(self.options.date_order, zone, today=self.options.today)
        value = read_cell(column, cell, context).value
        return people.find(value) if people and column.name == "athlete" else value

    def _start(self, kind: str, values: dict[str, Any]) -> tuple[dict[str, Any], str, bool]:
        """Return what a row fills in, its place, and whether it is a further block."""
        if kind == "week":
            return self.order, "", False
        rows = self.order.setdefault(_LISTS[kind], [])
        pointer = f"/{_LISTS[kind]}/{len(rows)}"
        if kind in ("wish", "fixed"):
            for place, one in enumerate(rows):
                again = kind == "wish" or not {"date", "begins"} & values.keys()
                if one.get("name") == values.get("name") and "times" not in values and again:
                    one["blocks"].append({})
                    blocks = f"/{_LISTS[kind]}/{place}/blocks/{len(one['blocks']) - 1}"
                    return one["blocks"][-1], blocks, True
        rows.append({"blocks": [{}]} if kind in ("wish", "fixed") else {})
        return rows[-1], pointer, False

    def _fill(
        self,
        kind: str,
        into: dict[str, Any],
        pointer: str,
        is_further: bool,
        values: dict[str, Any],
        where: Mapping[str, tuple[int, int, Cell]],
    ) -> None:
        for name, value in values.items():
            member = _member(kind, name)
            if is_further and name in ("name", "room", "weekdays"):
                continue
            if name in _OF_A_BLOCK and not is_further:
                into["blocks"][0][name] = value
                self.cells[f"{pointer}/blocks/0/{name}"] = where[name]
            elif member:
                into[member] = value
                self.cells[f"{pointer}/{member}"] = where[name]
        for member, (day, clock) in {} if is_further else _MOMENTS.get(kind, {}).items():
            if at := where.get(clock) or where.get(day):
                self.cells[f"{pointer}/{member}"] = at
            if day in values and clock in values:
                on, begins = date.fromisoformat(values[day]), time.fromisoformat(values[clock])
                self.moments.append((into, pointer, member, datetime.combine(on, begins)))

    def place_moments(self, zone_of: ZoneOf) -> None:
        """Put what is by the clock on that of whom the week is for. Raises as ``zone_of`` does."""
        if not self.moments:
            return
        zone = zone_of(self.order.get("athlete_id"), self.order.get("group"))
        for into, pointer, member, local in self.moments:
            try:
                into[member] = with_zone(local, zone)
            except CellError as fault:
                self._refuse(*self.cells[f"{pointer}/{member}"], fault.detail)

    def in_cells(self, errors: Sequence[FieldError]) -> Iterator[FieldError]:
        """Name the cell of each fault, or that of what stands around it."""
        for error in errors:
            around = error.pointer
            while around and around not in self.cells:
                around = around.rpartition("/")[0]
            if around not in self.cells:
                yield error
                continue
            number, place, cell = self.cells[around]
            missing = error.pointer.removeprefix(around).strip("/")
            name = missing if missing and not missing[0].isdigit() else self.names[place]
            name = _NAMES_OF_MEMBERS.get(name.split("/")[-1], name)
            yield CellFault.of(name, cell_text(cell), error.detail, cell_name(number, place))

    def _place(self, name: str) -> int:
        return next(n for n, one in enumerate(self.columns) if one and one.name == name)

    def _refuse(self, number: int, place: int, cell: Cell, detail: str) -> None:
        name = self.names[place] if place < len(self.names) else ""
        at = cell_name(number, place)
        self.faults.append(CellFault.of(name, cell_text(cell), detail, at))


def read_week_sheet(data: bytes, options: ReadOptions, zone_of: ZoneOf) -> WeekOrder:
    """Read the order of a week from a CSV file or a workbook. Raises ``MalformedInput`` for a file
    that cannot be read as a whole, ``InvalidInput`` with the cell of every fault, and what
    ``zone_of`` raises, which is asked only where something is fixed."""
    lines = list(lines_of(data, options.table))
    heading = next(
        (n for n, (_, cells) in enumerate(lines[:_LOOKED_AT]) if _is_heading(cells)), None
    )
    if heading is None:
        raise MalformedInput(lazy("week_sheet.no_heading", columns=", ".join(_own_names())))
    head_row, cells = lines[heading]
    names = [cell_text(cell).strip() for cell in cells]
    columns = [_columns_by_word().get(plain_name(name)) for name in names]
    reading = _Reading(names, columns, options)
    reading.faults += _unknown_columns(head_row, names, columns)
    for number, row in lines[heading + 1 :]:
        reading.read(number, row)
    reading.place_moments(zone_of)
    return _loaded(reading)


def _loaded(reading: _Reading) -> WeekOrder:
    message = lazy("week_sheet.refused")
    try:
        order: WeekOrder = load(WEEK_ORDER, reading.order)
    except InvalidInput as invalid:
        found = reading.faults or list(reading.in_cells(invalid.errors))
        raise InvalidInput(message, found) from invalid
    if reading.faults:
        raise InvalidInput(message, reading.faults)
    return order


def _unknown_columns(
    number: int, names: Sequence[str], columns: Sequence[Column | None]
) -> Iterator[FieldError]:
    """Yield a fault for each column without a meaning or with that of another."""
    known: set[str] = set()
    for place, (name, column) in enumerate(zip(names, columns, strict=True)):
        if name and (column is None or column.name in known):
            text = "week_sheet.no_column" if column is None else "week_sheet.column_twice"
            detail = lazy(text, columns=", ".join(_own_names()))
            yield CellFault.of(name, name, detail, cell_name(number, place))
        if column is not None:
            known.add(column.name)


def _is_heading(cells: Sequence[Cell]) -> bool:
    found = {_columns_by_word().get(plain_name(cell_text(cell))) for cell in cells}
    return len(found - {None}) > 1 and any(one and one.name == "row" for one in found)


def _member(kind: str, name: str) -> str:
    """Return the member of the order that a column fills; empty for the parts of a start."""
    if kind == "week":
        return {"athlete": "athlete_id", "date": "from"}.get(name, name)
    if kind == "wish" and name == "weekdays":
        return "preferred_weekdays"
    of_moments = {one for pair in _MOMENTS.get(kind, {}).values() for one in pair}
    return "" if name in of_moments else name


def _clock(cell: Cell) -> str:
    """Read a time of day. Raises ``CellError``."""
    if isinstance(cell, datetime):
        cell = cell.time()
    elif isinstance(cell, float) and 0 <= cell < 1:
        cell = datetime_from_serial(cell).time()
    if isinstance(cell, time):
        return f"{cell:%H:%M}"
    found = _CLOCK.fullmatch(unescape_formula(cell_text(cell).strip()))
    if found is None:
        raise CellError(lazy("field.clock_time"))
    return f"{int(found[1]):02}:{found[2]}"


def _weekdays(text: str) -> list[str]:
    """Read days and ranges of days, such as ``Mon-Wed, Fri``. Raises ``CellError``."""
    days: list[str] = []
    for part in filter(None, _BETWEEN_DAYS.split(_RANGE.sub("-", text.strip()))):
        named = [_words("weekdays").get(plain_name(one).strip(".")) for one in part.split("-")]
        known = [WEEKDAYS.index(one) for one in named if one]
        if len(known) != len(named) or len(known) > len(("first", "last")):
            raise CellError(lazy("week_sheet.weekdays"))
        first, last = known[0], known[-1]
        count = (last - first) % len(WEEKDAYS) + 1
        days += [WEEKDAYS[(first + n) % len(WEEKDAYS)] for n in range(count)]
    return list(dict.fromkeys(days))


def _own_names() -> list[str]:
    return [column.name for column in (*_OWN_COLUMNS, *_BLOCK_COLUMNS)]


@cache
def _columns_by_word() -> Mapping[str, Column]:
    listed = _listed()["columns"]
    words = {}
    for column in _BLOCK_COLUMNS:
        for word in (*HeaderWords.bundled().of_a_block.get(column.name, ()), column.name):
            words[plain_name(word)] = column
    for column in _OWN_COLUMNS:
        for word in (*listed[column.name], column.name):
            words[plain_name(word)] = column
    return words


@cache
def _words(section: str) -> Mapping[str, str]:
    return {
        plain_name(word): one for one, words in _listed()[section].items() for word in (one, *words)
    }


@cache
def _listed() -> Mapping[str, Mapping[str, Sequence[str]]]:
    found: Mapping[str, Mapping[str, Sequence[str]]] = read_data(
        rules_folder() / "week_columns.yaml"
    )
    return found
