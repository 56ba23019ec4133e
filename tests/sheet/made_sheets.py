"""Tables of ``coaches/made.yaml`` as several hands write them, in files."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, time
from pathlib import Path
from typing import Any
from xml.sax.saxutils import escape
from zipfile import ZipFile

import yaml
from openpyxl import Workbook

FILE = Path(__file__).parent / "coaches" / "made.yaml"
NUMBERS = {"fatigue": "fatigue", "hrv": "hrv_rmssd_ms", "rhr": "resting_hr_bpm"}
PLAN = {"goal": "goal", "muscles": "muscle_groups", "modality": "modality", "minutes": "minutes"}
_ODS = "urn:oasis:names:tc:opendocument:xmlns:"


@dataclass(frozen=True)
class Hand:
    """How somebody writes a table; the keys are those of the file."""

    name: str
    headers: Mapping[str, str]
    who: str = "id"
    date: str = "%Y-%m-%d"
    sleep: str = ""
    decimal: str = "."
    separator: str = ","
    words: Mapping[str, str] = field(default_factory=dict)
    form: str = "csv"
    above: Sequence[Sequence[str]] = ()
    below: Sequence[Sequence[str]] = ()
    blank_between: bool = False
    date_once: bool = False
    header_again: bool = False


@dataclass(frozen=True)
class MadeSheet:
    """A table in a hand."""

    table: Mapping[str, Any]
    hand: Hand
    names: Mapping[str, str]

    def __str__(self) -> str:
        return f"{self.table['name']}, {self.hand.name}"

    @property
    def columns(self) -> list[str]:
        """Return the columns; where a date stands once, it comes first."""
        columns = list(self.table["columns"])
        return ["date", "athlete", *columns[2:]] if self.hand.date_once else columns

    def expected(self) -> list[dict[str, Any]]:
        """Return what each row says, by the names of the table."""
        return [dict(zip(self.table["columns"], row, strict=True)) for row in self.table["rows"]]

    def content(self) -> bytes:
        """Write the file."""
        rows = [*self._rows()]
        if self.hand.form == "xlsx":
            return xlsx_of(rows)
        if self.hand.form == "ods":
            return ods_of(rows)
        text = io.StringIO(newline="")
        writer = csv.writer(text, delimiter=self.hand.separator)
        writer.writerows([["" if cell is None else cell for cell in row] for row in rows])
        return text.getvalue().encode()

    def _rows(self) -> Iterator[Sequence[Any]]:
        header = [self.hand.headers[name] for name in self.columns]
        yield from self.hand.above
        yield header
        before: Any = None
        for number, row in enumerate(self.expected()):
            if number and self.hand.blank_between:
                yield [""] * len(header)
            if number and self.hand.header_again:
                yield header
            cells = [self._cell(name, row[name]) for name in self.columns]
            if self.hand.date_once and cells[0] == before:
                cells[0] = ""
            before = before if cells[0] == "" else cells[0]
            yield cells
        yield from self.hand.below

    def _cell(self, name: str, value: Any) -> Any:
        hand = self.hand
        match name, value:
            case "athlete", _:
                full = self.names[value]
                return {"id": value, "name": full, "first": full.split()[0]}[hand.who]
            case "date", date():
                return value if hand.form == "xlsx" else value.strftime(hand.date)
            case "sleep", _ if hand.sleep:
                return self._length(float(value))
            case _, list():
                return ", ".join(hand.words.get(word, word) for word in value)
            case _, str():
                return hand.words.get(value, value)
            case _, float() if hand.form == "csv":
                return str(value).replace(".", hand.decimal)
            case _:
                return value

    def _length(self, hours: float) -> Any:
        whole, minutes = int(hours), round(hours % 1 * 60)
        if self.hand.sleep == "time":
            return time(whole, minutes)
        return f"{whole}{':' if ':' in self.hand.sleep else 'h'}{minutes:02}"


def made_sheets(names: Mapping[str, str]) -> list[MadeSheet]:
    """Return every table in every hand."""
    data = yaml.safe_load(FILE.read_text(encoding="utf-8"))
    hands = [Hand(**hand) for hand in data["hands"]]
    return [MadeSheet(table, hand, names) for table in data["tables"] for hand in hands]


def said_of(body: Mapping[str, Any], column: str, wanted: Any, spread: Mapping[str, Any]) -> Any:
    """Return what a check-in says in the place of a column of the table."""
    match column:
        case "athlete":
            return body["athlete_id"]
        case "date":
            return date.fromisoformat(body["date"])
        case "sleep":
            return body["sleep"]["hours"]
        case "illness":
            return body["illness"]
        case "warning_signs":
            return next(iter(body["warning_signs"]), "none")
        case name if name in NUMBERS:
            return body[NUMBERS[name]]
        case name if name in PLAN:
            return body["plan"][0].get(PLAN[name])
        case name:
            ratings = {body["soreness"].get(group) for group in spread.get(name, (name,))}
            return ratings.pop() if len(ratings) == 1 else ratings


def xlsx_of(rows: Sequence[Sequence[Any]]) -> bytes:
    book, written = Workbook(), io.BytesIO()
    assert book.active is not None
    for row in rows:
        book.active.append([None if cell == "" else cell for cell in row])
    book.save(written)
    return written.getvalue()


def ods_of(rows: Sequence[Sequence[Any]]) -> bytes:
    lines = "".join(
        f"<table:table-row>{''.join(map(_ods_cell, row))}</table:table-row>" for row in rows
    )
    content = (
        f'<office:document-content xmlns:office="{_ODS}office:1.0" xmlns:table="{_ODS}table:1.0" '
        f'xmlns:text="{_ODS}text:1.0"><office:body><office:spreadsheet>'
        f'<table:table table:name="Tabelle1">{lines}</table:table>'
        "</office:spreadsheet></office:body></office:document-content>"
    )
    written = io.BytesIO()
    with ZipFile(written, "w") as packed:
        packed.writestr("mimetype", "application/vnd.oasis.opendocument.spreadsheet")
        packed.writestr("content.xml", content)
        packed.writestr(
            "META-INF/manifest.xml",
            f'<manifest:manifest xmlns:manifest="{_ODS}manifest:1.0"><manifest:file-entry '
            'manifest:full-path="/" '
            'manifest:media-type="application/vnd.oasis.opendocument.spreadsheet"/>'
            "</manifest:manifest>",
        )
    return written.getvalue()


def _ods_cell(cell: Any) -> str:
    if cell in ("", None):
        return "<table:table-cell/>"
    if isinstance(cell, int | float):
        kind = f'office:value-type="float" office:value="{cell}"'
    else:
        kind = 'office:value-type="string"'
    return f"<table:table-cell {kind}><text:p>{escape(str(cell))}</text:p></table:table-cell>"
