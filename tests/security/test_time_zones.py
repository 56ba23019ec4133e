"""Time zones that one machine has and the next has not."""

from __future__ import annotations

import pytest
from flask import Flask

from dawnrule.model.entities import Athlete
from dawnrule.store import Store
from tests.cli.terminal import typed
from tests.conftest import Client
from tests.factories import CLUB, EXAMPLE
from tests.security.test_authorisation import MINE, of_athlete, routes

OF_ONE_MACHINE = [
    "localtime",
    "posixrules",
    "Factory",
    "posix/Europe/Berlin",
    "right/UTC",
    "../UTC",
]
LOST = "a-99"
"""An athlete whose time zone no machine has any longer."""


@pytest.fixture
def lost(coach: Client, store: Store) -> str:
    """The id of one who checked in this morning, before the machine lost the zone."""
    person = {"name": "Lost", "time_zone": "Europe/Berlin"}
    assert coach.put(f"/v1/athletes/{LOST}", json=person).status_code == 201
    reported = EXAMPLE | {"athlete_id": LOST, "warning_signs": ["chest-pain"]}
    assert coach.post("/v1/check-ins", json=reported).status_code == 201
    nowhere = Athlete(LOST, "Lost", "Atlantis/Centre")
    store.write(lambda transaction: transaction.athletes.put(nowhere))
    return LOST


@pytest.mark.parametrize("zone", OF_ONE_MACHINE)
def test_a_time_zone_that_only_one_machine_has_is_refused(coach: Client, zone: str) -> None:
    answer = coach.put("/v1/athletes/a-50", json={"name": "Eva", "time_zone": zone})
    assert answer.status_code == 422
    [error] = answer.json["errors"]
    assert (error["pointer"], error["value"]) == ("/time_zone", zone)
    assert "Europe/Berlin" in error["detail"]


@pytest.mark.parametrize("zone", OF_ONE_MACHINE)
def test_the_command_line_refuses_it_too(zone: str) -> None:
    result = typed("advise", "-", "--time-zone", zone)
    assert result.exit_code == 2
    assert "is not a time zone like Europe/Berlin" in result.stderr


OF_ALL = [
    "athletes.list_athletes",
    "concerns.list_open_concerns",
    "rule-sets.get_scorecard",
    "coach.morning",
    "coach.morning_sheet",
    "coach.concerns",
    "coach.rule_sets",
]


def test_one_athlete_whose_zone_cannot_be_loaded_takes_no_page_of_all_down(
    app: Flask, coach: Client, coach_browser: Client, lost: str
) -> None:
    """Each page of this athlete alone says what is wrong; each of all is there."""
    ids = of_athlete(coach, MINE) | {"athlete_id": lost}
    for route in routes(app):
        client = coach_browser if route.rule.startswith("/coach") else coach
        if route.method == "GET":
            answer = route.call(client, ids)
            assert answer.status_code < 500, (route, answer.text)
            assert route.endpoint not in OF_ALL or answer.status_code == 200, route
    for form in ("json", "csv"):
        assert coach.get(f"/v1/advice?date=2026-03-09&format={form}").status_code == 200


def test_an_athlete_whose_zone_cannot_be_loaded_is_told_so_and_can_be_mended(
    coach: Client, lost: str
) -> None:
    mine = EXAMPLE | {"athlete_id": lost, "fatigue": 9}
    refused = coach.post("/v1/check-ins", json=mine)
    assert refused.status_code == 409
    assert "'Atlantis/Centre', cannot be loaded here" in refused.json["detail"]
    mended = coach.put(f"/v1/athletes/{lost}", json={"name": "Found", "time_zone": "Asia/Tokyo"})
    assert mended.status_code == 200
    assert coach.post("/v1/check-ins", json=mine).status_code == 201


@pytest.mark.usefixtures("lost")
def test_such_an_athlete_keeps_nobody_else_from_a_batch_or_another_rule_set(coach: Client) -> None:
    sheet = f"athlete_id,date,fatigue\n{LOST},2026-03-09,2\na-03,2026-03-09,2\n"
    answered = coach.post("/v1/check-ins/batch", data=sheet, content_type="text/csv")
    assert [row["outcome"] for row in answered.json["results"]] == ["rejected", "created"]
    published = coach.post("/v1/rule-sets", data=CLUB, content_type="application/yaml")
    assert published.status_code == 201
    again = {"rule_set": "club@1.0.0", "again": True}
    activated = coach.put("/v1/rule-sets/active", json=again)
    assert activated.status_code == 200
    assert activated.json["advice_decided_again"] == 1
