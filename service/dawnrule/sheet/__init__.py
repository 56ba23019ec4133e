"""CSV sheets of check-ins or sessions: read as people write them, given back with answers.

- ``columns``: which columns there are, and what of a check-in or a session each holds.
- ``cells``, ``rows``: what one cell and one row say, and where a fault stands.
- ``reading``, ``writing``: from a file to a sheet, and back.
"""

from dawnrule.sheet.columns import CHECK_INS, SESSIONS, Layout
from dawnrule.sheet.reading import read_sheet
from dawnrule.sheet.rows import Sheet, SheetRow
from dawnrule.sheet.writing import RowAnswer, SessionRowAnswer, refusal_in_words, write_sheet

__all__ = [
    "CHECK_INS",
    "SESSIONS",
    "Layout",
    "RowAnswer",
    "SessionRowAnswer",
    "Sheet",
    "SheetRow",
    "read_sheet",
    "refusal_in_words",
    "write_sheet",
]
