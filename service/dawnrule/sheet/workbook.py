"""Which cells does a workbook's sheet hold (.xlsx, .ods)?"""

from __future__ import annotations

import io
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from python_calamine import (
    CalamineError,
    CalamineSheet,
    CalamineWorkbook,
    SheetMetadata,
    SheetTypeEnum,
    SheetVisibleEnum,
)

from dawnrule.errors import FieldError, InvalidInput, MalformedInput
from dawnrule.sheet.cell_marks import CellMarks, marks_of_ods, marks_of_xlsx
from dawnrule.sheet.cells import Cell, Record, is_blank
from dawnrule.sheet.unpacking import unpacked
from dawnrule.vocabulary.said import say

Form = Literal["xlsx", "ods"]


@dataclass(frozen=True, slots=True)
class Workbook:
    """A workbook as it came, the name of the sheet that is meant, and those of the others."""

    data: bytes
    form: Form
    table: str
    other_tables: tuple[str, ...]

    @property
    def passed_over(self) -> str:
        """A sentence on the sheets that were not read; empty if there are none."""
        if not self.other_tables:
            return ""
        return say("sheet.only_one_read", name=self.table, others=", ".join(self.other_tables))


def read_workbook(data: bytes, table: str | None) -> tuple[Workbook, list[Record]]:
    """The rows of one sheet that are not blank: the named one, else the first that is not hidden.

    Raises ``MalformedInput`` for a file that cannot be read, ``InvalidInput`` for a sheet that it
    does not have.
    """
    parts = unpacked(data)
    form = _form_of(parts)
    marks_of = _MARKS_OF[form](parts)
    try:
        with CalamineWorkbook.from_object(io.BytesIO(data)) as opened:
            name = _chosen(opened, table)
            marks = marks_of(name)
            grid = _grid(opened.get_sheet_by_name(name))
    except CalamineError as error:
        raise MalformedInput(say("sheet.unreadable")) from error
    others = tuple(one for one in opened.sheet_names if one != name)
    return Workbook(data, form, name, others), list(_records(grid, marks))


_MARKS_OF = {"xlsx": marks_of_xlsx, "ods": marks_of_ods}


def _form_of(parts: Mapping[str, bytes]) -> Form:
    if "xl/workbook.xml" in parts:
        return "xlsx"
    if b"opendocument.spreadsheet" in parts.get("mimetype", b"") and "content.xml" in parts:
        return "ods"
    raise MalformedInput(say("sheet.no_workbook"))


def _chosen(workbook: CalamineWorkbook, table: str | None) -> str:
    names = workbook.sheet_names
    if table is None:
        seen = [one.name for one in workbook.sheets_metadata if _is_seen(one)]
        if not seen:
            raise MalformedInput(say("sheet.all_hidden"))
        return seen[0]
    if table not in names:
        said = ", ".join(names)
        fault = FieldError("/sheet", table, say("sheet.no_such_sheet", names=said))
        raise InvalidInput(say("sheet.no_such_sheet_whole", names=said), [fault])
    return table


def _is_seen(table: SheetMetadata) -> bool:
    return table.visible == SheetVisibleEnum.Visible and table.typ == SheetTypeEnum.WorkSheet


def _grid(sheet: CalamineSheet) -> Sequence[Sequence[Cell]]:
    return sheet.to_python(skip_empty_area=False)


def _records(grid: Sequence[Sequence[Cell]], marks: CellMarks) -> Iterator[Record]:
    """The rows with what cannot be read put in its places. They are numbered from 1."""
    rows: list[list[Cell]] = [list(row) for row in grid]
    rows += [[] for _ in range(marks.rows - len(rows))]
    for (row, column), spoiled in marks.spoiled.items():
        rows[row] += [""] * (column + 1 - len(rows[row]))
        rows[row][column] = spoiled
    for number, cells in enumerate(rows, start=1):
        if not all(map(is_blank, cells)):
            yield number, cells
