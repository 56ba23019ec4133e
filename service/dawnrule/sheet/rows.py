"""Rows of a sheet: the values that they hold, and the cell in which a fault stands."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field, replace
from datetime import date
from functools import cached_property
from typing import Any, TypeVar
from zoneinfo import ZoneInfo

from dawnrule.errors import FieldError, InvalidInput
from dawnrule.i18n.lazy import lazy
from dawnrule.sheet.cells import (
    DAY_OFF,
    Cell,
    CellValue,
    cell_text,
    is_blank,
    means_none,
    read_cell,
)
from dawnrule.sheet.columns import MUSCLE_GROUP, Column, Layout, Path
from dawnrule.sheet.dangers import dangers_told, is_pain_as_before, pain_told, worst
from dawnrule.sheet.datetimes import CellContext
from dawnrule.sheet.errors import CellError, CellFault, cell_name
from dawnrule.sheet.formulas import unescape_formula
from dawnrule.sheet.options import MOST_CHARACTERS, ReadOptions
from dawnrule.sheet.spreads import merged, read_spread
from dawnrule.sheet.words import SheetWords

T = TypeVar("T")

Place = tuple[int, int]
"""The number of a row, from 1, and a place in it, from 0."""

_UTC = ZoneInfo("UTC")
_ATHLETE_COLUMN, _DATE_COLUMN = "athlete_id", "date"
_SAME_IN_EACH_ROW = frozenset({"word", "number", "trial", "yes-or-no", "date"})
"""Kinds of columns that are read without looking at the rest of the row."""

_SAME_ON_A_DATE = "datetime"
"""The kind of column whose cells mean the same in all rows of one date and time zone."""


@dataclass(frozen=True)
class Header:
    """The row that names the columns: its number, its words as written, and their columns.

    ``meant`` are the columns that the words were found to mean, with their cells looked at; without
    it the words alone say.
    """

    layout: Layout
    names: tuple[str, ...]
    number: int = 1
    meant: tuple[Column | None, ...] | None = None

    @cached_property
    def columns(self) -> tuple[Column | None, ...]:
        """Return the column of each word; None where it has no meaning here."""
        if self.meant is not None:
            return self.meant
        return tuple(map(self.layout.column_named, self.names))

    @cached_property
    def is_long(self) -> bool:
        """Tell whether a morning may take several rows, one for each muscle group."""
        return MUSCLE_GROUP in self.places

    @cached_property
    def places(self) -> Mapping[str, int]:
        """Map the name of each column to its place."""
        return {column.name: place for place, column in enumerate(self.columns) if column}

    @cached_property
    def words_read(self) -> dict[tuple[Any, ...], CellValue]:
        """Map the cells of rows before, with their place and what else they are read by, to what
        they were read as."""
        return {}

    def word_for(self, column: Column) -> str:
        """Return the sheet's own word for a column."""
        place = self.places.get(column.name)
        return column.name if place is None else self.names[place]


@dataclass(frozen=True, slots=True)
class Interpretation:
    """A reading that people should know of: a remark on it, the column, the cell, its content, and
    the value that it was read as. Those of comments are told cell by cell."""

    remark: str
    column: str
    cell: str
    content: str
    read_as: str
    is_of_comment: bool = False


@dataclass(frozen=True, slots=True)
class Line:
    """One row as it stands in the sheet. ``values`` are the cells under the header."""

    number: int
    values: tuple[Cell, ...]


@dataclass(frozen=True)
class SheetRow:
    """The values of one row, or of several rows about one morning, as far as they can be read.

    ``read`` has the values by their paths in the JSON form, ``places`` the cells in which they
    stand. ``errors`` are the cells that cannot be read.
    """

    header: Header
    lines: tuple[Line, ...]
    read: Mapping[Path, Any]
    places: Mapping[Path, Place]
    errors: tuple[FieldError, ...]
    interpretations: tuple[Interpretation, ...] = ()

    @property
    def number(self) -> int:
        """Return the number of its first row, as spreadsheet programs count: from 1, with blank
        rows."""
        return self.lines[0].number

    @property
    def numbers(self) -> tuple[int, ...]:
        """Return the numbers of all its rows."""
        return tuple(line.number for line in self.lines)

    @property
    def athlete_id(self) -> str:
        """Return the id of its athlete, empty where none can be read."""
        return str(self.read.get((_ATHLETE_COLUMN,), ""))

    @property
    def cells(self) -> dict[str, str]:
        """Return the cells of its first row as text, by the header's own words."""
        return dict(zip(self.header.names, map(cell_text, self.lines[0].values), strict=True))

    @cached_property
    def form(self) -> dict[str, Any]:
        """Return the row in the JSON form of the interface, not validated, as far as its cells can
        be read."""
        return _json_form(self.read, self.header.layout)

    def to_json(self) -> dict[str, Any] | None:
        """Return the row in the JSON form of the interface, not validated; None if a cell cannot be
        read."""
        return None if self.errors else self.form

    def changes(self) -> dict[str, Any]:
        """Return what the row says in the JSON form, without a plan where it says nothing of
        one: what it does not say, it does not change. Intervals give way to the variability that
        was made from them."""
        unsaid = {*self.adds()}
        if not _says_of_blocks(self.read, self.header.layout):
            unsaid.add(self.header.layout.block_list)
        form = {name: value for name, value in self.form.items() if name not in unsaid}
        return {**form, "rr_intervals_ms": None} if "hrv_rmssd_ms" in form else form

    def adds(self) -> dict[str, Any]:
        """Return the dangers of the row that join those that were told before: pains and signs, and
        an illness that a comment tells of. A plain none stays a change: it takes them back."""
        form = self.form
        told = {name: form[name] for name in ("pain", "warning_signs") if form.get(name)}
        place = self.places.get(("illness",))
        column = self.header.columns[place[1]] if place else None
        if column is not None and column.spreads:
            told["illness"] = form["illness"]
        return told

    def dangers(self) -> dict[str, Any]:
        """Return what can be read of the row's dangers, in the JSON form; empty where there is
        none."""
        return dangers_told(self.form)

    def load(self, load: Callable[[dict[str, Any]], T]) -> T:
        """Load the row with a schema's ``load``. Raises ``InvalidInput`` with every fault: the
        cells that cannot be read, and what the schema finds in the others."""
        try:
            loaded = load(self.form)
        except InvalidInput as invalid:
            faults = (*self.errors, *self._without_doubles(self.in_columns(invalid.errors)))
            raise self._refused(faults) from invalid
        if self.errors:
            raise self._refused(self.errors)
        return loaded

    def _refused(self, faults: Sequence[FieldError]) -> InvalidInput:
        return InvalidInput(lazy("sheet.row_refused", number=self.number), faults)

    def in_columns(self, errors: Sequence[FieldError]) -> tuple[FieldError, ...]:
        """Name the cell in which each fault of the JSON form stands."""
        columns: dict[str, tuple[Path, Column]] = {}
        for pointer, found in (*self._spread_by_pointer(), *self._columns_by_pointer()):
            columns.setdefault(pointer, found)
        located = [self._in_column(one, _nearest(one.pointer, columns)) for one in errors]
        return tuple({(one.pointer, str(one)): one for one in located}.values())

    def _in_column(self, error: FieldError, found: tuple[Path, Column] | None) -> FieldError:
        if found is None:
            return error
        path, column = found
        if column.spreads:
            row, at = self.places[path]
            word, text = self.header.names[at], cell_text(self._values(row)[at])
            return CellFault.of(word, text, error.detail, cell_name(row, at))
        known_place = self.header.places.get(column.name)
        place = self.places.get(path) or (known_place is not None and (self.number, known_place))
        cell = cell_name(*place) if place else ""
        return CellFault(f"/{self.header.word_for(column)}", error.value, error.detail, cell)

    def _values(self, number: int) -> Sequence[Cell]:
        return next(line.values for line in self.lines if line.number == number)

    def _spread_by_pointer(self) -> Iterator[tuple[str, tuple[Path, Column]]]:
        """Yield the columns of the pointers whose values stand in cells that say several things."""
        pains = [*dict.fromkeys(path[1] for path in self.read if path[0] == "pain")]
        for path, (_, place) in self.places.items():
            column = self.header.columns[place]
            if column is not None and column.spreads:
                at = (path[0], pains.index(path[1]), *path[2:]) if path[0] == "pain" else path
                yield _pointer(at), (path, column)

    def _without_doubles(self, errors: Iterable[FieldError]) -> Iterator[FieldError]:
        """Drop faults that call a value missing whose cell cannot be read."""
        at_fault = {error.pointer for error in self.errors}
        return (one for one in errors if one.value is not None or one.pointer not in at_fault)

    def _columns_by_pointer(self) -> Iterator[tuple[str, tuple[Path, Column]]]:
        """Yield the columns of each pointer of the JSON form, the likeliest first: those that were
        filled in, then those that the sheet has."""
        layout = self.header.layout
        blocks = _blocks(self.read, layout.block_list) or [0]
        columns = [(path, column) for path, column in self._possible() if path[0] != MUSCLE_GROUP]
        for path, column in sorted(columns, key=self._likeliness):
            if path[0] != layout.block_list:
                yield _pointer(path), (path, column)
            elif (block := path[1]) in blocks:
                json_path = (path[0], blocks.index(block), *path[2:])
                yield _pointer(json_path), (path, column)

    def _likeliness(self, possible: tuple[Path, Column]) -> tuple[bool, bool]:
        path, column = possible
        return path not in self.read, column.name not in self.header.places

    def _possible(self) -> Iterator[tuple[Path, Column]]:
        """Yield every column, under each path that it may have filled."""
        groups = {path[1] for path in self.places if path[0] in ("soreness", "last_trained")}
        for column in self.header.layout.columns().values():
            if not column.of_a_group:
                yield column.path, column
            elif self.header.is_long:
                yield from (
                    (group_path(column, group), column) for group in sorted(groups, key=str)
                )


def read_row(header: Header, number: int, cells: Sequence[Cell], options: ReadOptions) -> SheetRow:
    """Read one row; a cell that cannot be read is an error of the row, and the others are read."""
    width = len(header.names)
    values = (*cells, *("" for _ in header.names))[:width]
    reading = _Reading(header, number, _cell_context(header, values, options))
    for place, cell in enumerate(cells[width:], start=width):
        if not is_blank(cell):
            reading.refuse(place, cell, lazy("sheet.more_cells"))
    for place, (column, cell) in enumerate(zip(header.columns, values, strict=True)):
        if isinstance(cell, str) and len(cell) > MOST_CHARACTERS:
            reading.refuse(place, cell, lazy("sheet.long_cell", most=MOST_CHARACTERS))
        elif column is not None and not is_blank(cell):
            reading.read(place, column, cell)
    return reading.row(Line(number, values))


def _cell_context(header: Header, values: Sequence[Cell], options: ReadOptions) -> CellContext:
    place = header.places.get(_ATHLETE_COLUMN)
    athlete_id = "" if place is None else unescape_formula(cell_text(values[place]).strip())
    with suppress(CellError):
        athlete_id = options.people.find(athlete_id) if options.people else athlete_id
    zone = options.zone_of(athlete_id) or _UTC
    context = CellContext(
        options.date_order, zone, options.zone_in_words, None, options.today, options.people
    )
    return replace(context, day=_date(header, values, context))


def _date(header: Header, values: Sequence[Cell], context: CellContext) -> date | None:
    """Return the date of the row, if it has one that can be read."""
    place = header.places.get(_DATE_COLUMN)
    column = None if place is None else header.columns[place]
    if place is None or column is None or is_blank(values[place]):
        return None
    try:
        read = _read_once(header, place, column, values[place], context)
        return date.fromisoformat(read.value)
    except CellError:
        return None


def _read_once(
    header: Header, place: int, column: Column, cell: Cell, context: CellContext
) -> CellValue:
    """Read a cell that is not blank. What most rows say again is read once: words, numbers and
    dates mean the same in each row of a sheet, moments in each row of a date. Raises
    ``CellError``."""
    key: tuple[Any, ...]
    if isinstance(cell, str) and column.kind in _SAME_IN_EACH_ROW:
        key = place, cell
    elif isinstance(cell, str) and column.kind == _SAME_ON_A_DATE:
        key = place, cell, context.zone, context.day
    else:
        return read_cell(column, cell, context)
    read = header.words_read.get(key)
    if read is None:
        read = header.words_read[key] = read_cell(column, cell, context)
    return read


@dataclass
class _Reading:
    """A row that is being read."""

    header: Header
    number: int
    context: CellContext
    values: dict[Path, Any] = field(default_factory=dict)
    places: dict[Path, Place] = field(default_factory=dict)
    group_cells: list[tuple[int, Column, Cell, Any]] = field(default_factory=list)
    errors: list[FieldError] = field(default_factory=list)
    interpretations: list[Interpretation] = field(default_factory=list)

    def read(self, place: int, column: Column, cell: Cell) -> None:
        """Read one cell."""
        header = self.header.names[place]
        try:
            if column.spreads:
                read = read_spread(column, cell, header, place)
            else:
                read = _read_once(self.header, place, column, cell, self.context)
        except CellError as fault:
            self.refuse(place, cell, fault.detail)
            return
        if column.kind == "comment" and read.also and not self.header.layout.is_of_mornings:
            self.refuse(place, cell, lazy("sheet.danger_in_session"))
            return
        if read.interpretation:
            at, shown = cell_name(self.number, place), read.shown or str(read.value)
            said, is_comment = cell_text(cell), column.kind == "comment"
            self.interpretations.append(
                Interpretation(read.interpretation, header, at, said, shown, is_comment)
            )
        if column.of_a_group:
            self.group_cells.append((place, column, cell, read.value))
        elif read.value is not None:
            self._keep(column.path, read.value, place)
        for path, value in read.also.items():
            self._keep(path, value, place)

    def refuse(self, place: int, cell: Cell, detail: str) -> None:
        """Note that a cell cannot be read."""
        names = self.header.names
        name = names[place] if place < len(names) else ""
        at = cell_name(self.number, place)
        self.errors.append(CellFault.of(name, cell_text(cell), detail, at))

    def row(self, line: Line) -> SheetRow:
        """Return the row once all its cells are read."""
        group = self.values.pop((MUSCLE_GROUP,), None)
        self.places.pop((MUSCLE_GROUP,), None)
        for place, column, cell, value in self.group_cells:
            if group is None:
                self._refuse_without_group(place, cell)
            else:
                self._keep(group_path(column, group), value, place)
        self._tell_kinds_of_pain()
        errors, interpretations = tuple(self.errors), tuple(self.interpretations)
        return SheetRow(self.header, (line,), self.values, self.places, errors, interpretations)

    def _refuse_without_group(self, place: int, cell: Cell) -> None:
        """Refuse a cell whose row names no muscle group, unless the cell that should name it is
        refused itself."""
        column_place = self.header.places.get(MUSCLE_GROUP)
        pointer = None if column_place is None else f"/{self.header.names[column_place]}"
        if all(error.pointer != pointer for error in self.errors):
            self.refuse(place, cell, lazy("sheet.no_group", column=MUSCLE_GROUP))

    def _tell_kinds_of_pain(self) -> None:
        """Tell the kind of each pain whose place alone is given, by its words."""
        for path, where in [*self.values.items()]:
            kind: Path = (*path[:-1], "kind")
            if path[0] != "pain" or path[-1] != "where" or kind in self.values:
                continue
            _, place = self.places[path]
            column = self.header.columns[place]
            is_refused = self.header.places.get("pain_kind") is not None and not (
                column and column.spreads
            )
            words = SheetWords.bundled()
            is_none = means_none(str(where)) or words.is_no_pain(str(where))
            if is_none or is_refused:
                continue
            if is_pain_as_before(str(where)):
                self.refuse(place, where, lazy("sheet.pain_as_before"))
            self._keep(kind, pain_told(str(where))["kind"], place)

    def _keep(self, path: Path, value: Any, place: int) -> None:
        if path in self.values:
            value = merged(path, self.values[path], value, worst)
        self.values[path] = value
        self.places.setdefault(path, (self.number, place))


def group_path(column: Column, group: str | int) -> Path:
    """Return the path of a column's value for a muscle group, where the row names the group."""
    return (column.path[0], group, *column.path[1:])


def _json_form(read: Mapping[Path, Any], layout: Layout) -> dict[str, Any]:
    """Build the JSON form; without any value of a block, the list of blocks is empty: a day off."""
    block_list = layout.block_list
    form: dict[Any, Any] = {block_list: {}}
    for (*around, last), value in read.items():
        if last == DAY_OFF or (not around and last == "date" and not layout.is_of_mornings):
            continue
        inner = form
        for step in around:
            inner = inner.setdefault(step, {})
        inner[last] = value
    form[block_list] = [form[block_list][block] for block in _blocks(read, block_list)]
    if "bar_speed" in form:
        form["bar_speed"] = list(form["bar_speed"].values())
    if trials := form.pop("jump_trials", None):
        form.setdefault("jump_height_cm", [*trials.values()])
    if "pain" in form:
        form["pain"] = [pain for pain in form["pain"].values() if not _is_none(pain)]
    return form


def _says_of_blocks(read: Mapping[Path, Any], layout: Layout) -> bool:
    """Tell whether a row says what is planned, were it that nothing is."""
    return (DAY_OFF,) in read or any(path[0] == layout.block_list for path in read)


def _is_none(pain: Mapping[str, Any]) -> bool:
    words = SheetWords.bundled()
    return all(means_none(str(v)) or words.is_no_pain(str(v)) for v in pain.values() if v)


def _blocks(read: Mapping[Path, Any], block_list: str) -> list[int | str]:
    """Return the numbers of the blocks that a row fills in; the JSON form has no gaps between
    them."""
    return sorted({path[1] for path in read if path[0] == block_list})


def _pointer(path: Path) -> str:
    return "".join(f"/{step}" for step in path)


def _nearest(pointer: str, columns: Mapping[str, T]) -> T | None:
    """Return what belongs to a pointer, to the nearest thing around it, or to the first thing in
    it."""
    around = pointer
    while around and around not in columns:
        around = around.rpartition("/")[0]
    inside = (c for inner, c in columns.items() if pointer and inner.startswith(f"{pointer}/"))
    return columns.get(around) or next(inside, None)
