"""Which number does a cell hold?"""

from __future__ import annotations

import math
import re

from dawnrule.sheet.columns import Column
from dawnrule.sheet.faults import CellError
from dawnrule.vocabulary.said import say, say_number

_PLAIN = re.compile(r"[+-]?[0-9]{1,15}(?:([.,])([0-9]{1,20}))?")
_GROUPED = re.compile(
    r"[+-]?[1-9][0-9]{0,2}(?:([.,' ])[0-9]{3})(?:\1[0-9]{3}){0,4}(?:([.,])[0-9]{1,20})?"
)
_ONE_GROUP = re.compile(r"[+-]?[1-9][0-9]{0,2}[.,][0-9]{3}")
_AS_PLAIN_SIGNS = str.maketrans(
    {
        "\N{MINUS SIGN}": "-",
        "\N{NO-BREAK SPACE}": " ",
        "\N{NARROW NO-BREAK SPACE}": " ",
        "\N{THIN SPACE}": " ",
        "\N{RIGHT SINGLE QUOTATION MARK}": "'",
    }
)
_PERCENT = "%"
_IS_NONE = "sheet.no_number"


def is_number(cell: str) -> bool:
    """Whether a cell holds one number, however it is written, and nothing else."""
    text = cell.strip().translate(_AS_PLAIN_SIGNS)
    return bool(_PLAIN.fullmatch(text) or _GROUPED.fullmatch(text))


def number_of_text(column: Column, cell: str) -> int | float:
    """The number that is written in a cell. Raises ``CellError``."""
    text = cell.translate(_AS_PLAIN_SIGNS).strip()
    if text.endswith(_PERCENT):
        text = _of_percent(column, text)
    plain = _PLAIN.fullmatch(text)
    if plain and plain[1]:
        return _with_one_sign(column, text, plain[1])
    if plain:
        return int(text)
    grouped = _GROUPED.fullmatch(text)
    if not grouped or grouped[1] == grouped[2]:
        raise CellError(say(_IS_NONE))
    return _number(text.replace(grouped[1], ""), grouped[2])


def number_of_value(column: Column, value: int | float) -> int | float:
    """A number that a workbook holds as one. A percentage is held as a part of 1, without a sign
    of it. Raises ``CellError``."""
    if column.is_percent and 0 < value <= 1:
        part, percent = say_number(value), say_number(100 * value)
        raise CellError(say("sheet.two_percentages", part=part, percent=percent))
    if not math.isfinite(value):
        raise CellError(say(_IS_NONE))
    return int(value) if float(value).is_integer() else value


def _of_percent(column: Column, text: str) -> str:
    if column.is_percent:
        return text.removesuffix(_PERCENT).rstrip()
    raise CellError(say("sheet.percentage"))


def _with_one_sign(column: Column, text: str, sign: str) -> float:
    """A point or comma stands before decimals, unless it may stand between thousands as well."""
    number = _number(text, sign)
    in_thousands = int(text.replace(sign, ""))
    if _ONE_GROUP.fullmatch(text) and in_thousands <= column.greatest:
        either = say_number(number)
        raise CellError(say("sheet.two_numbers", number=either, thousands=in_thousands))
    return number


def _number(text: str, sign: str | None) -> int | float:
    return float(text.replace(sign, ".")) if sign else int(text)
