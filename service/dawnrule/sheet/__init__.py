"""Sheets of check-ins or sessions: read as people and programs write them, given back with answers.

From the file to its cells:

- ``decoding``, ``separated``: the text of a CSV file, and its cells.
- ``unpacking``, ``cell_marks``, ``workbook``: an .xlsx or .ods file, and its cells.
- ``declared``, ``limits``: what the file does not say, and how large it may be.

From the cells to what they say:

- ``columns``, ``headers``: which columns there are, under which words, and what each holds.
- ``unread``: which headers must not be passed over, as they may speak of what calls for rest.
- ``cell_words``: which words stand for which of the vocabulary, in every language.
- ``cells``, ``numbers``, ``dates``, ``moments``: what one cell says.
- ``rows``, ``row_reading``, ``mornings``, ``faults``: what a row says, or several of one
  morning, and where a fault stands.
- ``reading``, ``sheet``: all of it, and how it was read.

And back: ``writing`` as CSV, ``workbook_writing`` as .xlsx.
"""

from dawnrule.schemas.fields import DateOrder
from dawnrule.sheet.columns import CHECK_INS, SESSIONS, Layout
from dawnrule.sheet.errors import where_in_words
from dawnrule.sheet.options import NOTHING, Declared
from dawnrule.sheet.reader import read_sheet
from dawnrule.sheet.rows import SheetRow
from dawnrule.sheet.sheet import Sheet
from dawnrule.sheet.workbook import ZIP_START
from dawnrule.sheet.workbook_writer import AnswerBook
from dawnrule.sheet.writer import RowAnswer, SessionRowAnswer, refusal_in_words, write_sheet

__all__ = [
    "CHECK_INS",
    "NOTHING",
    "SESSIONS",
    "ZIP_START",
    "AnswerBook",
    "DateOrder",
    "Declared",
    "Layout",
    "RowAnswer",
    "SessionRowAnswer",
    "Sheet",
    "SheetRow",
    "read_sheet",
    "refusal_in_words",
    "where_in_words",
    "write_sheet",
]
