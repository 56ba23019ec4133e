"""Workbooks: the cells of one sheet of an .xlsx or .ods file, unpacked within bounds."""

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
from zipfile import ZIP_DEFLATED, ZIP_STORED, BadZipFile, ZipFile, ZipInfo

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
from dawnrule.sheet.cells import Cell, Record, UnreadableCell, is_blank
from dawnrule.sheet.options import (
    MOST_BYTES_UNPACKED,
    MOST_CELLS,
    MOST_CHARACTERS_OF_TABLE,
    MOST_TIMES_PACKED,
    SMALL_BYTES,
)

Place = tuple[int, int]
"""Row and column, both counted from 0."""

Form = Literal["xlsx", "ods"]
ZIP_START = b"PK"
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
_ENCRYPTED = 1
_COMPRESSIONS = (ZIP_STORED, ZIP_DEFLATED)
"""Those that a workbook may have (from memory: ISO/IEC 29500-2 and OASIS OpenDocument 1.2, part 3);
the library reads no others."""

_SPOILED = (
    BadZipFile,  # no archive, or a part whose check sum or name is another
    EOFError,  # a part that ends early
    NotImplementedError,  # by zipfile: a newer version, a strong encryption or patched data
    ValueError,  # a place before the file, or a name that is no text
    zlib.error,  # a part that is not deflated, though it says so
)
"""What zipfile raises for bytes that are no longer an archive; it has no error of its own."""

_MOST_DIGITS = 9
"""Of a number that can be right; more of them are not even converted."""

_TEXT_BYTES = len("<si/>")
_COUNT_OF_TEXTS = re.compile(rb"uniqueCount\s*=\s*[\"']([^\"']*)")
_DOCTYPE = "<!DOCTYPE"
_DOCTYPES = [_DOCTYPE.encode(encoding) for encoding in ("utf-8", "utf-16-le", "utf-16-be")]
_DAMAGED = "sheet.not_complete"
_DAMAGED_XML = "sheet.damaged"
_NOT_SAVED = "sheet.not_saved"


@dataclass(frozen=True, slots=True)
class Workbook:
    """A workbook as it came, the name of the sheet that is read, and those of the others."""

    data: bytes
    form: Form
    table: str
    other_tables: tuple[str, ...]

    @property
    def other_tables_remark(self) -> str:
        """Name the sheets that were not read; empty if there are none."""
        if not self.other_tables:
            return ""
        return lazy("sheet.only_one_read", name=self.table, others=", ".join(self.other_tables))


def read_workbook(data: bytes, table: str | None) -> tuple[Workbook, list[Record]]:
    """Read the rows of one sheet that are not blank: the named one, else the first that is not
    hidden.

    Raises ``MalformedInput`` for a file that cannot be read, ``InvalidInput`` for a sheet that it
    does not have.
    """
    parts = unpack(data)
    form = _form_of(parts)
    scan_table = _SCANNERS[form](parts)
    try:
        with CalamineWorkbook.from_object(io.BytesIO(data)) as opened:
            name = _choose_table(opened, table)
            scan = scan_table(name)
            grid = _grid(opened.get_sheet_by_name(name))
    except CalamineError as error:
        raise MalformedInput(lazy("sheet.unreadable")) from error
    others = tuple(one for one in opened.sheet_names if one != name)
    return Workbook(data, form, name, others), list(_records(grid, scan))


def _form_of(parts: Mapping[str, bytes]) -> Form:
    if "xl/workbook.xml" in parts:
        return "xlsx"
    if b"opendocument.spreadsheet" in parts.get("mimetype", b"") and "content.xml" in parts:
        return "ods"
    raise MalformedInput(lazy("sheet.no_workbook"))


def _choose_table(workbook: CalamineWorkbook, table: str | None) -> str:
    names = workbook.sheet_names
    if table is None:
        visible = [one.name for one in workbook.sheets_metadata if _is_visible(one)]
        if not visible:
            raise MalformedInput(lazy("sheet.all_hidden"))
        return visible[0]
    if table not in names:
        listed = ", ".join(names)
        fault = FieldError("/sheet", table, lazy("sheet.no_such_sheet", names=listed))
        raise InvalidInput(lazy("sheet.no_such_sheet_whole", names=listed), [fault])
    return table


def _is_visible(table: SheetMetadata) -> bool:
    return table.visible == SheetVisibleEnum.Visible and table.typ == SheetTypeEnum.WorkSheet


def _grid(sheet: CalamineSheet) -> Sequence[Sequence[Cell]]:
    return sheet.to_python(skip_empty_area=False)


def _records(grid: Sequence[Sequence[Cell]], scan: TableScan) -> Iterator[Record]:
    """Yield the rows, numbered from 1, with unreadable cells in their places."""
    rows: list[list[Cell]] = [list(row) for row in grid]
    rows += [[] for _ in range(scan.rows - len(rows))]
    for (row, column), unreadable in scan.unreadable.items():
        rows[row] += [""] * (column + 1 - len(rows[row]))
        rows[row][column] = unreadable
    for number, cells in enumerate(rows, start=1):
        if not all(map(is_blank, cells)):
            yield number, cells


def unpack(data: bytes) -> dict[str, bytes]:
    """Return the parts of a workbook by name. Raises ``MalformedInput`` for one that is damaged, or
    would grow out of proportion."""
    try:
        with ZipFile(io.BytesIO(data)) as packed:
            parts = packed.infolist()
            _reject_overlapping(parts, len(data))
            return _all_parts(packed, parts)
    except _SPOILED as error:
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
    if part.compress_type not in _COMPRESSIONS:
        raise MalformedInput(lazy("sheet.unreadable"))
    most = min(left, max(SMALL_BYTES, part.compress_size * MOST_TIMES_PACKED))
    declared, part.file_size = part.file_size, most + 2  # read past the size that it declares
    with packed.open(part) as stream:
        content = stream.read(most + 1)
    part.file_size = declared
    if len(content) > most:
        raise MalformedInput(lazy("sheet.too_large"))
    if len(content) != declared:
        raise MalformedInput(lazy(_DAMAGED))
    if any(doctype in content for doctype in _DOCTYPES):
        raise MalformedInput(lazy("sheet.entities"))
    _reject_false_count(content)
    return content


def _reject_false_count(content: bytes) -> None:
    """Refuse a part that claims more shared texts than it has room for: the library takes memory
    for as many as are claimed, and ends the process when there is not enough. It finds the part by
    its name in any capitals, so every part is looked at."""
    for claimed in _COUNT_OF_TEXTS.findall(content):
        if not _is_number(claimed.decode("latin-1")) or int(claimed) * _TEXT_BYTES > len(content):
            raise MalformedInput(lazy(_DAMAGED_XML))


def _is_number(text: str) -> bool:
    """Tell whether a text is a whole number of no more digits than can be right."""
    return text.isascii() and text.isdecimal() and len(text) <= _MOST_DIGITS


def _reject_overlapping(parts: list[ZipInfo], size: int) -> None:
    """Refuse a part that lies inside another, or is listed twice: it is unpacked more often than it
    is stored."""
    is_repeated = len({part.filename for part in parts}) < len(parts)
    if is_repeated or sum(part.compress_size for part in parts) > size:
        raise MalformedInput(lazy(_DAMAGED))


@dataclass
class TableScan:
    """What the library does not report of a table: cells that cannot be read, and its extent."""

    unreadable: dict[Place, UnreadableCell] = field(default_factory=dict)
    rows: int = 0
    columns: int = 0
    characters: int = 0

    def extend_to(self, row: int, column: int) -> None:
        """Extend the table to a cell. Raises ``MalformedInput`` when it grows too large."""
        self.rows, self.columns = max(self.rows, row + 1), max(self.columns, column + 1)
        if self.rows * self.columns > MOST_CELLS:
            raise MalformedInput(lazy("sheet.too_far"))

    def add_text(self, characters: int) -> None:
        """Add an amount of text. Raises ``MalformedInput`` when it is too much."""
        self.characters += characters
        if self.characters > MOST_CHARACTERS_OF_TABLE:
            raise MalformedInput(lazy("sheet.too_much_text"))


ScanTable: TypeAlias = Callable[[str], TableScan]
"""Scans a table, by its name."""


def xlsx_scanner(parts: Mapping[str, bytes]) -> ScanTable:
    """Return the scanner of an Office Open XML workbook; it scans a table when asked for it."""
    return partial(_scan_xlsx_table, parts)


def ods_scanner(parts: Mapping[str, bytes]) -> ScanTable:
    """Return the scanner of an OpenDocument spreadsheet. It scans all tables at once, as the
    library reads all at once."""
    tables = _elements(parts["content.xml"], f"{_TABLE}table")
    scan = {table.get(f"{_TABLE}name", ""): _scan_ods_table(table) for table in tables}
    return lambda table: scan.get(table) or TableScan()


_SCANNERS = {"xlsx": xlsx_scanner, "ods": ods_scanner}


def _scan_xlsx_table(parts: Mapping[str, bytes], table: str) -> TableScan:
    scan = TableScan()
    texts = _elements(parts.get("xl/sharedStrings.xml", b""), f"{_MAIN}si")
    lengths = [sum(map(len, text.itertext())) for text in texts]
    for row in _elements(_part_of(parts, table), f"{_MAIN}row"):
        for cell in row:
            if len(cell):
                place, kind = _place(cell.get("r", "")), cell.get("t")
                scan.extend_to(*place)
                if kind == _SHARED_TEXT:
                    scan.add_text(_length(lengths, cell.findtext(_VALUE) or ""))
                elif unreadable := _unreadable_in_xlsx(cell, kind):
                    scan.unreadable[place] = unreadable
    return scan


def _unreadable_in_xlsx(cell: Element, kind: str | None) -> UnreadableCell | None:
    if kind == _ERROR:
        return _error(cell.findtext(_VALUE) or "")
    has_formula = cell.find(f"{_MAIN}f") is not None
    if has_formula and kind != _TEXT_OF_FORMULA and not cell.findtext(_VALUE):
        return UnreadableCell("", lazy(_NOT_SAVED))
    return None


def _scan_ods_table(table: Element) -> TableScan:
    scan = TableScan()
    row = 0
    for line in table.iter(f"{_TABLE}table-row"):
        times = _repeats(line, "rows")
        for column, cell in _cells_with_content(line):
            across = _repeats(cell, "columns")
            scan.extend_to(row + times - 1, column + across - 1)
            scan.add_text(sum(map(len, cell.itertext())) * times * across)
            if unreadable := _unreadable_in_ods(cell):
                rows, columns = range(row, row + times), range(column, column + across)
                scan.unreadable |= dict.fromkeys(product(rows, columns), unreadable)
        row += times
    return scan


def _cells_with_content(line: Element) -> Iterator[tuple[int, Element]]:
    """Yield the cells of a row that have content, and where each begins."""
    column = 0
    for cell in line:
        if _has_content(cell):
            yield column, cell
        column += _repeats(cell, "columns")


def _has_content(cell: Element) -> bool:
    return cell.get(f"{_OFFICE}value-type") is not None or cell.get(f"{_TABLE}formula") is not None


def _unreadable_in_ods(cell: Element) -> UnreadableCell | None:
    if cell.get(f"{_CALC}value-type") == "error":
        return _error("".join(cell.itertext()))
    has_formula = cell.get(f"{_TABLE}formula") is not None
    if has_formula and cell.get(f"{_OFFICE}value-type") is None:
        return UnreadableCell("", lazy(_NOT_SAVED))
    return None


def _error(text: str) -> UnreadableCell:
    return UnreadableCell(text, lazy("sheet.error", shown=text or "#ERROR"))


def _repeats(element: Element, what: str) -> int:
    times = element.get(f"{_TABLE}number-{what}-repeated", "1")
    if not _is_number(times):
        raise MalformedInput(lazy(_DAMAGED_XML))
    return int(times)


def _place(reference: str) -> Place:
    found = _REFERENCE.fullmatch(reference)
    if not found:
        raise MalformedInput(lazy("sheet.no_place"))
    return int(found[2]) - 1, _column(found[1])


@cache
def _column(letters: str) -> int:
    before = (_column(letters[:-1]) + 1) * _LETTERS if letters[1:] else 0
    return before + ord(letters[-1]) - _FIRST_LETTER


def _length(lengths: Sequence[int], index: str) -> int:
    """Return the length of a shared text. Raises ``MalformedInput`` for one that is not there: the
    library would read some of these as the first."""
    if not index:
        return 0
    if not _is_number(index) or int(index) >= len(lengths):
        raise MalformedInput(lazy(_DAMAGED_XML))
    return lengths[int(index)]


def _part_of(parts: Mapping[str, bytes], table: str) -> bytes:
    """Return the part that holds a table. Raises ``MalformedInput`` where there is none."""
    relations = parts.get("xl/_rels/workbook.xml.rels", b"")
    targets = {one.get("Id"): one.get("Target", "") for one in _elements(relations, _TARGET_ID)}
    sheets = _elements(parts.get("xl/workbook.xml", b""), f"{_MAIN}sheet")
    paths = [targets.get(one.get(_RELATION), "") for one in sheets if one.get("name") == table]
    full = [path[1:] if path.startswith("/") else f"xl/{path}" for path in paths]
    if len(full) != 1 or full[0] not in parts:
        raise MalformedInput(lazy("sheet.other_form"))
    return parts[full[0]]


def _elements(content: bytes, name: str) -> Iterator[Element]:
    """Yield each element of a name once it is complete, then free its memory."""
    if not content:
        return
    try:
        for _, element in iterparse(io.BytesIO(content)):
            if element.tag == name:
                yield element
                element.clear()
    except (ParseError, LookupError, ValueError) as error:  # the last two for an encoding
        raise MalformedInput(lazy(_DAMAGED_XML)) from error
