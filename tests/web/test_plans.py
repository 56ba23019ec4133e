"""Plans: kept for their date, refused when they cannot be true."""

from __future__ import annotations

from typing import Any

import pytest

from tests.conftest import Client
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
    assert coach.get(ADDRESS).json == put.json
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
