"""Faults of cells, and the names of cells and columns."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass

from dawnrule.errors import FieldError

_ALPHABET = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"
_CELL = re.compile(r"(?P<column>[A-Z]*)(?P<row>[0-9]+)")
_SHORTEST_RANGE = 3
_LONGEST_ECHO = 200  # characters; longer content is found by its cell


class CellError(ValueError):
    """A cell that cannot be read; ``detail`` says what would be accepted."""

    def __init__(self, detail: str) -> None:
        super().__init__(detail)
        self.detail = detail


@dataclass(frozen=True, slots=True)
class CellFault(FieldError):
    """One faulty cell: its column (a pointer like ``/sleep_hours``), its content, what would be
    accepted, and its name, like F7; the name is empty when the sheet has no such column."""

    cell: str = ""

    @classmethod
    def of(cls, column: str, content: str, detail: str, cell: str) -> CellFault:
        """Describe a cell under a header; long content is not repeated."""
        echo = content if len(content) <= _LONGEST_ECHO else None
        return cls(f"/{column}" if column else "", echo, detail, cell)


def location_of(fault: FieldError) -> str:
    """Name the field of a fault, with its cell if it stands in one."""
    cell = f" ({fault.cell})" if isinstance(fault, CellFault) and fault.cell else ""
    return f"{fault.pointer.removeprefix('/')}{cell}".strip()


def cell_name(row: int, place: int) -> str:
    """Name a cell as spreadsheet programs do, by its row (from 1) and its place in it (from 0)."""
    return f"{column_letters(place)}{row}"


def column_letters(place: int) -> str:
    """Return a column's letters: A for 0, AA for 26."""
    before, last = divmod(place, len(_ALPHABET))
    return (column_letters(before - 1) if before else "") + _ALPHABET[last]


def in_ranges(cells: Iterable[str]) -> list[str]:
    """Name cells, or rows, in short: those below one another by the first and the last."""
    runs: list[list[str]] = []
    for cell in cells:
        if runs and _follows(runs[-1][-1], cell):
            runs[-1].append(cell)
        else:
            runs.append([cell])
    named: list[str] = []
    for run in runs:
        is_range = len(run) >= _SHORTEST_RANGE
        named += [f"{run[0]}\N{EN DASH}{run[-1]}"] if is_range else run
    return named


def _follows(before: str, cell: str) -> bool:
    """Tell whether a cell is the one below another."""
    above, below = _CELL.fullmatch(before), _CELL.fullmatch(cell)
    if above is None or below is None or above["column"] != below["column"]:
        return False
    return int(above["row"]) + 1 == int(below["row"])
