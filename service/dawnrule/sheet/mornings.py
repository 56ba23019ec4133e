"""Which rows of a long sheet speak of one morning, and do they agree?"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from typing import Any

from dawnrule.errors import FieldError
from dawnrule.sheet.cells import shown
from dawnrule.sheet.columns import Path
from dawnrule.sheet.faults import CellFault, cell_name
from dawnrule.sheet.rows import SheetRow


def as_mornings(rows: Iterable[SheetRow]) -> list[SheetRow]:
    """Rows of one athlete and date as one, in the order of the first of each. What one of them
    leaves out another may say; what two say must be the same."""
    mornings: dict[Any, list[SheetRow]] = {}
    for row in rows:
        mornings.setdefault(_subject(row) or row.number, []).append(row)
    return [_as_one(morning) for morning in mornings.values()]


def _subject(row: SheetRow) -> tuple[Any, ...] | None:
    """The athlete and the date, if both can be read."""
    required: list[Path] = [(name,) for name in row.header.layout.required]
    known = all(path in row.read for path in required)
    return tuple(row.read[path] for path in required) if known else None


def _as_one(rows: Sequence[SheetRow]) -> SheetRow:
    if len(rows) == 1:
        return rows[0]
    first: dict[Path, SheetRow] = {}
    faults: list[FieldError] = [error for row in rows for error in row.errors]
    for row in rows:
        for path, value in row.read.items():
            said = first.setdefault(path, row)
            if said.read[path] != value:
                faults += _contradiction(path, said, row)
    return SheetRow(
        header=rows[0].header,
        lines=tuple(line for row in rows for line in row.lines),
        read={path: row.read[path] for path, row in first.items()},
        places={path: row.places[path] for path, row in first.items()},
        errors=tuple(dict.fromkeys(faults)),
        heard=tuple(heard for row in rows for heard in row.heard),
    )


def _contradiction(path: Path, one: SheetRow, other: SheetRow) -> Iterator[FieldError]:
    """Both cells are named: which of them holds cannot be told."""
    for row, against in ((one, other), (other, one)):
        number, place = row.places[path]
        held = shown(row.lines[0].values[place])
        where = cell_name(*against.places[path])
        detail = f"must be the same as in {where}, or blank in one of them"
        yield CellFault.of(row.header.names[place], held, detail, cell_name(number, place))
