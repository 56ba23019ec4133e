"""Plans: kept for their date, refused when they cannot be true."""

from __future__ import annotations

from typing import Any

import pytest

from tests.conftest import Client, Clock
from tests.factories import EXAMPLE

ADDRESS = "/v1/athletes/a-03/plans/2026-03-10"
PLAN: list[dict[str, Any]] = [
    {"goal": "strength", "muscle_groups": ["chest"], "starts_at": "2026-03-10T18:00:00+01:00"}
]


def test_a_plan_is_kept_replaced_and_taken_back(coach: Client) -> None:
    assert coach.get(ADDRESS).status_code == 404
    assert coach.put(ADDRESS, json={"plan": []}).status_code == 201
    put = coach.put(ADDRESS, json={"plan": PLAN})
    assert put.status_code == 200
    assert coach.get(ADDRESS).json | {"today": None} == put.json
    assert (put.json["date"], put.json["plan"]) == ("2026-03-10", PLAN)
    assert coach.delete(ADDRESS).status_code == 204
    assert coach.get(ADDRESS).status_code == 404
    assert coach.delete(ADDRESS).status_code == 404


def test_a_poster_plans_and_the_athlete_sees_it(poster: Client, athlete: Client) -> None:
    assert poster.put(ADDRESS, json={"plan": PLAN}).status_code == 201
    assert athlete.get(ADDRESS).json["plan"] == PLAN
    assert athlete.get("/v1/athletes/a-04/plans/2026-03-10").status_code == 404


def test_a_plan_gives_no_advice_by_itself(coach: Client) -> None:
    coach.put("/v1/athletes/a-03/plans/2026-03-09", json={"plan": EXAMPLE["plan"]})
    assert coach.get("/v1/athletes/a-03/advice/today").json["verdict"] is None


TODAY = "/v1/athletes/a-03/plans/2026-03-09"
SORE: dict[str, Any] = {
    "athlete_id": "a-03",
    "date": "2026-03-09",
    "soreness": {"quadriceps": 5},
    "pain": [],
    "illness": "none",
    "warning_signs": [],
    "plan": [{"goal": "hypertrophy", "muscle_groups": ["quadriceps"]}],
}
EASY = [{"goal": "steady-endurance", "modality": "cycling", "minutes": 30}]


def test_a_plan_that_comes_after_the_check_in_is_considered_at_once(
    coach: Client, poster: Client, clock: Clock
) -> None:
    first = coach.post("/v1/check-ins", json=SORE).json
    assert first["verdict"] == "swap-to-low-damage"
    clock.set("2026-03-09T10:00:00+01:00")
    put = poster.put(TODAY, json={"plan": EASY}).json
    assert (put["today"]["verdict"], put["today"]["supersedes"]) == (
        "train-as-planned",
        first["advice_id"],
    )
    record = coach.get(f"/v1/advice/{put['today']['advice_id']}").json
    assert record["check_in"]["plan"] == EASY
    assert record["check_in"]["soreness"] == SORE["soreness"]
    assert coach.get("/v1/athletes/a-03/advice/today").json["verdict"] == "train-as-planned"
    again = poster.put(TODAY, json={"plan": EASY})
    tomorrow = poster.put(ADDRESS, json={"plan": EASY})
    assert again.json["today"] is tomorrow.json["today"] is None
    assert (
        coach.get("/v1/athletes/a-03/advice/today").json["advice_id"] == put["today"]["advice_id"]
    )


def test_a_warning_sign_outranks_every_plan_that_comes_after_it(coach: Client) -> None:
    coach.post("/v1/check-ins", json=SORE | {"warning_signs": ["chest-pain"]})
    put = coach.put(TODAY, json={"plan": EASY}).json
    assert put["today"]["verdict"] == "rest"
    assert len(coach.get("/v1/concerns").json["concerns"]) == 1


def test_the_phone_says_that_the_plan_changed_until_the_athlete_sends_again(
    coach: Client, client: Client, clock: Clock
) -> None:
    page = coach.post("/v1/athletes/a-03/addresses", json={"purpose": "check-in"}).json["paths"][0]
    coach.post("/v1/check-ins", json=SORE)
    changed = "Your coach changed the plan"
    assert changed not in client.get(page).text
    clock.set("2026-03-09T10:00:00+01:00")
    coach.put(TODAY, json={"plan": EASY})
    assert f"{changed} at 10:00" in client.get(page).text
    coach.post("/v1/check-ins", json=SORE)
    assert changed not in client.get(page).text


@pytest.mark.parametrize(
    ("address", "body", "pointer"),
    [
        (ADDRESS, {}, "/plan"),
        (ADDRESS, {"plan": [{"goal": "fun"}]}, "/plan/0/goal"),
        (ADDRESS, {"plan": [{"goal": "skill", "minutes": 1440}] * 2}, "/plan"),
        (ADDRESS, {"plan": PLAN, "date": "2026-03-10"}, "/date"),
        ("/v1/athletes/a-03/plans/2026-03-20", {"plan": PLAN}, "/plan/0/starts_at"),
        ("/v1/athletes/a-03/plans/today", {"plan": []}, "/day"),
    ],
)
def test_a_plan_that_cannot_be_is_refused_by_field(
    coach: Client, address: str, body: dict[str, Any], pointer: str
) -> None:
    refused = coach.put(address, json=body)
    assert refused.status_code == 422
    assert [error["pointer"] for error in refused.json["errors"]] == [pointer]


def test_nobody_who_is_not_there_gets_a_plan(coach: Client) -> None:
    address = "/v1/athletes/a-99/plans/2026-03-10"
    assert coach.put(address, json={"plan": []}).status_code == 404
    assert coach.get(address).status_code == 404
    assert coach.delete(address).status_code == 404
