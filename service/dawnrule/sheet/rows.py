"""What does a row of a sheet say, and in which column does a fault stand?"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Self, TypeVar

from dawnrule.errors import FieldError, InvalidInput
from dawnrule.sheet.cells import NONE, CellError, read_cell
from dawnrule.sheet.columns import Column, Layout, Path, plain_name

T = TypeVar("T")

MORE_CELLS = "the row has more cells than the header; put a cell that holds a separator in quotes"

_FIRST_ROW = 2  # the header stands above it


@dataclass(frozen=True, slots=True)
class SheetRow:
    """One row as it was given, and what could be read of it.

    ``number`` counts as a spreadsheet program does: the first row is 1, blank rows count.
    ``values`` are the cells under ``header``. ``errors`` are the cells that cannot be read; their
    pointers and those of ``in_columns`` point into ``cells``: ``/sleep_hours``.
    """

    layout: Layout
    number: int
    header: tuple[str, ...]
    values: tuple[str, ...]
    read: Mapping[Path, Any]
    errors: tuple[FieldError, ...]

    @property
    def cells(self) -> dict[str, str]:
        """The cells as given, by the header's own words."""
        return dict(zip(self.header, self.values, strict=True))

    @property
    def plain(self) -> dict[str, Any] | None:
        """What the row says in the interface's plain form, not validated; None if a cell cannot
        be read."""
        return None if self.errors else _plain(self.read, self.layout)

    def load(self, load: Callable[[dict[str, Any]], T]) -> T:
        """What the row says. Raises ``InvalidInput`` with every fault: the cells that cannot be
        read, and what ``load`` (the schemas') says of the others."""
        message = f"Row {self.number} cannot be accepted."
        try:
            loaded = load(_plain(self.read, self.layout))
        except InvalidInput as invalid:
            faults = (*self.errors, *self.in_columns(invalid.errors))
            raise InvalidInput(message, faults) from invalid
        if self.errors:
            raise InvalidInput(message, self.errors)
        return loaded

    def in_columns(self, errors: Sequence[FieldError]) -> tuple[FieldError, ...]:
        """Faults of the plain form, each pointing to the column that it came from."""
        names = dict(self._names_by_pointer())
        return tuple(
            FieldError(f"/{name}", error.value, error.detail)
            if (name := _nearest(error.pointer, names))
            else error
            for error in errors
        )

    def _names_by_pointer(self) -> Iterator[tuple[str, str]]:
        """The header's word for each pointer of the plain form; the columns that were filled in
        stand first."""
        given = {plain_name(name): name for name in self.header}
        block_list = self.layout.block_list
        blocks = _blocks(self.read, block_list) or [0]
        known = self.layout.columns().values()
        for column in sorted(known, key=lambda column: column.path not in self.read):
            if column.path[0] != block_list:
                yield _pointer(column.path), given.get(column.name, column.name)
            elif (block := column.path[1]) in blocks:
                path = (block_list, blocks.index(block), *column.path[2:])
                yield _pointer(path), given.get(column.name, column.name)


@dataclass(frozen=True, slots=True)
class Sheet:
    """A sheet as it came: its header, its rows, and how its cells are separated."""

    layout: Layout
    header: tuple[str, ...]
    rows: tuple[SheetRow, ...]
    delimiter: str = ","
    has_byte_order_mark: bool = False

    @classmethod
    def of(cls, layout: Layout, subjects: Iterable[Sequence[str]]) -> Self:
        """A sheet for what did not come in one: a row for each subject, which fills the required
        columns."""
        rows = (
            read_row(layout, number, layout.required, subject)
            for number, subject in enumerate(subjects, start=_FIRST_ROW)
        )
        return cls(layout, layout.required, tuple(rows))

    @property
    def unread(self) -> tuple[str, ...]:
        """The header's words that mean nothing here: own columns, or typing errors."""
        return tuple(
            name
            for name in self.header
            if self.layout.column_named(name) is None
            and plain_name(name) not in self.layout.answers
        )


def read_row(
    layout: Layout, number: int, header: tuple[str, ...], cells: Sequence[str]
) -> SheetRow:
    """Read one row; a cell that cannot be read is an error of the row, and the others are read."""
    values = (*cells, *("" for _ in header))[: len(header)]
    read: dict[Path, Any] = {}
    errors = [FieldError("", cell, MORE_CELLS) for cell in cells[len(header) :] if cell.strip()]
    for name, cell, column in _filled_in(layout, header, values):
        try:
            read[column.path] = read_cell(column, cell)
        except CellError as fault:
            errors.append(FieldError(f"/{name}", cell, str(fault)))
    return SheetRow(layout, number, header, values, read, tuple(errors))


def _filled_in(
    layout: Layout, header: tuple[str, ...], values: tuple[str, ...]
) -> Iterator[tuple[str, str, Column]]:
    for name, cell in zip(header, values, strict=True):
        column = layout.column_named(name)
        if column is not None and cell.strip():
            yield name, cell, column


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
    return all(str(value).lower() == NONE for value in pain.values() if value)


def _blocks(read: Mapping[Path, Any], block_list: str) -> list[int | str]:
    """The numbers of the blocks that a row fills in; the plain form has no gaps between them."""
    return sorted({path[1] for path in read if path[0] == block_list})


def _pointer(path: Path) -> str:
    return "".join(f"/{step}" for step in path)


def _nearest(pointer: str, names: Mapping[str, str]) -> str | None:
    """The column of a pointer, of the nearest thing around it, or of the first thing in it."""
    around = pointer
    while around and around not in names:
        around = around.rpartition("/")[0]
    inside = (n for inner, n in names.items() if pointer and inner.startswith(f"{pointer}/"))
    return names.get(around) or next(inside, None)
