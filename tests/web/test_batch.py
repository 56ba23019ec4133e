"""Batches: a whole squad posted at once."""

from __future__ import annotations

import csv
import io
from dataclasses import replace
from datetime import date
from typing import Any

import pytest
from flask import Flask

from dawnrule.application.batches import MOST_OF_ALL_OR_NONE
from dawnrule.schemas.batch import BatchQuerySchema
from dawnrule.store import Store
from dawnrule.web.context import Context
from tests.conftest import Client
from tests.factories import DAY_OFF, EXAMPLE, changed

BATCH = "/v1/check-ins/batch"
OF_TOMO = changed("/athlete_id", "a-04")
OF_NOBODY = changed("/athlete_id", "a-99")
TOO_SORE = changed("/soreness/chest", 11)

SHEET = """\
athlete_id,date,notes,sleep_hours,soreness_quadriceps,plan_goal,plan_muscle_groups
a-03,2026-03-09,=1+1,6.5,4,hypertrophy,quadriceps
a-04,2026-03-09,fine,8,0,strength,quadriceps
a-05,2026-03-08,,65,0,,
"""


def post(client: Client, *check_ins: Any, query: str = "") -> Any:
    return client.post(f"{BATCH}{query}", json={"check_ins": check_ins})


def post_sheet(client: Client, sheet: str, query: str = "") -> Any:
    return client.post(f"{BATCH}{query}", data=sheet.encode(), content_type="text/csv")


def outcomes(answer: Any) -> list[str]:
    return [result["outcome"] for result in answer.json["results"]]


def stored(store: Store, athlete_id: str, day: str = "2026-03-09") -> dict[str, Any]:
    """The check-in of a day as it was stored; empty when there is none."""
    on = date.fromisoformat(day)
    found = store.read(lambda transaction: transaction.check_ins.latest(athlete_id, on))
    return found.body if found else {}


def is_stored(store: Store, athlete_id: str, day: str = "2026-03-09") -> bool:
    return bool(stored(store, athlete_id, day))


def test_good_rows_all_get_their_advice(poster: Client) -> None:
    answer = post(poster, EXAMPLE, OF_TOMO)
    assert answer.status_code == 200
    assert (answer.json["accepted"], answer.json["rejected"]) == (2, 0)
    assert [one["advice"]["athlete_id"] for one in answer.json["results"]] == ["a-03", "a-04"]


def test_a_row_says_whether_it_was_new(poster: Client) -> None:
    post(poster, EXAMPLE, OF_TOMO)
    answer = post(
        poster, EXAMPLE, changed("/fatigue", 9, of=OF_TOMO), DAY_OFF | {"date": "2026-03-08"}
    )
    assert outcomes(answer) == ["unchanged", "superseded", "created"]


def test_bad_rows_are_named_and_good_rows_kept(poster: Client, store: Store) -> None:
    answer = post(poster, EXAMPLE, OF_NOBODY, TOO_SORE, 7)
    assert answer.status_code == 207
    assert outcomes(answer) == ["created", "rejected", "rejected", "rejected"]
    assert (answer.json["accepted"], answer.json["rejected"]) == (1, 3)
    unknown, sore, number = (one["problem"] for one in answer.json["results"][1:])
    assert unknown["status"] == 404
    assert [error["pointer"] for error in sore["errors"]] == ["/check_ins/2/soreness/chest"]
    assert [error["pointer"] for error in number["errors"]] == ["/check_ins/3"]
    assert is_stored(store, "a-03")


def test_a_bad_row_spoils_an_atomic_batch(poster: Client, store: Store) -> None:
    answer = post(poster, EXAMPLE, TOO_SORE, query="?atomic=true")
    assert (answer.status_code, answer.mimetype) == (422, "application/problem+json")
    assert outcomes(answer) == ["not-stored", "rejected"]
    assert answer.json["accepted"] == 0
    assert not is_stored(store, "a-03")


def test_a_row_that_only_the_store_can_refuse_spoils_an_atomic_batch_too(
    poster: Client, store: Store
) -> None:
    assert post(poster, EXAMPLE, OF_NOBODY, query="?atomic=true").status_code == 422
    assert not is_stored(store, "a-03")


def test_an_atomic_batch_without_faults_is_stored(poster: Client, store: Store) -> None:
    assert post(poster, EXAMPLE, OF_TOMO, query="?atomic=true").status_code == 200
    assert is_stored(store, "a-03")
    assert is_stored(store, "a-04")


def test_a_batch_of_bad_rows_only_gets_422(poster: Client) -> None:
    answer = post(poster, OF_NOBODY, TOO_SORE)
    assert (answer.status_code, answer.mimetype) == (422, "application/problem+json")
    assert outcomes(answer) == ["rejected", "rejected"]


def test_rows_that_contradict_each_other_are_both_refused(poster: Client, store: Store) -> None:
    answer = post(poster, EXAMPLE, OF_TOMO, changed("/fatigue", 9))
    assert outcomes(answer) == ["rejected", "created", "rejected"]
    problem = answer.json["results"][2]["problem"]
    assert problem["errors"][0]["pointer"] == "/check_ins/2/date"
    assert not is_stored(store, "a-03")


def test_the_same_row_twice_is_one_check_in(poster: Client) -> None:
    answer = post(poster, EXAMPLE, EXAMPLE)
    assert outcomes(answer) == ["created", "unchanged"]
    first, second = answer.json["results"]
    assert first["advice"] == second["advice"]


def test_a_long_batch_is_stored_to_its_last_row(poster: Client) -> None:
    days = [f"2026-{month:02}-{day:02}" for month in (1, 2) for day in range(1, 29)]
    answer = post(poster, *(DAY_OFF | {"date": day} for day in days))
    assert answer.status_code == 200
    assert [one["advice"]["date"] for one in answer.json["results"]] == days


@pytest.mark.parametrize("body", [{}, {"check_ins": {}}, {"check_ins": []}, [], {"checkins": [1]}])
def test_a_batch_without_rows_gets_422(poster: Client, body: Any) -> None:
    assert poster.post(BATCH, json=body).status_code == 422


def test_a_batch_of_too_many_rows_gets_422(poster: Client) -> None:
    answer = post(poster, *[1] * 5001)
    assert answer.status_code == 422
    assert "5001" in answer.json["detail"]


def test_a_batch_may_be_larger_than_a_check_in(poster: Client) -> None:
    assert post_sheet(poster, SHEET + ",,,,,,\n" * 200_000).status_code == 207


def test_a_batch_of_too_many_bytes_gets_413(poster: Client) -> None:
    assert post_sheet(poster, SHEET + "," * 5_000_000).status_code == 413


def test_a_sheet_gets_a_result_for_each_row(poster: Client, store: Store) -> None:
    answer = post_sheet(poster, SHEET)
    assert (answer.status_code, answer.mimetype) == (207, "application/json")
    assert [one["row"] for one in answer.json["results"]] == [2, 3, 4]
    assert outcomes(answer) == ["created", "created", "rejected"]
    [error] = answer.json["results"][2]["problem"]["errors"]
    assert error["pointer"] == "/sleep_hours"
    assert is_stored(store, "a-03")


def test_a_fault_names_its_cell(poster: Client) -> None:
    [error] = post_sheet(poster, SHEET).json["results"][2]["problem"]["errors"]
    assert (error["cell"], error["value"]) == ("D4", 65)


def test_how_a_sheet_was_read_is_told(poster: Client) -> None:
    text = "Athlet;Datum;Schlaf;Größe\na-03;09.03.26;7,5;\n"
    answer = poster.post(BATCH, data=text.encode("cp1252"), content_type="text/csv")
    told = answer.json["sheet"]
    assert (told["encoding"], told["delimiter"]) == ("windows-1252 (guessed)", ";")
    assert told["read_as"] == {"Athlet": "athlete_id", "Datum": "date", "Schlaf": "sleep_hours"}
    assert told["unread"] == ["Größe"]
    assert any("09.03.26 is 2026-03-09" in remark for remark in told["remarks"])


def test_of_a_json_batch_there_is_nothing_to_tell(poster: Client) -> None:
    assert "sheet" not in post(poster, EXAMPLE).json


def test_how_a_sheet_was_read_stands_in_a_header_where_the_answer_is_a_sheet(
    poster: Client,
) -> None:
    answer = post_sheet(poster, SHEET.replace("notes", '"Über\nblick"'), "?format=csv")
    assert answer.headers["Sheet-Remarks"] == "Columns that were not read: \\xdcber blick"


def test_a_header_about_a_sheet_holds_nothing_that_ends_a_header(poster: Client) -> None:
    cell = "own\x7fnote\x0bX-Other: 1"
    answer = post_sheet(poster, SHEET.replace("notes", cell), "?format=csv")
    assert answer.headers["Sheet-Remarks"] == "Columns that were not read: own note X-Other: 1"


def test_dates_are_read_in_the_order_that_is_declared(poster: Client) -> None:
    sheet = "athlete_id,date\na-03,08/03/2026\n"
    refused = post_sheet(poster, sheet)
    assert "declare the date order" in refused.text
    declared = post_sheet(poster, sheet, "?date_order=day-month-year")
    assert declared.json["results"][0]["advice"]["date"] == "2026-03-08"
    unknown = post_sheet(poster, sheet, "?date_order=dmy")
    assert unknown.status_code == 422
    assert "day-month-year" in unknown.json["detail"]


def test_a_time_without_an_offset_is_that_of_the_athlete(poster: Client, store: Store) -> None:
    rows = ("a-03,2026-03-09", "a-04,2026-03-09", "a-99,2026-03-09")
    sheet = "\n".join(["athlete_id,date,reported_at", *(f"{row},{row[5:]} 06:30" for row in rows)])
    answer = post_sheet(poster, sheet)
    assert outcomes(answer) == ["created", "created", "rejected"]
    assert "no athlete 'a-99'" in answer.json["results"][2]["problem"]["detail"]
    assert stored(store, "a-03")["reported_at"] == "2026-03-09T06:30:00+01:00"
    assert stored(store, "a-04")["reported_at"] == "2026-03-09T06:30:00+09:00"


def test_rows_of_one_morning_have_one_result(poster: Client) -> None:
    sheet = (
        "athlete_id,date,muscle_group,soreness\na-03,2026-03-09,chest,1\n"
        "a-04,2026-03-09,chest,2\na-03,2026-03-09,calves,11\n"
    )
    first, second = post_sheet(poster, sheet).json["results"]
    assert (first["row"], first["rows"], first["outcome"]) == (2, [2, 4], "rejected")
    assert [error["cell"] for error in first["problem"]["errors"]] == ["D4"]
    assert (second["row"], second["outcome"]) == (3, "created")
    assert "rows" not in second


def test_both_rows_that_contradict_each_other_are_named_by_cell(poster: Client) -> None:
    sheet = "athlete_id,date,fatigue\na-03,2026-03-09,1\na-03,2026-03-09,2\n"
    results = post_sheet(poster, sheet).json["results"]
    assert [one["problem"]["errors"][0]["cell"] for one in results] == ["B2", "B3"]


@pytest.mark.parametrize("query", ["?format=xlsx", "?format=xlsx&atomic=true"])
def test_an_xlsx_answer_needs_an_xlsx_question_and_nothing_is_stored(
    poster: Client, store: Store, query: str
) -> None:
    for answer in (post_sheet(poster, SHEET, query), post(poster, EXAMPLE, query=query)):
        assert answer.status_code == 422
        assert "ask for csv or json" in answer.json["detail"]
    assert not is_stored(store, "a-03")


def test_what_the_calendar_refuses_is_named_by_its_column(poster: Client) -> None:
    answer = post_sheet(
        poster,
        "athlete_id,date,last_chest_at,last_chest_goal\n"
        "a-03,2026-03-09,2026-03-10T08:00:00+01:00,strength\n",
    )
    [error] = answer.json["results"][0]["problem"]["errors"]
    assert error["pointer"] == "/last_chest_at"


@pytest.mark.parametrize(
    ("query", "accept"), [("?format=csv", "*/*"), ("", "text/csv")], ids=["address", "header"]
)
def test_the_sheet_comes_back_with_the_advice_beside_each_row(
    poster: Client, query: str, accept: str
) -> None:
    answer = poster.post(
        f"{BATCH}{query}",
        data=SHEET.encode(),
        headers={"Content-Type": "text/csv", "Accept": accept},
    )
    assert (answer.status_code, answer.mimetype) == (207, "text/csv")
    first, second, third = csv.DictReader(io.StringIO(answer.text))
    assert first["notes"] == "'=1+1", "a formula is not let loose on who opens the sheet"
    assert first["rule"]
    assert second["verdict"] == "Train as planned"
    assert (third["verdict"], third["problem"]) == ("", "sleep_hours (D4) must be from 0 to 24")


def test_json_rows_can_be_answered_as_a_sheet(poster: Client) -> None:
    answer = post(poster, EXAMPLE, changed("/\ud800", 1), query="?format=csv")
    first, second = csv.DictReader(io.StringIO(answer.text))
    assert (first["athlete_id"], first["date"]) == ("a-03", "2026-03-09")
    assert second["athlete_id"] == ""
    assert "is not a field here" in second["problem"]


def test_a_sheet_without_its_columns_gets_400(poster: Client) -> None:
    assert post_sheet(poster, "who,date\nMara,2026-03-09\n").status_code == 400


def test_a_spreadsheets_own_file_gets_400_and_help(poster: Client) -> None:
    answer = poster.post(BATCH, data=b"PK\x03\x04", content_type="text/csv")
    assert answer.status_code == 400
    assert "save the sheet as CSV" in answer.json["detail"]


def test_other_media_types_get_415(poster: Client) -> None:
    answer = poster.post(BATCH, data=b"", content_type="application/vnd.ms-excel")
    assert answer.status_code == 415
    assert "text/csv" in answer.json["detail"]


@pytest.mark.parametrize("count", [0, 3])
def test_rows_are_counted_before_any_is_read(
    app: Flask, poster: Client, monkeypatch: pytest.MonkeyPatch, count: int
) -> None:
    def read_row(*_: object) -> None:
        raise AssertionError("no row is to be read")

    context = Context.of(app)
    replace(context, settings=replace(context.settings, batch_row_limit=2)).attach(app)
    monkeypatch.setattr("dawnrule.sheet.reader.read_row", read_row)
    monkeypatch.setattr("dawnrule.application.batches._or_error", read_row)
    head, *lines = SHEET.splitlines(keepends=True)
    for answer in (
        post(poster, *[EXAMPLE] * count),
        post_sheet(poster, head + "".join(lines[:count])),
    ):
        assert answer.status_code == 422
        assert f"this one has {count}" in answer.json["detail"]
    context.attach(app)


def test_a_batch_of_all_or_none_has_at_most_as_many_rows_as_are_written_soon(
    poster: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    described = BatchQuerySchema().fields["atomic"].metadata["description"]
    assert f"at most {MOST_OF_ALL_OR_NONE} rows" in described

    def read_row(*_: object) -> None:
        raise AssertionError("no row is to be read")

    monkeypatch.setattr("dawnrule.application.batches._or_error", read_row)
    rows = [EXAMPLE] * (MOST_OF_ALL_OR_NONE + 1)
    answer = post(poster, *rows, query="?atomic=true")
    assert answer.status_code == 422
    assert "has at most 50 check-ins; this one has 51. Send it in parts." in answer.json["detail"]


def test_rows_of_one_morning_count_as_one(app: Flask, poster: Client) -> None:
    context = Context.of(app)
    replace(context, settings=replace(context.settings, batch_row_limit=1)).attach(app)
    long = (
        "athlete_id,date,muscle_group,soreness\na-03,2026-03-09,chest,1\na-03,2026-03-09,calves,2\n"
    )
    assert post_sheet(poster, long).status_code == 200
    context.attach(app)
