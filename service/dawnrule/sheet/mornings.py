"""Which rows speak of one morning, and do they agree?"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from typing import Any

from dawnrule.errors import FieldError
from dawnrule.sheet.cells import shown
from dawnrule.sheet.columns import Layout, Path
from dawnrule.sheet.faults import CellFault, cell_name
from dawnrule.sheet.rows import SheetRow
from dawnrule.vocabulary.said import Said, say, say_all, say_list

_ATHLETE: Path = ("athlete_id",)
_DATE: Path = ("date",)


def as_mornings(rows: Iterable[SheetRow]) -> list[SheetRow]:
    """Rows of one athlete and date as one, in the order of the first of each. What one of them
    leaves out another may say; what two say must be the same."""
    mornings: dict[Any, list[SheetRow]] = {}
    for row in rows:
        mornings.setdefault(_subject(row) or row.number, []).append(row)
    return [_as_one(morning) for morning in mornings.values()]


def with_contradictions(rows: Sequence[SheetRow]) -> list[SheetRow]:
    """The rows of a sheet that has one for each morning. Those of one athlete and date that say
    different things are refused at their date: which of them holds cannot be told."""
    mornings: dict[Any, list[SheetRow]] = {}
    for row in rows:
        if not row.errors and (subject := _subject(row)):
            mornings.setdefault(subject, []).append(row)
    refused = {
        row.number: replace(row, errors=(_said_otherwise(row, morning, differing),))
        for morning in mornings.values()
        if (differing := _differing(morning))
        for row in morning
    }
    return [refused.get(row.number, row) for row in rows]


def _differing(morning: Sequence[SheetRow]) -> dict[Path, str]:
    """The words of the columns in which not all rows say the same, by their paths."""
    return {
        path: row.header.names[row.places[path][1]]
        for row in morning
        for path, value in row.read.items()
        if any(other.read.get(path) != value for other in morning)
    }


def _said_otherwise(
    row: SheetRow, morning: Sequence[SheetRow], differing: Mapping[Path, str]
) -> FieldError:
    number, place = row.places[_DATE]
    athlete_id = row.read[_ATHLETE]
    about: dict[str, object] = {
        "count": len(morning),
        "athlete": athlete_id,
        "rows": say_list([str(one.number) for one in morning]),
        "columns": say_all(dict.fromkeys(differing.values()), say("sheet.and")),
    }
    detail = _keep_one_row(row.header.layout, differing, about)
    word, held = row.header.names[place], shown(row.lines[0].values[place])
    return CellFault.of(word, held, detail, cell_name(number, place))


def _keep_one_row(layout: Layout, differing: Iterable[Path], about: Mapping[str, object]) -> Said:
    if any(path[0] == layout.block_list for path in differing):
        return say("sheet.said_otherwise_of_plan", block=layout.blocks[1], **about)
    return say("sheet.said_otherwise", **about)


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
        detail = say("sheet.contradicts", cell=where)
        yield CellFault.of(row.header.names[place], held, detail, cell_name(number, place))
