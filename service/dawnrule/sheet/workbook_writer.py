"""Answered workbooks, with an answer in each row of their sheet."""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Self

from dawnrule.errors import InvalidInput
from dawnrule.i18n.lazy import lazy
from dawnrule.sheet.columns import plain_name
from dawnrule.sheet.sheet import Sheet
from dawnrule.sheet.writer import Answers, answers_by_row

if TYPE_CHECKING:  # openpyxl takes long to import, and most commands write no workbook
    from openpyxl import Workbook
    from openpyxl.worksheet.worksheet import Worksheet

_TEXT = "s"
_REPLACEMENT = "\N{REPLACEMENT CHARACTER}"
_OPENING_ERRORS = (
    ArithmeticError,
    AttributeError,
    LookupError,
    OSError,
    SyntaxError,
    TypeError,
    ValueError,
)


@dataclass(frozen=True, slots=True)
class AnswerBook:
    """A workbook that is open for answers."""

    sheet: Sheet
    workbook: Workbook
    table: Worksheet

    @classmethod
    def open(cls, sheet: Sheet | None) -> Self:
        """Open the workbook of a sheet, without its macros; do so before anything is stored. Raises
        ``InvalidInput`` for a sheet that did not come in an .xlsx workbook, or in one that cannot
        be written."""
        import openpyxl
        from openpyxl.utils.exceptions import InvalidFileException

        source = sheet.workbook if sheet else None
        if sheet is None or source is None or source.form != "xlsx":
            raise InvalidInput(lazy("sheet.answer_needs_xlsx"))
        try:
            workbook = openpyxl.load_workbook(io.BytesIO(source.data), keep_vba=False)
            table = workbook[source.table]
        except (*_OPENING_ERRORS, InvalidFileException) as error:
            raise InvalidInput(lazy("sheet.answer_not_written")) from error
        return cls(sheet, workbook, table)

    def with_answers(self, answers: Answers) -> bytes:
        """Return the workbook with an answer in each row, in columns after the others; the rest is
        unchanged.

        Answer columns of an earlier reply are overwritten. An answer is text, whatever it begins
        with.
        """
        sheet = self.sheet
        places = _places(sheet)
        _write(self.table, sheet.head.number, places, sheet.layout.answers)
        for number, texts in answers_by_row(sheet, answers).items():
            _write(self.table, number, places, texts)
        written = io.BytesIO()
        self.workbook.save(written)
        return written.getvalue()


def _places(sheet: Sheet) -> list[int]:
    """Return the column of each answer, counted from 1: its present one, or one after the last."""
    known = {plain_name(name): place for place, name in enumerate(sheet.header, start=1)}
    new = [name for name in sheet.layout.answers if name not in known]
    added = {name: place for place, name in enumerate(new, start=len(sheet.header) + 1)}
    return [(known | added)[name] for name in sheet.layout.answers]


def _write(table: Worksheet, row: int, places: Sequence[int], texts: Sequence[str]) -> None:
    from openpyxl.cell.cell import ILLEGAL_CHARACTERS_RE, Cell

    for place, text in zip(places, texts, strict=True):
        cell = table.cell(row, place)
        if isinstance(cell, Cell):  # hidden parts of merged cells are of another class
            cell.value = ILLEGAL_CHARACTERS_RE.sub(_REPLACEMENT, text)
            cell.data_type = _TEXT
