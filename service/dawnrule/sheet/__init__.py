"""Spreadsheets of check-ins and sessions: read as people write them, returned with answers.

Reading order:

- ``reader``: START HERE: from the bytes of a file to a ``Sheet``.
- ``options``: what a file does not say itself, and how large it may be.
- ``text_file``, ``workbook``: the cells of a CSV file, and of an .xlsx or .ods workbook.
- ``columns``: the columns, the words for them, and the field that each holds.
- ``cells``, ``datetimes``: the value of one cell, be it a word, a number, a date or a time.
- ``rows``: the values of one row, and the cell in which a fault stands.
- ``sheet``: the sheet as read, with remarks on how it was read.
- ``errors``: the fault of a cell.
- ``writer``, ``workbook_writer``: the sheet with an answer in each row, as CSV and as .xlsx.
- ``formulas``: text that a spreadsheet program would run as a formula.
"""

from dawnrule.schemas.fields import DateOrder
from dawnrule.sheet.columns import CHECK_INS, SESSIONS, Layout
from dawnrule.sheet.errors import location_of
from dawnrule.sheet.options import DEFAULT_OPTIONS, ReadOptions
from dawnrule.sheet.reader import read_sheet
from dawnrule.sheet.rows import SheetRow
from dawnrule.sheet.sheet import Sheet, SheetReading
from dawnrule.sheet.workbook import ZIP_START
from dawnrule.sheet.workbook_writer import AnswerBook
from dawnrule.sheet.writer import RowAnswer, SessionRowAnswer, problem_text, write_sheet

__all__ = [
    "CHECK_INS",
    "DEFAULT_OPTIONS",
    "SESSIONS",
    "ZIP_START",
    "AnswerBook",
    "DateOrder",
    "Layout",
    "ReadOptions",
    "RowAnswer",
    "SessionRowAnswer",
    "Sheet",
    "SheetReading",
    "SheetRow",
    "location_of",
    "problem_text",
    "read_sheet",
    "write_sheet",
]
