"""The bundled squad sheet: its cells and its athletes."""

from __future__ import annotations

import csv
from pathlib import Path
from typing import Any

from openpyxl import load_workbook
from python_calamine import CalamineWorkbook

from dawnrule.model.entities import Athlete
from tests.clients.conftest import CLIENTS
from tests.conftest import LiveServer

FOLDER = CLIENTS / "spreadsheet"
CHECK_INS, TODAYS, READ_ME = "check-ins", "today", "read me first"
ANSWERS = ("verdict", "rule", "reason", "caution", "problem")

LABELS = {
    "rest": "Rest",
    "swap-to-low-damage": "Swap to low-damage work",
    "train-as-planned": "Train as planned",
}
"""How the verdicts stand in a sheet."""


def athletes() -> list[str]:
    """Return the ids of the squad, in the order of its rows."""
    with (FOLDER / "squad.csv").open(encoding="utf-8", newline="") as file:
        return [row["athlete_id"] for row in csv.DictReader(file)]


def put_squad(server: LiveServer) -> None:
    """Make the squad known to the service; all live in Berlin."""
    squad = [Athlete(name, f"Athlete {name}", "Europe/Berlin") for name in athletes()]
    server.store.write(lambda transaction: [transaction.athletes.put(athlete) for athlete in squad])


def table(file: Path, sheet: str = CHECK_INS) -> list[dict[str, Any]]:
    """Read the rows of a sheet of an .xlsx or .ods file, by the names in its first row."""
    header, *rows = CalamineWorkbook.from_path(file).get_sheet_by_name(sheet).to_python()
    named = [dict(zip(map(str, header), row, strict=True)) for row in rows]
    return [row for row in named if any(cell != "" for cell in row.values())]


def cell_of(column: str, athlete: str | None = None) -> str:
    """Name the cell of an athlete in a column of the bundled sheet, or of the column's header."""
    book = load_workbook(FOLDER / "squad.xlsx", read_only=True)
    header = next(book[CHECK_INS].iter_rows(max_row=1))
    letter = next(cell.column_letter for cell in header if cell.value == column)
    book.close()
    return f"{letter}{athletes().index(athlete) + 2 if athlete else 1}"


def row_of_today(athlete: str) -> int:
    """Return the row of an athlete on the sheet with the formulas."""
    sheet = CalamineWorkbook.from_path(FOLDER / "squad.ods").get_sheet_by_name(TODAYS)
    rows = sheet.to_python(skip_empty_area=False)
    return [row[0] for row in rows].index(athlete) + 1
