"""Sheets as coaches write them: each is read right, asked about or refused; no answer is lost."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest
import yaml

from dawnrule.errors import InvalidInput, MalformedInput
from dawnrule.schemas import load_check_in, load_session
from dawnrule.sheet import CHECK_INS, SESSIONS, People, ReadOptions, Sheet, location_of, read_sheet
from dawnrule.sheet.errors import CellFault, cell_name
from tests.sheet.made_sheets import MadeSheet, made_sheets, said_of

FOLDER = Path(__file__).parent / "coaches"
_SUBJECT = ("athlete_id", "date", "rr_intervals_ms")
TODAY = date(2026, 11, 28)
BERLIN = ZoneInfo("Europe/Berlin")
NAMES = {
    "a-01": "Mara Lind",
    "a-02": "Ben Olsen",
    "a-03": "Ben Keller",
    "a-04": "Jonas Ruf",
    "a-05": "Tara Quist",
    "a-06": "Lena Voss",
    "a-07": "Sam Okoro",
    "a-08": "Pia Holm",
    "a-09": "Kofi Brandt",
    "a-10": "Ida Moen",
}
SQUAD = People.of(NAMES.items())
MADE = made_sheets(NAMES)
LEGS = ("glutes", "quadriceps", "hamstrings", "adductors", "calves")
BACK = ("upper-back", "lats", "lower-back")
ARMS = ("biceps", "triceps", "forearms")
UPPER = ("chest", "shoulders", "upper-back", "lats", *ARMS)
REGIONS = {
    "legs": LEGS,
    "lower-body": LEGS,
    "back": BACK,
    "arms": ARMS,
    "upper-body": UPPER,
    "posterior-chain": ("hamstrings", "glutes", "lower-back"),
    "all": (*UPPER, "lower-back", "abdominals", *LEGS),
}


@dataclass(frozen=True)
class CoachSheet:
    """One sheet with what it must give; the keys are explained in the README of the folder."""

    sheet: str
    text: str
    kind: str = "check-ins"
    rows_that_count: Sequence[int] = ()
    unread_rows: Sequence[int] = ()
    says: Mapping[int, Mapping[str, Any]] = field(default_factory=dict)
    told: Mapping[int, Sequence[str]] = field(default_factory=dict)
    asked: Sequence[str] = ()
    unread: Sequence[str] = ()
    means: Mapping[str, str] = field(default_factory=dict)

    def __str__(self) -> str:
        return self.sheet

    @property
    def cells(self) -> list[list[str]]:
        separator = max(",;", key=self.text.count)
        return list(csv.reader(io.StringIO(self.text, newline=""), delimiter=separator))

    @property
    def head(self) -> list[str]:
        """Return the header above the first row that counts."""
        first = min([*self.rows_that_count, *self.says, *self.told, 2])
        return [name.strip() for name in self.cells[max(first - 2, 0)]]

    def read(self, cells: list[list[str]]) -> Sheet:
        written = io.StringIO()
        csv.writer(written, lineterminator="\n").writerows(cells)
        options = ReadOptions(
            zone_of=lambda _: BERLIN,
            people=SQUAD,
            today=TODAY,
            chosen=lambda _layout, _headers: self.means,
        )
        layout = SESSIONS if self.kind == "sessions" else CHECK_INS
        return read_sheet(written.getvalue().encode(), layout, options)

    def heard(self, cells: list[list[str]]) -> Heard:
        """Read the sheet, and collect all that is read, asked and told."""
        try:
            sheet = self.read(cells)
        except MalformedInput as error:
            return Heard(asked=tuple(str(fault.value) for fault in error.errors), why=error.detail)
        says: dict[int, Any] = {}
        faults: dict[str, str] = {}
        for row in sheet.rows:
            try:
                row.load(load_session if self.kind == "sessions" else load_check_in)
            except InvalidInput as error:
                faults |= {
                    fault.cell: location_of(fault)
                    for fault in error.errors
                    if isinstance(fault, CellFault)
                }
            dangers = row.dangers() if row.number in self.told and faults else {}
            subject = {name: row.form[name] for name in row.form if name in ("athlete_id", "date")}
            says[row.number] = subject | dangers if dangers else {**row.changes(), **row.adds()}
        return Heard(says, faults, sheet.remarks(), sheet.unknown_headers)


@dataclass(frozen=True)
class Heard:
    """What came of a sheet."""

    says: Mapping[int, Any] = field(default_factory=dict)
    faults: Mapping[str, str] = field(default_factory=dict)
    remarks: Sequence[str] = ()
    unread: Sequence[str] = ()
    asked: Sequence[str] = ()
    why: str = ""


def sheets() -> list[CoachSheet]:
    return [
        CoachSheet(**entry)
        for file in sorted(FOLDER.glob("*.yaml"))
        if file.name != "made.yaml"
        for entry in yaml.safe_load(file.read_text(encoding="utf-8"))
    ]


def spread(soreness: Mapping[str, float]) -> dict[str, float]:
    found: dict[str, float] = {}
    for name, rating in soreness.items():
        for group in REGIONS.get(name, (name,)):
            found[group] = max(rating, found.get(group, 0))
    return found


def expected(row: Mapping[str, Any]) -> dict[str, Any]:
    """Write what a row must say in full."""
    told = {name: value for name, value in row.items() if name not in ("athlete", "date")}
    if "soreness" in told:
        told["soreness"] = spread(told["soreness"])
    for blocks in (told.get("plan"), told.get("blocks")):
        for block in blocks or ():
            named = block.get("muscle_groups")
            block["muscle_groups"] = [*REGIONS[named]] if isinstance(named, str) else named
    return told


def in_short(said: Mapping[str, Any]) -> dict[str, Any]:
    """Write what a row says as the descriptions do."""
    left = {name: value for name, value in said.items() if name not in _SUBJECT}
    if "pain" in left:
        left["pain"] = [pain["where"] for pain in left["pain"]]
    for block in (*left.get("plan", ()), *left.get("blocks", ())):
        block.setdefault("muscle_groups", None)
    left.pop("starts_at", None)
    return left


@pytest.mark.parametrize("sheet", sheets(), ids=str)
def test_a_coachs_sheet_is_read_right_asked_about_or_refused(sheet: CoachSheet) -> None:
    heard = sheet.heard(sheet.cells)
    assert list(heard.asked) == list(sheet.asked), heard.why
    assert [name for name in sheet.unread if name not in heard.unread] == [] or heard.asked
    for number, row in sheet.says.items():
        said = heard.says[number]
        wanted = expected(row)
        for block in (*wanted.get("plan", ()), *wanted.get("blocks", ())):
            block.setdefault("muscle_groups", None)
        assert in_short(said) == wanted, number
        assert said["athlete_id"] == row.get("athlete", said["athlete_id"])
        if "date" in row:
            assert str(said.get("date")) == str(row["date"])
    for number, names in sheet.told.items():
        for name in names:
            cell = cell_name(number, sheet.head.index(name))
            named = cell in heard.faults or any(cell in remark for remark in heard.remarks)
            assert named or name in heard.unread, (cell, heard.faults, heard.remarks)
    told = {
        cell_name(row, sheet.head.index(name)) for row in sheet.told for name in sheet.told[row]
    }
    assert heard.faults.keys() <= told


@pytest.mark.parametrize("made", MADE, ids=str)
def test_a_table_is_read_the_same_in_every_hand(made: MadeSheet) -> None:
    assert list(lost_of(made)) == []


def lost_of(made: MadeSheet) -> Iterator[tuple[str, Any, Any]]:
    """Yield each answer of a table that is read otherwise than it was written."""
    options = ReadOptions(zone_of=lambda _: BERLIN, people=SQUAD, today=TODAY)
    sheet = read_sheet(made.content(), CHECK_INS, options)
    for row, wanted in zip(sheet.rows, made.expected(), strict=True):
        row.load(load_check_in)
        body = {**row.changes(), **row.adds()}
        for column, value in wanted.items():
            said = said_of(body, column, value, REGIONS)
            if said != value:
                yield column, value, said


def answers(sheet: CoachSheet) -> Iterator[tuple[int, int]]:
    """Yield the row and the place of each answer: cells that are not blank, beside the athlete, the
    date and the coach's own columns."""
    head = [name.casefold() for name in sheet.head]
    own = {name.casefold() for name in sheet.unread} | {
        name.casefold() for name, meaning in sheet.means.items() if meaning == "ignore"
    }
    subject = {"name", "athlete", "player", "runner", "rower", "first name", "vorname", "spieler"}
    cells = sheet.cells
    rows = sheet.rows_that_count or range(2, len(cells) + 1)
    for number in rows:
        if number in sheet.unread_rows:
            continue
        for place, cell in enumerate(cells[number - 1]):
            name = head[place]
            if cell.strip() and name not in subject | {"date", "datum"} | own:
                yield number, place


def test_no_answer_is_lost() -> None:
    """With any one answer blank, something else is read, asked or told: as many are kept as went
    in."""
    went_in, kept, lost = 0, 0, []
    for sheet in sheets():
        whole = sheet.heard(sheet.cells)
        for number, place in answers(sheet):
            cells = sheet.cells
            asked = sheet.head[place] in whole.asked
            cells[number - 1][place] = ""
            went_in += 1
            if asked or whole.asked or sheet.heard(cells) != whole:
                kept += 1
            else:
                lost.append((sheet.sheet, cell_name(number, place)))
    for made in MADE:
        count = sum(value is not None for row in made.expected() for value in row.values())
        went_in += count
        kept += count - len([*lost_of(made)])
    print(f"{went_in} answers went in, {kept} are kept")
    assert lost == []
    assert went_in == kept > 1500
    assert len(sheets()) + len(MADE) >= 150
