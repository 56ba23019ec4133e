"""Awkward sheets, read correctly or rejected by cell. They are in ``tests/sheets``, beside a table
of what each must give."""

from __future__ import annotations

import csv
import io
import re
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from openpyxl import load_workbook

from dawnrule.errors import InvalidInput
from dawnrule.i18n.resources import read_data
from dawnrule.schemas import load_check_in, load_session
from dawnrule.sheet import (
    CHECK_INS,
    SESSIONS,
    AnswerBook,
    DateOrder,
    ReadOptions,
    RowAnswer,
    Sheet,
    location_of,
    read_sheet,
    write_sheet,
)
from dawnrule.sheet.errors import CellFault
from tests.cli.terminal import typed
from tests.conftest import SQUAD, Client

FOLDER = Path(__file__).parents[1] / "sheets"
ZONES = {athlete.id: ZoneInfo(athlete.time_zone) for athlete in SQUAD}
MEDIA_TYPES = {
    ".csv": "text/csv",
    ".txt": "text/csv",
    ".xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
    ".ods": "application/vnd.oasis.opendocument.spreadsheet",
}


@dataclass(frozen=True)
class Awkward:
    """One entry of the table; its keys are explained there."""

    file: str
    about: str
    declared: dict[str, str] = field(default_factory=dict)
    layout: str = "check-ins"
    says: dict[int, dict[str, Any]] = field(default_factory=dict)
    refused: dict[str, str] = field(default_factory=dict)
    file_refused: str = ""
    remarks: list[str] = field(default_factory=list)
    unread: list[str] | None = None
    verdicts: dict[int, str] = field(default_factory=dict)

    def __str__(self) -> str:
        return f"{self.file}, {self.about}"

    @property
    def path(self) -> Path:
        return FOLDER / self.file

    def read(self) -> Sheet:
        order = self.declared.get("date_order")
        declared = ReadOptions(
            DateOrder(order) if order else None, self.declared.get("sheet"), ZONES.get
        )
        layout = SESSIONS if self.layout == "sessions" else CHECK_INS
        return read_sheet(self.path.read_bytes(), layout, declared)


TABLE = [Awkward(**entry) for entry in read_data(FOLDER / "expected.yaml")["sheets"]]
READ = [entry for entry in TABLE if not entry.file_refused]
ADVISED = [entry for entry in TABLE if entry.verdicts]
AS_XLSX = [entry for entry in ADVISED if entry.path.suffix == ".xlsx"]


def outcome_of(entry: Awkward) -> tuple[dict[int, Any], dict[str, str]]:
    """Return what the rows say by number, and the faults of cells by name."""
    load = load_session if entry.layout == "sessions" else load_check_in
    says: dict[int, Any] = {}
    refused: dict[str, str] = {}
    for row in entry.read().rows:
        try:
            row.load(load)
            says[row.number] = row.to_json()
        except InvalidInput as error:
            for fault in error.errors:
                assert isinstance(fault, CellFault)
                refused[fault.cell] = f"{location_of(fault)} {fault.detail}"
    return says, refused


@pytest.mark.parametrize("entry", READ, ids=str)
def test_an_awkward_sheet_is_read_right_or_refused_by_cell(entry: Awkward) -> None:
    says, refused = outcome_of(entry)
    assert says == entry.says
    assert refused.keys() == entry.refused.keys()
    assert all(words in refused[cell] for cell, words in entry.refused.items()), refused


@pytest.mark.parametrize("entry", READ, ids=str)
def test_whoever_sent_an_awkward_sheet_hears_how_it_was_read(entry: Awkward) -> None:
    sheet = entry.read()
    said = "\n".join(sheet.remarks())
    assert [words for words in entry.remarks if words not in said] == [], said
    assert entry.unread is None or list(sheet.unknown_headers) == entry.unread


@pytest.mark.parametrize("entry", [entry for entry in TABLE if entry.file_refused], ids=str)
def test_what_is_no_sheet_is_refused_in_words(entry: Awkward) -> None:
    with pytest.raises(InvalidInput) as refused:
        entry.read()
    assert entry.file_refused in str(refused.value)


def test_every_file_stands_in_the_table_and_forty_are_enough() -> None:
    files = {path.name for path in FOLDER.iterdir() if path.suffix in {*MEDIA_TYPES, ".xls"}}
    assert files == {entry.file for entry in TABLE}
    assert len(files) >= 40


def beside_rows(answer: str, delimiter: str) -> list[str]:
    """Return the verdicts of an answered sheet, row by row."""
    rows = csv.DictReader(io.StringIO(answer.lstrip("\ufeff"), newline=""), delimiter=delimiter)
    return [row["verdict"] for row in rows]


@pytest.mark.parametrize("entry", ADVISED, ids=str)
def test_the_command_line_gives_each_row_its_verdict(
    entry: Awkward, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("dawnrule.cli.advise.now", lambda: datetime(2026, 3, 9, 9, tzinfo=UTC))
    options = [f"--{name.replace('_', '-')}={value}" for name, value in entry.declared.items()]
    result = typed("advise", entry.path, "--format=csv", *options)
    assert beside_rows(result.stdout, entry.read().delimiter) == [*entry.verdicts.values()]
    assert result.exit_code == int("" in entry.verdicts.values() or bool(entry.refused))
    assert [words for words in entry.remarks if words not in result.stderr] == []
    told = set(re.findall("[A-Z]+[0-9]+", result.stderr))
    assert [cell for cell in entry.refused if cell not in told] == []


@pytest.mark.parametrize("entry", ADVISED, ids=str)
def test_the_interface_gives_each_row_its_verdict(poster: Client, entry: Awkward) -> None:
    answer = poster.post(
        "/v1/check-ins/batch",
        data=entry.path.read_bytes(),
        query_string={**entry.declared, "format": "csv"},
        content_type=MEDIA_TYPES[entry.path.suffix],
    )
    assert answer.status_code in (200, 207), answer.text
    assert beside_rows(answer.text, entry.read().delimiter) == [*entry.verdicts.values()]
    again = poster.post(
        "/v1/check-ins/batch",
        data=entry.path.read_bytes(),
        query_string=entry.declared,
        content_type=MEDIA_TYPES[entry.path.suffix],
    )
    assert again.json["sheet"]["remarks"] == entry.read().remarks()


@pytest.mark.parametrize("entry", AS_XLSX, ids=str)
def test_a_workbook_comes_back_with_the_verdicts_and_is_else_as_it_was(
    poster: Client, entry: Awkward
) -> None:
    given = entry.path.read_bytes()
    answer = poster.post(
        "/v1/check-ins/batch",
        data=given,
        query_string={**entry.declared, "format": "xlsx"},
        content_type=MEDIA_TYPES[".xlsx"],
    )
    assert answer.mimetype == MEDIA_TYPES[".xlsx"]
    before, after = load_workbook(io.BytesIO(given)), load_workbook(io.BytesIO(answer.data))
    assert after.sheetnames == before.sheetnames
    for table in before:
        kept = after[table.title]
        for cell in (cell for row in table.iter_rows() for cell in row):
            again = kept[cell.coordinate]
            assert (again.value, again.data_type) == (cell.value, cell.data_type)
            assert again.number_format == cell.number_format
        assert kept.merged_cells.ranges == table.merged_cells.ranges
    squad = after["Squad"]
    header = squad[entry.read().head.number]
    [place] = [cell.column for cell in header if cell.value == "verdict"]
    assert {row: squad.cell(row, place).value or "" for row in entry.verdicts} == entry.verdicts


def test_a_formula_stays_a_text_in_the_sheet_that_comes_back() -> None:
    [entry] = [entry for entry in TABLE if entry.file == "formulas_injected.csv"]
    sheet = entry.read()
    text = write_sheet(sheet, [RowAnswer(reason="=2+2") for _ in sheet.rows])
    header, *rows = csv.reader(io.StringIO(text, newline=""))
    assert header[5] == "'=cmd"
    assert [row[4:6] for row in rows] == [
        ["'=1+1", "'@SUM(A1)"],
        ["'\uff1d1+1", "'-2+3"],
        ["'\t=1", "-5"],
    ]
    assert {row[8] for row in rows} == {"'=2+2"}


def test_an_answer_that_looks_like_a_formula_is_text_in_the_workbook() -> None:
    [entry] = [entry for entry in TABLE if entry.file == "text_like_a_formula.xlsx"]
    sheet = entry.read()
    written = AnswerBook.open(sheet).with_answers([RowAnswer(reason="=2+2") for _ in sheet.rows])
    table = load_workbook(io.BytesIO(written))["Squad"]
    assert {(cell.value, cell.data_type) for cell in table["E"][1:]} == {("=1+1", "s")}
    assert {(cell.value, cell.data_type) for cell in table["H"][1:]} == {("=2+2", "s")}
