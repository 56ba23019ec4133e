"""Changes of a part of a check-in: by PATCH, and by sheets that do not say everything."""

from __future__ import annotations

import csv
import io
from typing import Any

import pytest

from dawnrule.model.entities import CheckIn
from dawnrule.store import Store
from tests.conftest import Client
from tests.factories import EXAMPLE
from tests.web.conftest import Stored

MERGE_PATCH = "application/merge-patch+json"
PATH = "/v1/check-ins/a-03/2026-03-09"
BATCH = "/v1/check-ins/batch"


def patch(client: Client, body: Any, path: str = PATH, content_type: str = MERGE_PATCH) -> Any:
    import json

    return client.patch(path, data=json.dumps(body), content_type=content_type)


def post_sheet(client: Client, sheet: str, query: str = "") -> Any:
    return client.post(f"{BATCH}{query}", data=sheet.encode(), content_type="text/csv")


def check_in(stored: Stored) -> CheckIn:
    return stored().check_in


def test_a_patch_changes_what_it_says_and_nothing_else(coach: Client, stored: Stored) -> None:
    first = coach.post("/v1/check-ins", json=EXAMPLE).json
    before = stored().body
    answer = patch(coach, {"hrv_rmssd_ms": 90, "soreness": {"chest": None}})
    assert answer.status_code == 201
    assert answer.headers["Location"].endswith(answer.json["advice_id"])
    assert answer.json["advice_id"] != first["advice_id"]
    after = {**before, "hrv_rmssd_ms": 90, "soreness": {"quadriceps": 4}}
    assert stored().body == after
    assert patch(coach, {"hrv_rmssd_ms": 90}).status_code == 200


def test_a_patch_before_any_check_in_is_one_with_the_coachs_plan(
    coach: Client, stored: Stored
) -> None:
    plan = [{"goal": "strength", "muscle_groups": ["chest"]}]
    coach.put("/v1/athletes/a-03/plans/2026-03-09", json={"plan": plan})
    assert patch(coach, {"sleep": {"hours": 7}}).status_code == 201
    assert stored().body["plan"] == plan


@pytest.mark.parametrize(
    ("body", "pointer"),
    [
        ({"illness": "plague"}, "/illness"),
        ({"colour": 1}, "/colour"),
        ({"athlete_id": "a-04"}, "/athlete_id"),
        ({"date": "2026-03-08"}, "/date"),
        ({"plan": None}, "/plan"),
        ([1], ""),
    ],
)
def test_a_patch_that_does_not_fit_is_refused_and_changes_nothing(
    coach: Client, stored: Stored, body: Any, pointer: str
) -> None:
    coach.post("/v1/check-ins", json=EXAMPLE)
    before = stored()
    answer = patch(coach, body)
    assert answer.status_code == 422
    assert [error["pointer"] for error in answer.json["errors"]] == [pointer]
    assert stored() == before


def test_a_patch_must_say_that_it_is_one(coach: Client) -> None:
    assert patch(coach, {}, content_type="application/json").status_code == 415


def test_an_athlete_changes_nobody_elses_morning(athlete: Client) -> None:
    assert patch(athlete, {"fatigue": 3}).status_code == 201
    assert patch(athlete, {"fatigue": 3}, "/v1/check-ins/a-04/2026-03-09").status_code == 404


def test_a_sheet_of_one_column_changes_that_and_nothing_else(
    poster: Client, stored: Stored
) -> None:
    poster.post("/v1/check-ins", json=EXAMPLE)
    before = stored().body
    answer = post_sheet(poster, "athlete,date,hrv,sleep\na-03,2026-03-09,90,\n")
    assert answer.json["results"][0]["outcome"] == "superseded"
    assert stored().body == {**before, "hrv_rmssd_ms": 90}


def test_post_still_replaces(poster: Client, stored: Stored) -> None:
    poster.post("/v1/check-ins", json=EXAMPLE)
    alone = {"athlete_id": "a-03", "date": "2026-03-09", "plan": []}
    poster.post("/v1/check-ins", json=alone)
    assert stored().body == alone


@pytest.mark.parametrize(
    ("columns", "cells", "kept"),
    [
        ("illness,modality", "fever,zumba", {"illness": "fever"}),
        ("signs,sleep", "chest pain,lots", {"warning_signs": ["chest-pain"]}),
        ("niggle,legs", "left knee,ouch", {"pain": [{"where": "left knee", "kind": "one-sided"}]}),
        ("pain_where,pain_kind,sleep", "knee,,99", {"pain": [{"where": "knee", "kind": "joint"}]}),
        ("fever,sleep", "yes,?", {"illness": "fever"}),
        ("comment,sleep", "fainted,?", {"warning_signs": ["fainting"]}),
    ],
)
def test_dangers_are_taken_whatever_else_in_the_row_cannot_be_read(
    poster: Client, stored: Stored, columns: str, cells: str, kept: dict[str, Any]
) -> None:
    answer = post_sheet(poster, f"athlete,date,{columns}\na-03,2026-03-09,{cells}\n")
    assert answer.status_code == 207
    [result] = answer.json["results"]
    assert result["outcome"] == "dangers-only"
    assert result["problem"]["errors"] != []
    assert result.get("advice") is None or result["advice"]["verdict"] != "train-as-planned"
    body = stored().body
    assert {name: body[name] for name in kept} == kept


@pytest.mark.parametrize(
    "row",
    ["a-03,Monday,chest pain", "zz-9,2026-03-09,chest pain", "a-03,2126-03-09,chest pain"],
)
@pytest.mark.parametrize("query", ["", "?atomic=true", "?format=csv"])
def test_a_row_that_cannot_be_placed_says_that_it_tells_of_a_danger(
    poster: Client, row: str, query: str
) -> None:
    answer = post_sheet(poster, f"athlete,date,signs\n{row}\na-03,Tuesday,none\n", query)
    assert answer.text.count("the row tells of pain, illness or a warning sign: hold this") == 1


def test_all_or_none_says_of_which_rows_no_danger_is_stored(poster: Client) -> None:
    sheet = "athlete,date,illness,sleep\na-03,2026-03-09,fever,lots\n"
    answer = post_sheet(poster, sheet, "?atomic=true")
    assert "the row tells of pain, illness or a warning sign: hold this" in answer.text


def test_a_json_check_in_that_is_refused_is_refused_as_a_whole(poster: Client) -> None:
    check_in = {**EXAMPLE, "illness": "fever", "plan": [{"goal": "xyz"}]}
    [result] = poster.post(BATCH, json={"check_ins": [check_in]}).json["results"]
    assert result["outcome"] == "rejected"
    assert [one["pointer"] for one in result["problem"]["errors"]] == ["/check_ins/0/plan/0/goal"]


def test_in_a_sheet_that_comes_back_such_a_row_has_verdict_and_problem(poster: Client) -> None:
    sheet = "athlete,date,illness,sleep\na-03,2026-03-09,fever,lots\n"
    answer = post_sheet(poster, sheet, "?format=csv").text.splitlines()[1]
    assert "Rest" in answer
    assert "sleep (D2) is not a number" in answer


def test_in_a_sheet_that_comes_back_pain_in_such_a_row_holds_the_session_back(
    poster: Client,
) -> None:
    sheet = "athlete,date,niggle,legs\na-03,2026-03-09,left knee,ouch\n"
    [row] = csv.DictReader(io.StringIO(post_sheet(poster, sheet, "?format=csv").text))
    assert (row["verdict"], row["rule"]) == ("No verdict", "")
    assert "Until then, hold this athlete's session back." in row["caution"]
    assert "legs (D2)" in row["problem"]


def test_a_danger_counts_whatever_the_capitals_of_the_id(poster: Client, stored: Stored) -> None:
    answer = post_sheet(poster, "athlete,date,signs\nA-03,2026-03-09,chest pain\n")
    [result] = answer.json["results"]
    assert (result["advice"]["athlete_id"], result["advice"]["verdict"]) == ("a-03", "rest")
    assert stored().body["warning_signs"] == ["chest-pain"]
    [remark] = [one for one in answer.json["sheet"]["remarks"] if one.startswith("athlete:")]
    assert "A-03 is a-03" in remark


def test_all_or_none_stores_no_part_of_a_row(poster: Client, store: Store) -> None:
    sheet = "athlete,date,illness,sleep\na-03,2026-03-09,fever,lots\n"
    answer = post_sheet(poster, sheet, "?atomic=true")
    assert answer.status_code == 422
    assert [one["outcome"] for one in answer.json["results"]] == ["rejected"]
