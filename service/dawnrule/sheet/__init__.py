"""Spreadsheets of check-ins and sessions: read as people write them, returned with answers.

Reading order:

- ``reader``: START HERE: from the bytes of a file to a ``Sheet``.
- ``options``: what a file does not say itself, and how large it may be.
- ``text_file``, ``workbook``: the cells of a CSV file, and of an .xlsx or .ods workbook.
- ``shape``: the row that names the columns, and the rows that hold answers.
- ``columns``: the columns, the words for them, and the field that each holds.
- ``words``: more words for columns and cells, as coaches write them.
- ``meanings``: what each column of a sheet is taken to mean, and which of them are asked about.
- ``people``: the athletes by id or name.
- ``cells``, ``datetimes``, ``amounts``: the value of one cell, be it a word, a number, a date, a
  time or a length of time.
- ``spreads``, ``dangers``: cells that say several things, and comments that tell of a danger.
- ``rows``: the values of one row, and the cell in which a fault stands.
- ``sheet``: the sheet as read, with remarks on how it was read.
- ``errors``: the fault of a cell.
- ``writer``, ``workbook_writer``: the sheet with an answer in each row, as CSV and as .xlsx.
- ``roster``, ``weeks``: a list of athletes, and the order of a week.
- ``formulas``: text that a spreadsheet program would run as a formula.
"""

from dawnrule.schemas.fields import DateOrder
from dawnrule.sheet.columns import CHECK_INS, SESSIONS, Layout
from dawnrule.sheet.dangers import dangers_told
from dawnrule.sheet.errors import location_of
from dawnrule.sheet.meanings import ColumnMeaning, all_meanings, column_of_meaning, has_other_scale
from dawnrule.sheet.options import DEFAULT_OPTIONS, ReadOptions
from dawnrule.sheet.people import People
from dawnrule.sheet.reader import SheetColumns, read_columns, read_sheet
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
    "ColumnMeaning",
    "DateOrder",
    "Layout",
    "People",
    "ReadOptions",
    "RowAnswer",
    "SessionRowAnswer",
    "Sheet",
    "SheetColumns",
    "SheetReading",
    "SheetRow",
    "all_meanings",
    "column_of_meaning",
    "dangers_told",
    "has_other_scale",
    "location_of",
    "problem_text",
    "read_columns",
    "read_sheet",
    "write_sheet",
]
