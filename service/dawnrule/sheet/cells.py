"""What does one cell of a sheet say?"""

from __future__ import annotations

import re
from typing import Any

from dawnrule.sheet.columns import Column

NONE = "none"
"""How a list is said to be empty; an empty cell was not reported."""

FORMULA_STARTS = "=+-@\t\r\n\uff1d\uff0b\uff0d\uff20"
"""What a spreadsheet program may take for the start of a formula (OWASP, CSV injection), with
the full-width forms."""

_NUMBER = re.compile(r"[+-]?[0-9]{1,15}(?:([.,])([0-9]{1,20}))?")
_GROUPED_BY_THOUSANDS = re.compile(r"[+-]?[1-9][0-9]{0,2}[.,][0-9]{3}")
_MINUS_SIGN = "\N{MINUS SIGN}"


class CellError(ValueError):
    """A cell that cannot be read; the message says what would do."""


def read_cell(column: Column, cell: str) -> Any:
    """The plain value of a cell that is not blank. Raises ``CellError``."""
    text = without_guard(cell.strip())
    match column.kind:
        case "text":
            return text
        case "word":
            return "-".join(re.split(r"[\s_]+", text.lower()))
        case "words":
            return _words(text)
        case "number":
            return _number(column, text)


def is_number(cell: str) -> bool:
    """Whether a cell holds one number, with a decimal point or comma, and nothing else."""
    return bool(_NUMBER.fullmatch(cell.strip()))


def without_guard(text: str) -> str:
    """The text without the apostrophe that is written before what looks like a formula."""
    guarded = text[:1] == "'" and text[1:2] and text[1] in FORMULA_STARTS
    return text[1:] if guarded else text


def _words(text: str) -> list[str]:
    words = [word.replace("_", "-") for word in re.split(r"[\s,;]+", text.lower()) if word]
    return [] if words == [NONE] else words


def _number(column: Column, cell: str) -> int | float:
    text = cell.replace(_MINUS_SIGN, "-")
    found = _NUMBER.fullmatch(text)
    if found is None:
        raise CellError("is not a number; write it like 7 or 6.5")
    separator = found[1]
    if separator is None:
        return int(text)
    number = float(text.replace(separator, "."))
    in_thousands = int(text.replace(separator, ""))
    if _GROUPED_BY_THOUSANDS.fullmatch(text) and in_thousands <= column.greatest:
        raise CellError(f"may mean {number:g} or {in_thousands}; write it as one of these")
    return number
