"""What does a workbook's XML say of its cells that the values do not?

The library that reads the values gives blank cells for errors and for formulas whose values were
not saved, and takes room for every cell between the first and the last. Here both are found
before it looks.
"""

from __future__ import annotations

import io
import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cache, partial
from itertools import product
from typing import TypeAlias
from xml.etree.ElementTree import Element, ParseError, iterparse

from dawnrule.errors import MalformedInput
from dawnrule.sheet.cells import Spoiled
from dawnrule.sheet.limits import MOST_BYTES_UNPACKED, MOST_CELLS
from dawnrule.vocabulary.said import say

Place = tuple[int, int]
"""Row and column, both counted from 0."""

_MAIN = "{http://schemas.openxmlformats.org/spreadsheetml/2006/main}"
_RELATION = "{http://schemas.openxmlformats.org/officeDocument/2006/relationships}id"
_TARGET_ID = "{http://schemas.openxmlformats.org/package/2006/relationships}Relationship"
_TABLE = "{urn:oasis:names:tc:opendocument:xmlns:table:1.0}"
_OFFICE = "{urn:oasis:names:tc:opendocument:xmlns:office:1.0}"
_CALC = "{urn:org:documentfoundation:names:experimental:calc:xmlns:calcext:1.0}"

_VALUE = f"{_MAIN}v"
_ERROR, _TEXT_OF_FORMULA, _SHARED_TEXT = "e", "str", "s"
_REFERENCE = re.compile(r"([A-Z]{1,3})([0-9]{1,7})")
_FIRST_LETTER, _LETTERS = ord("A"), 26
_NOT_SAVED = "sheet.not_saved"
_DAMAGED = "sheet.damaged"


@dataclass
class CellMarks:
    """The cells of one table that cannot be read, and how far it reaches."""

    spoiled: dict[Place, Spoiled] = field(default_factory=dict)
    rows: int = 0
    columns: int = 0
    characters: int = 0

    def reach(self, row: int, column: int) -> None:
        """There is a cell here. Raises ``MalformedInput`` when the table grows too large."""
        self.rows, self.columns = max(self.rows, row + 1), max(self.columns, column + 1)
        if self.rows * self.columns > MOST_CELLS:
            raise MalformedInput(say("sheet.too_far"))

    def hold(self, characters: int) -> None:
        """There is so much text. Raises ``MalformedInput`` when it is too much."""
        self.characters += characters
        if self.characters > MOST_BYTES_UNPACKED:
            raise MalformedInput(say("sheet.too_much_text"))


MarksOf: TypeAlias = Callable[[str], CellMarks]
"""The marks of a table, by its name."""


def marks_of_xlsx(parts: Mapping[str, bytes]) -> MarksOf:
    """The marks of a table of an Office Open XML workbook, found when they are asked for."""
    return partial(_marks_of_xlsx_table, parts)


def marks_of_ods(parts: Mapping[str, bytes]) -> MarksOf:
    """The marks of a table of an OpenDocument spreadsheet. All are found at once, as the library
    reads all tables at once."""
    tables = _elements(parts["content.xml"], f"{_TABLE}table")
    marks = {table.get(f"{_TABLE}name", ""): _marks_of_ods_table(table) for table in tables}
    return lambda table: marks.get(table) or CellMarks()


def _marks_of_xlsx_table(parts: Mapping[str, bytes], table: str) -> CellMarks:
    marks = CellMarks()
    texts = _elements(parts.get("xl/sharedStrings.xml", b""), f"{_MAIN}si")
    lengths = [sum(map(len, text.itertext())) for text in texts]
    for row in _elements(_part_of(parts, table), f"{_MAIN}row"):
        for cell in row:
            if len(cell):
                place, kind = _place(cell.get("r", "")), cell.get("t")
                marks.reach(*place)
                if kind == _SHARED_TEXT:
                    marks.hold(_length(lengths, cell.findtext(_VALUE) or ""))
                elif spoiled := _spoiled_in_xlsx(cell, kind):
                    marks.spoiled[place] = spoiled
    return marks


def _spoiled_in_xlsx(cell: Element, kind: str | None) -> Spoiled | None:
    if kind == _ERROR:
        return _error(cell.findtext(_VALUE) or "")
    has_formula = cell.find(f"{_MAIN}f") is not None
    if has_formula and kind != _TEXT_OF_FORMULA and not cell.findtext(_VALUE):
        return Spoiled("", say(_NOT_SAVED))
    return None


def _marks_of_ods_table(table: Element) -> CellMarks:
    marks = CellMarks()
    row = 0
    for line in table.iter(f"{_TABLE}table-row"):
        times = _repeats(line, "rows")
        for column, cell in _placed(line):
            across = _repeats(cell, "columns")
            marks.reach(row + times - 1, column + across - 1)
            marks.hold(sum(map(len, cell.itertext())) * times * across)
            if spoiled := _spoiled_in_ods(cell):
                below, beside = range(row, row + times), range(column, column + across)
                marks.spoiled |= dict.fromkeys(product(below, beside), spoiled)
        row += times
    return marks


def _placed(line: Element) -> Iterator[tuple[int, Element]]:
    """The cells of a row that say something, and where each begins."""
    column = 0
    for cell in line:
        if _says_something(cell):
            yield column, cell
        column += _repeats(cell, "columns")


def _says_something(cell: Element) -> bool:
    return cell.get(f"{_OFFICE}value-type") is not None or cell.get(f"{_TABLE}formula") is not None


def _spoiled_in_ods(cell: Element) -> Spoiled | None:
    if cell.get(f"{_CALC}value-type") == "error":
        return _error("".join(cell.itertext()))
    has_formula = cell.get(f"{_TABLE}formula") is not None
    if has_formula and cell.get(f"{_OFFICE}value-type") is None:
        return Spoiled("", say(_NOT_SAVED))
    return None


def _error(shown: str) -> Spoiled:
    return Spoiled(shown, say("sheet.error", shown=shown or "#ERROR"))


def _repeats(element: Element, what: str) -> int:
    times = element.get(f"{_TABLE}number-{what}-repeated", "1")
    if not times.isdecimal():
        raise MalformedInput(say(_DAMAGED))
    return int(times)


def _place(reference: str) -> Place:
    found = _REFERENCE.fullmatch(reference)
    if not found:
        raise MalformedInput(say("sheet.no_place"))
    return int(found[2]) - 1, _column(found[1])


@cache
def _column(letters: str) -> int:
    above = (_column(letters[:-1]) + 1) * _LETTERS if letters[1:] else 0
    return above + ord(letters[-1]) - _FIRST_LETTER


def _length(lengths: Sequence[int], index: str) -> int:
    known = index.isdecimal() and int(index) < len(lengths)
    return lengths[int(index)] if known else 0


def _part_of(parts: Mapping[str, bytes], table: str) -> bytes:
    """The part that holds a table. Raises ``MalformedInput`` where it is not to be found."""
    relations = parts.get("xl/_rels/workbook.xml.rels", b"")
    targets = {one.get("Id"): one.get("Target", "") for one in _elements(relations, _TARGET_ID)}
    sheets = _elements(parts.get("xl/workbook.xml", b""), f"{_MAIN}sheet")
    paths = [targets.get(one.get(_RELATION), "") for one in sheets if one.get("name") == table]
    full = [path[1:] if path.startswith("/") else f"xl/{path}" for path in paths]
    if len(full) != 1 or full[0] not in parts:
        raise MalformedInput(say("sheet.other_form"))
    return parts[full[0]]


def _elements(content: bytes, name: str) -> Iterator[Element]:
    """Each element of a name once it is whole; what is not needed any more is let go of."""
    if not content:
        return
    try:
        for _, element in iterparse(io.BytesIO(content)):
            if element.tag == name:
                yield element
                element.clear()
    except ParseError as error:
        raise MalformedInput(say(_DAMAGED)) from error
