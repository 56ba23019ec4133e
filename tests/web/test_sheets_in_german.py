"""Sheets answered in the language of the request, and JSON still in English."""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping
from typing import Any

import pytest
from openpyxl import Workbook, load_workbook

from tests.conftest import Client
from tests.factories import changed

CHECK_INS = "/v1/check-ins/batch"
SESSIONS = "/v1/sessions/batch"
XLSX = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
SHEET = """\
athlete_id,date,sleep_hours,notes
a-03,2026-03-09,6.5,
a-05,2026-03-08,65,
a-99,2026-03-09,7,
"""
OUT_OF_RANGE = "sleep_hours (C3) muss zwischen 0 und 24 liegen"
NOBODY = "Niemand hat die Kennung 'a-99'."


def post(
    client: Client,
    sheet: str | bytes = SHEET,
    query: str = "?lang=de",
    to: str = CHECK_INS,
    headers: Mapping[str, str] | None = None,
    kind: str = "text/csv",
) -> Any:
    data = sheet.encode() if isinstance(sheet, str) else sheet
    return client.post(f"{to}{query}", data=data, content_type=kind, headers=headers)


def problems_beside(answer: Any) -> list[str]:
    return [row["problem"] for row in csv.DictReader(io.StringIO(answer.text))]


@pytest.mark.parametrize(
    ("query", "headers"),
    [("?lang=de&format=csv", {}), ("?format=csv", {"Accept-Language": "de-AT"})],
)
def test_the_problem_beside_a_row_is_told_in_the_language_of_the_request(
    poster: Client, query: str, headers: Mapping[str, str]
) -> None:
    none, wrong, nobody = problems_beside(post(poster, query=query, headers=headers))
    assert (none, wrong) == ("", OUT_OF_RANGE)
    assert nobody.startswith(NOBODY)


def test_the_problem_in_a_workbook_is_told_in_german(poster: Client) -> None:
    workbook, written = Workbook(), io.BytesIO()
    assert workbook.active is not None
    for line in csv.reader(io.StringIO(SHEET)):
        workbook.active.append(line)
    workbook.save(written)
    answer = post(poster, written.getvalue(), "?lang=de&format=xlsx", kind=XLSX)
    [header, *rows] = load_workbook(io.BytesIO(answer.data)).worksheets[0].values
    assert dict(zip(header, rows[1], strict=True))["problem"] == OUT_OF_RANGE


def test_without_a_language_a_sheet_is_answered_in_english(poster: Client) -> None:
    problems = problems_beside(post(poster, query="?format=csv"))
    assert problems[1] == "sleep_hours (C3) must be from 0 to 24"


def test_the_faults_of_a_sheet_are_told_in_german_as_json_too(poster: Client) -> None:
    answer = post(poster).json
    assert answer["sheet"]["remarks"] == ["Spalten, die nicht gelesen wurden: notes"]
    _, wrong, nobody = (result["problem"] for result in answer["results"])
    assert wrong["detail"] == "Zeile 3 wird nicht angenommen."
    assert wrong["errors"][0]["detail"] == "muss zwischen 0 und 24 liegen"
    assert nobody["detail"].startswith(NOBODY)


def test_how_a_sheet_was_read_is_told_in_german_in_the_header(poster: Client) -> None:
    answer = post(poster, query="?lang=de&format=csv")
    assert answer.headers["Sheet-Remarks"] == "Spalten, die nicht gelesen wurden: notes"


def test_a_guessed_encoding_is_told_in_german(poster: Client) -> None:
    told = post(poster, "athlete_id,date,M\xfcde\na-03,2026-03-09,\n".encode("cp1252")).json[
        "sheet"
    ]
    assert told["encoding"] == "windows-1252 (vermutet)"
    assert "Sieh dir die Umlaute an." in told["remarks"][0]


@pytest.mark.parametrize(
    ("sheet", "query", "status", "words"),
    [
        ("who,day\nx,y\n", "?lang=de", 400, "Die erste Zeile der Tabelle muss ihre Spalten"),
        (SHEET, "?lang=de&sheet=Squad", 400, "Eine CSV-Datei hat nur eine Tabelle"),
        ("athlete_id,date\n", "?lang=de", 422, "Auf einmal gehen 1 bis 5000 Check-ins; hier"),
        (SHEET, "?lang=de&format=xlsx", 422, "Eine Antwort als .xlsx braucht eine Frage"),
        (
            "athlete_id,date,fatigue\na-03,2026-03-09,11\n",
            "?lang=de",
            422,
            "Nichts wurde gespeichert: 1 von 1 Check-ins werden nicht angenommen.",
        ),
    ],
)
def test_a_sheet_that_is_refused_is_refused_in_german(
    poster: Client, sheet: str, query: str, status: int, words: str
) -> None:
    answer = post(poster, sheet, query)
    assert (answer.status_code, answer.mimetype) == (status, "application/problem+json")
    assert answer.json["detail"].startswith(words)


def test_rows_that_others_keep_from_being_stored_are_told_so_in_german(poster: Client) -> None:
    first, *_ = problems_beside(post(poster, query="?lang=de&format=csv&atomic=true"))
    assert first == "nicht gespeichert, weil andere Zeilen nicht angenommen wurden"


def test_what_cannot_be_true_is_told_in_german(poster: Client) -> None:
    sheet = (
        "athlete_id,date,reported_at,last_chest_at,last_chest_goal,plan_goal,plan_starts_at\n"
        "a-03,2026-03-12,,,,,\n"
        "a-04,2026-03-09,2026-03-19 06:00,,,,\n"
        "a-05,2026-03-08,2026-03-01 06:00,2025-03-01 06:00,skill,skill,2026-03-20 18:00\n"
        "a-03,2026-03-07,2026-03-07 06:00,2026-03-07 18:00,skill,,\n"
        "a-03,2026-03-06,,2026-03-08 18:00,skill,,\n"
    )
    results = post(poster, sheet).json["results"]
    faults = [fault["detail"] for one in results for fault in one["problem"]["errors"]]
    assert [fault.partition(";")[0].partition(",")[0] for fault in faults] == [
        "darf nicht nach 2026-03-09 liegen",
        "darf nicht in der Zukunft liegen",
        "darf nicht über einen Tag vor dem Datum des Check-ins liegen",
        "darf höchstens einen Tag vom Datum des Check-ins entfernt sein",
        "darf nicht nach reported_at liegen",
        "darf nicht nach dem Datum des Check-ins liegen",
    ]


def test_a_sheet_of_sessions_is_refused_in_german(poster: Client) -> None:
    sheet = (
        "athlete_id,starts_at,minutes,output,block_goal\na-03,2026-03-08 18:00,60,dropped,skill\n"
    )
    [result] = post(poster, sheet, to=SESSIONS).json["results"]
    assert result["problem"]["errors"][0]["detail"] == (
        "muss sagen, um wie viel die Leistung fiel, wenn in output dropped steht"
    )
    assert (
        post(poster, sheet, to=SESSIONS)
        .json["detail"]
        .startswith("Nichts wurde gespeichert: 1 von 1 Einheiten")
    )


def test_programs_that_send_json_are_told_in_english(poster: Client) -> None:
    body = {"check_ins": [changed("/fatigue", 11), changed("/athlete_id", "a-99")]}
    answer = poster.post(f"{CHECK_INS}?lang=de", json=body).json
    assert answer["detail"] == "Nothing was stored: 2 of 2 check-ins cannot be accepted."
    wrong, nobody = (result["problem"] for result in answer["results"])
    assert wrong["errors"][0]["detail"] == "must be from 0 to 10"
    assert nobody["detail"].startswith("There is no athlete 'a-99'.")
    none = poster.post(f"{CHECK_INS}?lang=de", json={"check_ins": []})
    assert none.json["detail"] == "A batch has 1 to 5000 check-ins; this one has 0."
    one = poster.post("/v1/check-ins?lang=de", json=changed("/fatigue", 11))
    assert one.json["errors"][0]["detail"] == "must be from 0 to 10"


def test_json_that_is_answered_as_a_sheet_has_its_problems_in_german(poster: Client) -> None:
    body = {"check_ins": [changed("/fatigue", 11)]}
    answer = poster.post(f"{CHECK_INS}?lang=de&format=csv", json=body)
    assert problems_beside(answer) == ["check_ins/0/fatigue muss zwischen 0 und 10 liegen"]
