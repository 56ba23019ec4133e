"""What is wrong with a cell, and where does it stand?"""

from __future__ import annotations

from dataclasses import dataclass

from dawnrule.errors import FieldError

_ALPHABET = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"
_LONGEST_ECHO = 200  # characters; whoever sent more finds it by its cell


class CellError(ValueError):
    """A cell that cannot be read; ``detail`` says what would do."""

    def __init__(self, detail: str) -> None:
        super().__init__(detail)
        self.detail = detail


@dataclass(frozen=True, slots=True)
class CellFault(FieldError):
    """One wrong cell: its column (a pointer like ``/sleep_hours``), what it holds, what would do,
    and where it stands, as F7; empty when the sheet has no such column."""

    cell: str = ""

    @classmethod
    def of(cls, column: str, held: str, detail: str, cell: str) -> CellFault:
        """The fault of a cell under a header; what is long is not repeated."""
        echo = held if len(held) <= _LONGEST_ECHO else None
        return cls(f"/{column}" if column else "", echo, detail, cell)


def where_in_words(fault: FieldError) -> str:
    """The field of a fault, and its cell if it stands in one."""
    cell = f" ({fault.cell})" if isinstance(fault, CellFault) and fault.cell else ""
    return f"{fault.pointer.removeprefix('/')}{cell}".strip()


def cell_name(row: int, place: int) -> str:
    """What a spreadsheet program calls the cell of a row (from 1) and a place in it (from 0)."""
    return f"{column_letters(place)}{row}"


def column_letters(place: int) -> str:
    """A column's letters: A for 0, AA for 26."""
    above, last = divmod(place, len(_ALPHABET))
    return (column_letters(above - 1) if above else "") + _ALPHABET[last]
