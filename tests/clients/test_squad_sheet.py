"""The bundled squad sheet: a coach can enter only what the service reads."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any
from xml.etree import ElementTree
from zipfile import ZipFile

import pytest
import requests
from openpyxl import Workbook, load_workbook

from dawnrule.model import FactDictionary, Vocabulary
from dawnrule.sheet import CHECK_INS as LAYOUT
from tests.clients.conftest import PATIENCE_SECONDS, TODAY, Ask, environment
from tests.clients.squad_sheet import ANSWERS, CHECK_INS, FOLDER, athletes, put_squad, table
from tests.conftest import LiveServer

MAKER = FOLDER / "make_squad_sheet.py"
MEDIA_TYPES = {
    ".xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
    ".ods": "application/vnd.oasis.opendocument.spreadsheet",
}
TABLE = "{urn:oasis:names:tc:opendocument:xmlns:table:1.0}"
MADE_IN_SECONDS = 120

Rule = dict[str, Any]

both_kinds = pytest.mark.parametrize("kind", MEDIA_TYPES)


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Make both files anew in a folder."""
    folder = tmp_path_factory.mktemp("made")
    command = [sys.executable, str(MAKER), "--to", str(folder)]
    subprocess.run(command, check=True, timeout=MADE_IN_SECONDS, env=environment())
    return folder


@pytest.fixture(scope="module")
def book() -> Workbook:
    return load_workbook(FOLDER / "squad.xlsx")


def rules_of_xlsx(file: Path) -> dict[str, Rule]:
    """Return the validations of cells."""
    said = ("type", "operator", "formula1", "formula2", "prompt", "error", "errorStyle")
    return {
        str(rule.sqref): {name: getattr(rule, name) for name in said}
        for rule in load_workbook(file)[CHECK_INS].data_validations.dataValidation
    }


def rules_of_ods(file: Path) -> list[Rule]:
    """Return the validations, in the order of the columns."""
    content = ElementTree.fromstring(ZipFile(file).read("content.xml"))
    return [
        {
            "condition": rule.get(f"{TABLE}condition"),
            "may be empty": rule.get(f"{TABLE}allow-empty-cell"),
            "prompt": words_of(rule, "help-message"),
            "error": words_of(rule, "error-message"),
        }
        for rule in content.iter(f"{TABLE}content-validation")
    ]


def words_of(rule: ElementTree.Element, message: str) -> str:
    found = rule.find(f"{TABLE}{message}")
    return "" if found is None else "".join(found.itertext())


def rule_for(book: Workbook, column: str) -> Any:
    """Return the validation of the first cell under a column's name."""
    (letter,) = [cell.column_letter for cell in book[CHECK_INS][1] if cell.value == column]
    rules = book[CHECK_INS].data_validations.dataValidation
    (rule,) = [rule for rule in rules if f"{letter}2" in rule.sqref]
    return rule


def words_in(book: Workbook, rule: Any) -> list[str]:
    """Return the words of a drop-down."""
    sheet, _, cells = rule.formula1.partition("!")
    return [cell.value for (cell,) in book[sheet][cells.replace("$", "")]]


def looks(file: Path) -> Iterator[tuple[Any, ...]]:
    """Yield every cell with its style, sheet by sheet."""
    for sheet in load_workbook(file).worksheets:
        yield sheet.title, sheet.sheet_state, sheet.freeze_panes, sheet.dimensions
        yield from ((name, one.width) for name, one in sorted(sheet.column_dimensions.items()))
        yield from (
            (cell.coordinate, cell.value, cell.number_format, cell.font.b)
            for row in sheet.iter_rows()
            for cell in row
        )


def test_the_committed_files_are_what_the_script_makes(made: Path) -> None:
    xlsx, ods = "squad.xlsx", "squad.ods"
    assert list(looks(made / xlsx)) == list(looks(FOLDER / xlsx))
    assert rules_of_xlsx(made / xlsx) == rules_of_xlsx(FOLDER / xlsx)
    assert rules_of_ods(made / ods) == rules_of_ods(FOLDER / ods)
    for sheet in load_workbook(FOLDER / xlsx).sheetnames:
        assert table(made / ods, sheet) == table(FOLDER / ods, sheet)


def test_both_files_hold_the_same_morning_and_the_same_checks() -> None:
    xlsx, ods = FOLDER / "squad.xlsx", FOLDER / "squad.ods"
    assert table(xlsx) == table(ods)
    outcome = [(rule["prompt"], rule["error"]) for rule in rules_of_xlsx(xlsx).values()]
    assert [(rule["prompt"], rule["error"]) for rule in rules_of_ods(ods)] == outcome
    assert {rule["may be empty"] for rule in rules_of_ods(ods)} == {"true"}


def test_every_column_is_one_that_the_service_reads(book: Workbook) -> None:
    names = [str(cell.value) for cell in book[CHECK_INS][1]]
    unread = [name for name in names if LAYOUT.column_named(name) is None]
    assert unread == ["notes", *ANSWERS]
    assert len(set(names)) == len(names)


@pytest.mark.parametrize(
    ("column", "fact"),
    [
        ("sleep_hours", "sleep_hours"),
        ("sleep_quality", "sleep_quality"),
        ("fatigue", "fatigue"),
        ("stress", "stress"),
        ("resting_hr_bpm", "resting_hr_bpm"),
        ("hrv_rmssd_ms", "hrv_rmssd_ms"),
        ("soreness_quadriceps", "soreness"),
        ("soreness_calves", "soreness"),
        ("plan_minutes", "planned_minutes"),
    ],
)
def test_a_number_is_kept_within_the_facts_range(book: Workbook, column: str, fact: str) -> None:
    rule, known = rule_for(book, column), FactDictionary.bundled()[fact]
    assert (float(rule.formula1), float(rule.formula2)) == (known.least, known.greatest)
    assert rule.error == f"Write {known.allowed()}."
    assert rule.errorStyle in (None, "stop")


def test_soreness_says_what_its_ends_mean(book: Workbook) -> None:
    assert "0 none to 10 the worst imaginable" in rule_for(book, "soreness_chest").prompt


@pytest.mark.parametrize(
    ("column", "words"),
    [
        ("plan_goal", "goals"),
        ("last_chest_goal", "goals"),
        ("plan_modality", "modalities"),
        ("plan_pattern", "patterns"),
        ("plan_muscle_groups", "muscle_groups"),
        ("pain_kind", "pain_kinds"),
        ("illness", "illnesses"),
        ("warning_signs", "warning_signs"),
    ],
)
def test_a_drop_down_offers_every_word_of_the_vocabulary(
    book: Workbook, column: str, words: str
) -> None:
    offered = words_in(book, rule_for(book, column))
    known = list(getattr(Vocabulary.bundled(), words))
    assert [word for word in offered if word != "none" or word in known] == known


@pytest.mark.parametrize("column", ["warning_signs", "plan_muscle_groups", "pain_muscle_groups"])
def test_where_several_words_may_stand_they_can_be_typed(book: Workbook, column: str) -> None:
    rule = rule_for(book, column)
    assert rule.errorStyle == "warning"
    assert "with a space between" in rule.prompt


def test_the_file_as_shipped_holds_no_key_and_no_address(book: Workbook) -> None:
    texts = [str(cell.value) for sheet in book for row in sheet for cell in row if cell.value]
    assert not [text for text in texts if "http" in text or "dawn_" in text]
    assert {row["private address"] for row in rows_of_today(book)} == {None}


def rows_of_today(book: Workbook) -> list[dict[str, Any]]:
    """Return the lines under the header of the sheet with the formulas."""
    rows = list(book["today"].iter_rows(values_only=True))
    start = next(place for place, row in enumerate(rows) if row[0] == "athlete_id")
    return [dict(zip(map(str, rows[start]), row, strict=True)) for row in rows[start + 1 :]]


def test_each_athlete_has_a_formula_that_fetches_the_advice(book: Workbook) -> None:
    lines = rows_of_today(book)
    assert [line["athlete_id"] for line in lines] == athletes()
    assert all("_xlfn.WEBSERVICE(B" in line["today's advice"] for line in lines)


@both_kinds
def test_the_service_takes_the_file_itself_row_for_row(
    live_server: LiveServer, ask: Ask, kind: str
) -> None:
    put_squad(live_server)
    response = requests.post(
        f"{live_server.base_url}/v1/check-ins/batch",
        data=(FOLDER / f"squad{kind}").read_bytes(),
        headers={
            "Authorization": f"Bearer {live_server.keys['poster']}",
            "Content-Type": MEDIA_TYPES[kind],
        },
        timeout=PATIENCE_SECONDS,
    )
    assert response.status_code == 200, response.text
    results = response.json()["results"]
    assert [result["row"] for result in results] == list(range(2, 10))
    assert [result["problem"] for result in results] == [None] * 8
    stored = ask(f"/v1/advice?date={TODAY}")["advice"]
    assert [(one["athlete_id"], one["verdict"]) for one in stored] == [
        (result["advice"]["athlete_id"], result["advice"]["verdict"]) for result in results
    ]
