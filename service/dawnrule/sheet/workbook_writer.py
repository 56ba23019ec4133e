"""How does a workbook go back with the answers in its sheet?"""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Self

import openpyxl
from openpyxl.cell import Cell
from openpyxl.cell.cell import ILLEGAL_CHARACTERS_RE
from openpyxl.utils.exceptions import InvalidFileException
from openpyxl.worksheet.worksheet import Worksheet

from dawnrule.errors import InvalidInput
from dawnrule.i18n.lazy import lazy
from dawnrule.sheet.columns import plain_name
from dawnrule.sheet.sheet import Sheet
from dawnrule.sheet.writer import Answers, answers_by_row

_TEXT = "s"
_NO_CHARACTER = "\N{REPLACEMENT CHARACTER}"
_WHAT_OPENING_RAISES = (
    ArithmeticError,
    AttributeError,
    InvalidFileException,
    LookupError,
    OSError,
    SyntaxError,
    TypeError,
    ValueError,
)


@dataclass(frozen=True, slots=True)
class AnswerBook:
    """A workbook that the answers are going to be written into."""

    sheet: Sheet
    workbook: openpyxl.Workbook
    table: Worksheet

    @classmethod
    def open(cls, sheet: Sheet | None) -> Self:
        """The workbook that a sheet came in, without its macros; open it before anything is
        stored. Raises ``InvalidInput`` for a sheet that did not come in an .xlsx workbook, or
        in one that cannot be written into."""
        given = sheet.workbook if sheet else None
        if sheet is None or given is None or given.form != "xlsx":
            raise InvalidInput(lazy("sheet.answer_needs_xlsx"))
        try:
            workbook = openpyxl.load_workbook(io.BytesIO(given.data), keep_vba=False)
            table = workbook[given.table]
        except _WHAT_OPENING_RAISES as error:
            raise InvalidInput(lazy("sheet.answer_not_written")) from error
        return cls(sheet, workbook, table)

    def written(self, answers: Answers) -> bytes:
        """The workbook with an answer for each row behind its columns, all else as it was.

        Answer columns of an earlier reply are written over. An answer is text, whatever it begins
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
    """The column of each answer, counted from 1: where it stands already, or behind the last."""
    known = {plain_name(name): place for place, name in enumerate(sheet.header, start=1)}
    new = [name for name in sheet.layout.answers if name not in known]
    behind = {name: place for place, name in enumerate(new, start=len(sheet.header) + 1)}
    return [(known | behind)[name] for name in sheet.layout.answers]


def _write(table: Worksheet, row: int, places: Sequence[int], texts: Sequence[str]) -> None:
    for place, text in zip(places, texts, strict=True):
        cell = table.cell(row, place)
        if isinstance(cell, Cell):  # and no hidden part of merged ones
            cell.value = ILLEGAL_CHARACTERS_RE.sub(_NO_CHARACTER, text)
            cell.data_type = _TEXT
