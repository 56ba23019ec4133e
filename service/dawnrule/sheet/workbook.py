"""Which cells does a workbook's sheet hold (.xlsx, .ods)?"""

from __future__ import annotations

import io
import re
import zlib
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cache, partial
from itertools import product
from typing import Literal, TypeAlias
from xml.etree.ElementTree import Element, ParseError, iterparse
from zipfile import BadZipFile, ZipFile, ZipInfo

from python_calamine import (
    CalamineError,
    CalamineSheet,
    CalamineWorkbook,
    SheetMetadata,
    SheetTypeEnum,
    SheetVisibleEnum,
)

from dawnrule.errors import FieldError, InvalidInput, MalformedInput
from dawnrule.i18n.lazy import lazy
from dawnrule.sheet.cells import Cell, Record, Spoiled, is_blank
from dawnrule.sheet.options import MOST_BYTES_UNPACKED, MOST_CELLS, MOST_TIMES_PACKED, SMALL_BYTES

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
_DAMAGED_PART = "sheet.damaged"


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
            raise MalformedInput(lazy("sheet.too_far"))

    def hold(self, characters: int) -> None:
        """There is so much text. Raises ``MalformedInput`` when it is too much."""
        self.characters += characters
        if self.characters > MOST_BYTES_UNPACKED:
            raise MalformedInput(lazy("sheet.too_much_text"))


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
        return Spoiled("", lazy(_NOT_SAVED))
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
        return Spoiled("", lazy(_NOT_SAVED))
    return None


def _error(shown: str) -> Spoiled:
    return Spoiled(shown, lazy("sheet.error", shown=shown or "#ERROR"))


def _repeats(element: Element, what: str) -> int:
    times = element.get(f"{_TABLE}number-{what}-repeated", "1")
    if not times.isdecimal():
        raise MalformedInput(lazy(_DAMAGED_PART))
    return int(times)


def _place(reference: str) -> Place:
    found = _REFERENCE.fullmatch(reference)
    if not found:
        raise MalformedInput(lazy("sheet.no_place"))
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
        raise MalformedInput(lazy("sheet.other_form"))
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
        raise MalformedInput(lazy(_DAMAGED_PART)) from error


ZIP_START = b"PK"

_ENCRYPTED = 1
_DOCTYPE = "<!DOCTYPE"
_DOCTYPES = [_DOCTYPE.encode(encoding) for encoding in ("utf-8", "utf-16-le", "utf-16-be")]
_DAMAGED = "sheet.not_complete"


def unpacked(data: bytes) -> dict[str, bytes]:
    """The parts of a workbook by name. Raises ``MalformedInput`` for one that is damaged, or
    would grow out of proportion."""
    try:
        with ZipFile(io.BytesIO(data)) as packed:
            parts = packed.infolist()
            _refuse_overlapping(parts, len(data))
            return _all_parts(packed, parts)
    except (BadZipFile, EOFError, NotImplementedError, OSError, ValueError, zlib.error) as error:
        raise MalformedInput(lazy(_DAMAGED)) from error


def _all_parts(packed: ZipFile, parts: list[ZipInfo]) -> dict[str, bytes]:
    left = MOST_BYTES_UNPACKED
    found = {}
    for part in parts:
        content = _content(packed, part, left)
        left -= len(content)
        found[part.filename] = content
    return found


def _content(packed: ZipFile, part: ZipInfo, left: int) -> bytes:
    if part.flag_bits & _ENCRYPTED:
        raise MalformedInput(lazy("sheet.password"))
    most = min(left, max(SMALL_BYTES, part.compress_size * MOST_TIMES_PACKED))
    declared, part.file_size = part.file_size, most + 2  # read on behind the end that it declares
    with packed.open(part) as stream:
        content = stream.read(most + 1)
    part.file_size = declared
    if len(content) > most:
        raise MalformedInput(lazy("sheet.too_large"))
    if len(content) != declared:
        raise MalformedInput(lazy(_DAMAGED))
    if any(doctype in content for doctype in _DOCTYPES):
        raise MalformedInput(lazy("sheet.entities"))
    return content


def _refuse_overlapping(parts: list[ZipInfo], size: int) -> None:
    """A part that lies inside another, or is listed twice, is unpacked more often than it is
    stored."""
    is_twice = len({part.filename for part in parts}) < len(parts)
    if is_twice or sum(part.compress_size for part in parts) > size:
        raise MalformedInput(lazy(_DAMAGED))


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
        return lazy("sheet.only_one_read", name=self.table, others=", ".join(self.other_tables))


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
        raise MalformedInput(lazy("sheet.unreadable")) from error
    others = tuple(one for one in opened.sheet_names if one != name)
    return Workbook(data, form, name, others), list(_records(grid, marks))


_MARKS_OF = {"xlsx": marks_of_xlsx, "ods": marks_of_ods}


def _form_of(parts: Mapping[str, bytes]) -> Form:
    if "xl/workbook.xml" in parts:
        return "xlsx"
    if b"opendocument.spreadsheet" in parts.get("mimetype", b"") and "content.xml" in parts:
        return "ods"
    raise MalformedInput(lazy("sheet.no_workbook"))


def _chosen(workbook: CalamineWorkbook, table: str | None) -> str:
    names = workbook.sheet_names
    if table is None:
        seen = [one.name for one in workbook.sheets_metadata if _is_seen(one)]
        if not seen:
            raise MalformedInput(lazy("sheet.all_hidden"))
        return seen[0]
    if table not in names:
        said = ", ".join(names)
        fault = FieldError("/sheet", table, lazy("sheet.no_such_sheet", names=said))
        raise InvalidInput(lazy("sheet.no_such_sheet_whole", names=said), [fault])
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
