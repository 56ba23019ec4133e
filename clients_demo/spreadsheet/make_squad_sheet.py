"""The squad sheet with its drop-downs, for Calc, Excel and similar programs.

The words and ranges are read from the data files in ``rules/``, the example rows from
``squad.csv``. It needs openpyxl and PyYAML, and LibreOffice for the .ods file.
"""

from __future__ import annotations

import argparse
import csv
import subprocess
import tempfile
from collections.abc import Iterator, Mapping
from datetime import date, datetime
from pathlib import Path
from typing import Any

import yaml
from openpyxl import Workbook
from openpyxl.styles import Alignment, Font
from openpyxl.utils import get_column_letter
from openpyxl.workbook.defined_name import DefinedName
from openpyxl.worksheet.datavalidation import DataValidation
from openpyxl.worksheet.properties import PageSetupProperties
from openpyxl.worksheet.worksheet import Worksheet

HERE = Path(__file__).resolve().parent
RULES = HERE.parents[1] / "rules"
SQUAD = HERE / "squad.csv"

SORE = (
    *("chest", "shoulders", "upper_back", "lower_back"),
    *("glutes", "quadriceps", "hamstrings", "calves"),
)
ANSWERS = ("verdict", "rule", "reason", "caution", "problem")
COLUMNS = (
    *("athlete_id", "date", "sleep_hours", "sleep_quality", "fatigue", "stress"),
    *("resting_hr_bpm", "hrv_rmssd_ms", "illness", "warning_signs"),
    *("pain_where", "pain_kind", "pain_muscle_groups"),
    *(f"soreness_{group}" for group in SORE),
    *("last_chest_at", "last_chest_goal", "last_quadriceps_at", "last_quadriceps_goal"),
    *("plan_goal", "plan_muscle_groups", "plan_pattern", "plan_modality"),
    *("plan_starts_at", "plan_minutes", "notes"),
    *ANSWERS,
)
FACT_OF = {"plan_minutes": "planned_minutes"} | {f"soreness_{group}": "soreness" for group in SORE}
LIST_OF = {
    "illness": "illnesses",
    "warning_signs": "warning_signs",
    "pain_kind": "pain_kinds",
    "pain_muscle_groups": "muscle_groups",
    "last_chest_goal": "goals",
    "last_quadriceps_goal": "goals",
    "plan_goal": "goals",
    "plan_muscle_groups": "muscle_groups",
    "plan_pattern": "patterns",
    "plan_modality": "modalities",
}
SEVERAL = ("warning_signs", "pain_muscle_groups", "plan_muscle_groups")
NONE = "none"
WITH_NONE = ("warning_signs", "pain_kinds")
"""Lists to which the word for 'asked, and there is none' is added; an empty cell was not asked."""

CHECK_INS, TODAY, LISTS, READ_ME = "check-ins", "today", "lists", "read me first"
MESSAGE = "dawnrule_message"
"""The named cell in which the macro says what became of the sheet."""

LAST_ROW = 201  # the drop-downs and checks reach down to here
FIRST_ADDRESS_ROW = 5
DATE_FORMAT, TIME_FORMAT = "yyyy-mm-dd", "yyyy-mm-dd hh:mm"
WIDTHS = {"reason": 60, "caution": 60, "problem": 50, "notes": 32, "verdict": 22, "rule": 26}
BOLD = Font(name="Calibri", size=11, bold=True)  # all else is what openpyxl writes of itself
DATE_WIDTH, TIME_WIDTH, WORD_WIDTH, TEXT_WIDTH = 12, 17, 22, 105
MADE_ON = datetime(2026, 3, 9)  # so that the same sheet is the same file tomorrow
PATIENCE_SECONDS = 120

INSTRUCTIONS = (
    "A row for each athlete and morning, on the sheet “check-ins”. The rows there are an invented "
    "squad: write over them.",
    "An athlete must be known to the service before the first row is sent. A name that it does not "
    "know is refused.",
    "Leave a cell empty if nobody asked. “none” says that you asked and there is none. An empty "
    "cell is never read as 0.",
    "Soreness: 0 none, 10 the worst imaginable, for each muscle group.",
    "Times are those of the athlete's own clock.",
    "If a cell takes several words, write them with a space between: quadriceps calves.",
    "An empty plan is a day off. Name muscle groups or a pattern, not both.",
    "You may move, leave out or add columns. The first row must keep the columns' names.",
    "To get the verdicts: run the macro “ask_dawnrule” in Calc, or send the saved file with "
    "post_sheet.py. README.md beside this sheet says how.",
    "Only the columns verdict, rule, reason, caution and problem are written. A row that cannot be "
    "read gets no verdict; “problem” names the cell.",
    "",
    "Pain, illness and a warning sign come before every plan. Chest pain, fainting, trouble "
    "breathing at rest, dark urine, a head injury or sudden weakness: get medical care now, do not "
    "wait for a sheet.",
    "Dawnrule does not diagnose. “Train as planned” only says that nothing that was reported "
    "speaks against the plan. The coach and the athlete decide.",
    "This sheet holds health data. Share it with nobody who need not see it, and never write your "
    "key or a password into it.",
)
ABOUT_TODAY = (
    "Today's advice by a formula: paste an athlete's private address (it ends in today.txt) beside "
    "the name, and the formula fetches one line.",
    "It only reads. Who has the address can read the advice: ask for a new one if it gets about.",
)


def main() -> None:
    """Write squad.xlsx, and squad.ods from it."""
    parser = argparse.ArgumentParser(description="Make squad.xlsx and squad.ods anew.")
    parser.add_argument("--to", type=Path, default=HERE, help="the folder (the script's own)")
    arguments = parser.parse_args()
    print(*make(arguments.to), sep="\n")


def make(folder: Path) -> tuple[Path, Path]:
    """Write both files to a folder. Raises ``subprocess.SubprocessError`` if soffice fails."""
    sheet = folder / "squad.xlsx"
    workbook().save(sheet)
    with tempfile.TemporaryDirectory() as profile:
        command = ["soffice", f"-env:UserInstallation={Path(profile).as_uri()}", "--headless"]
        command += ["--convert-to", "ods", "--outdir", str(folder), str(sheet)]
        subprocess.run(command, check=True, capture_output=True, timeout=PATIENCE_SECONDS)
    return sheet, sheet.with_suffix(".ods")


def workbook() -> Workbook:
    """Build the squad sheet."""
    book = Workbook()
    book.properties.created = book.properties.modified = MADE_ON
    book.properties.creator = book.properties.title = "Dawnrule squad sheet"
    book.remove(book.worksheets[0])
    rows = list(squad_rows())
    write_check_ins(book.create_sheet(CHECK_INS), rows)  # the first: it is the one that is read
    write_instructions(book.create_sheet(READ_ME))
    write_today(book.create_sheet(TODAY), [row["athlete_id"] for row in rows])
    places = write_lists(book.create_sheet(LISTS))
    add_validations(book[CHECK_INS], places)
    book.defined_names[MESSAGE] = DefinedName(MESSAGE, attr_text=f"'{READ_ME}'!$A$3")
    for sheet in book.worksheets:
        sheet.page_setup.orientation = "landscape"
    return book


def squad_rows() -> Iterator[dict[str, str]]:
    """Read the rows of squad.csv, by column name."""
    with SQUAD.open(encoding="utf-8", newline="") as file:
        yield from csv.DictReader(file)


def words_of(name: str, vocabulary: Mapping[str, Any]) -> list[str]:
    """Return the words of a vocabulary list, as they are written in a cell."""
    words = [word["id"] if isinstance(word, dict) else word for word in vocabulary[name]]
    return [NONE, *words] if name in WITH_NONE else words


def write_instructions(sheet: Worksheet) -> None:
    """Write what a coach should know first, with the cell for the macro's message at the top."""
    lines = ("The squad sheet", "What Dawnrule said last:", "nothing yet", "", *INSTRUCTIONS)
    write_lines(sheet, lines)
    fit_to_page(sheet)
    for cell in sheet["A"]:
        cell.alignment = Alignment(wrap_text=True, vertical="top")
    sheet.column_dimensions["A"].width = TEXT_WIDTH


def fit_to_page(sheet: Worksheet) -> None:
    """Fit the sheet to one printed page."""
    sheet.sheet_properties.pageSetUpPr = PageSetupProperties(fitToPage=True)


def write_lines(sheet: Worksheet, lines: tuple[str, ...]) -> None:
    """Paragraphs down the first column, the first of them as a heading."""
    for number, line in enumerate(lines, start=1):
        sheet.cell(number, 1, line)
    sheet["A1"].font = BOLD


def write_check_ins(sheet: Worksheet, rows: list[dict[str, str]]) -> None:
    """Write the column names, and the example rows below them."""
    for place, name in enumerate(COLUMNS, start=1):
        cell = sheet.cell(1, place, name)
        cell.font = BOLD
        sheet.column_dimensions[cell.column_letter].width = width_of(name)
        for number, row in enumerate(rows, start=2):
            filled = sheet.cell(number, place, value_of(name, row.get(name, "")))
            filled.alignment = Alignment(vertical="top", wrap_text=name in WIDTHS)
        format_times(sheet, name, cell.column_letter)
    sheet.freeze_panes = "C2"
    sheet.print_title_rows, sheet.print_title_cols = "1:1", "A:B"


def width_of(name: str) -> int:
    """Return the width of a column, in characters."""
    least = TIME_WIDTH if name.endswith("_at") else WORD_WIDTH if name in LIST_OF else DATE_WIDTH
    return WIDTHS.get(name, max(least, len(name) + 2))


def value_of(name: str, text: str) -> Any:
    """Return the value of a cell: a date, a time, a number or a text; nothing if it is empty."""
    if not text:
        return None
    if name == "date":
        return date.fromisoformat(text)
    if name.endswith("_at"):
        return datetime.fromisoformat(text).replace(tzinfo=None)
    is_number = text.replace(".", "", 1).isdecimal()
    return (float(text) if "." in text else int(text)) if is_number else text


def format_times(sheet: Worksheet, name: str, letter: str) -> None:
    """Dates and times look alike in every country: the year first."""
    wanted = DATE_FORMAT if name == "date" else TIME_FORMAT if name.endswith("_at") else None
    for number in range(2, LAST_ROW + 1) if wanted else ():
        sheet[f"{letter}{number}"].number_format = wanted


def write_today(sheet: Worksheet, athletes: list[str]) -> None:
    """Write a line for each athlete: a cell for the private address, and the formula."""
    write_lines(sheet, ABOUT_TODAY)
    fit_to_page(sheet)
    for place, (name, width) in enumerate(
        (("athlete_id", 14), ("private address", 80), ("today's advice", 90)), start=1
    ):
        sheet.cell(FIRST_ADDRESS_ROW - 1, place, name).font = BOLD
        sheet.column_dimensions[get_column_letter(place)].width = width
    for number, athlete in enumerate(athletes, start=FIRST_ADDRESS_ROW):
        sheet.cell(number, 1, athlete)
        formula = f'=IF(B{number}="","no address yet",_xlfn.WEBSERVICE(B{number}))'
        sheet.cell(number, 3, formula).alignment = Alignment(wrap_text=True, vertical="top")


def write_lists(sheet: Worksheet) -> dict[str, str]:
    """Write a column for each list, on a hidden sheet; return the place of each, as a formula names
    it."""
    sheet.sheet_state = "hidden"
    vocabulary = yaml.safe_load((RULES / "vocabulary.yaml").read_text(encoding="utf-8"))
    places = {}
    for column, name in enumerate(dict.fromkeys(LIST_OF.values()), start=1):
        words, letter = words_of(name, vocabulary), get_column_letter(column)
        for number, word in enumerate((name, *words), start=1):
            sheet.cell(number, column, word)
        places[name] = f"{LISTS}!${letter}$2:${letter}${len(words) + 1}"
    return places


def add_validations(sheet: Worksheet, places: Mapping[str, str]) -> None:
    """Restrict what each column accepts, with messages."""
    facts = {fact["name"]: fact for fact in facts_of_the_rules()}
    for place, name in enumerate(COLUMNS, start=1):
        fact = facts.get(FACT_OF.get(name, name))
        if name in LIST_OF:
            rule = drop_down(name, places[LIST_OF[name]])
        elif name == "date" or name.endswith("_at"):
            rule = time_rule(name)
        elif fact and "range" in fact:
            rule = number_rule(fact)
        else:
            continue
        letter = get_column_letter(place)
        rule.add(f"{letter}2:{letter}{LAST_ROW}")
        sheet.add_data_validation(rule)


def facts_of_the_rules() -> list[dict[str, Any]]:
    """Load each fact with its type, its range and its meaning."""
    file = yaml.safe_load((RULES / "facts.yaml").read_text(encoding="utf-8"))
    facts: list[dict[str, Any]] = file["facts"]
    return facts


def drop_down(name: str, place: str) -> DataValidation:
    """Offer the words of a list; where several may stand, accept other text after a
    confirmation."""
    several = " Several: write them with a space between." if name in SEVERAL else ""
    return validation(
        "list",
        place,
        prompt=f"Choose from the list.{several} Leave it empty if nobody asked.",
        error=f"This is not a word of the list.{several}",
        errorStyle="warning" if several else "stop",
    )


def time_rule(name: str) -> DataValidation:
    """Accept a date, or a date with a time of day."""
    kind, shape = ("date", "2026-03-09") if name == "date" else ("time", "2026-03-09 18:00")
    return validation(
        "date",
        "DATE(2000,1,1)",
        operator="greaterThan",
        prompt=f"A {kind} like {shape}, on the athlete's own clock.",
        error=f"Write a {kind} like {shape}.",
    )


def number_rule(fact: Mapping[str, Any]) -> DataValidation:
    """Accept a number in the range of a fact."""
    least, greatest = fact["range"]
    is_whole = fact["type"] == "integer"
    return validation(
        "whole" if is_whole else "decimal",
        str(least),
        str(greatest),
        operator="between",
        prompt=f"{fact['meaning']} Leave it empty if nobody asked.",
        error=f"Write a {'whole ' if is_whole else ''}number from {least} to {greatest}.",
    )


def validation(kind: str, *limits: str, **more: Any) -> DataValidation:
    """Make a rule for cells, which may stay empty."""
    first, second = (*limits, None)[:2]
    rule = DataValidation(
        formula1=first, formula2=second, allow_blank=True, **{"type": kind, **more}
    )
    rule.showErrorMessage = rule.showInputMessage = True
    return rule


if __name__ == "__main__":
    main()
