"""The squad: added, changed, listed, erased."""

from __future__ import annotations

from datetime import date
from typing import Any

import pytest

from dawnrule.analytics.archive import Archive
from dawnrule.store import Store
from tests.conftest import Client
from tests.factories import EXAMPLE

NEW = {"name": "Juno", "time_zone": "Pacific/Auckland"}


def test_an_athlete_is_created_and_then_replaced(coach: Client) -> None:
    created = coach.put("/v1/athletes/a-06", json=NEW)
    assert (created.status_code, created.json) == (201, {"athlete_id": "a-06"} | NEW)
    moved = NEW | {"time_zone": "Europe/Paris", "training_status": "novice"}
    replaced = coach.put("/v1/athletes/a-06", json=moved)
    assert replaced.status_code == 200
    assert coach.get("/v1/athletes/a-06").json == {"athlete_id": "a-06"} | moved


def test_what_was_got_can_be_put_back(coach: Client) -> None:
    got = coach.get("/v1/athletes/a-03").json
    assert coach.put("/v1/athletes/a-03", json=got).json == got


def test_the_squad_is_listed_by_id(coach: Client) -> None:
    listed = coach.get("/v1/athletes").json["athletes"]
    assert [one["athlete_id"] for one in listed] == ["a-03", "a-04", "a-05"]


@pytest.mark.parametrize(
    ("athlete_id", "body", "pointer"),
    [
        ("a-06", {"name": "Juno"}, "/time_zone"),
        ("a-06", {"time_zone": "UTC"}, "/name"),
        ("a-06", NEW | {"name": ""}, "/name"),
        ("a-06", NEW | {"time_zone": "CET+1"}, "/time_zone"),
        ("a-06", NEW | {"time_zone": "../etc/passwd"}, "/time_zone"),
        ("a-06", NEW | {"time_zone": "europe/paris"}, "/time_zone"),
        ("a-06", NEW | {"training_status": "expert"}, "/training_status"),
        ("a-06", NEW | {"date_of_birth": "2026-03-10"}, "/date_of_birth"),
        ("a-06", NEW | {"date_of_birth": "1901-01-01"}, "/date_of_birth"),
        ("a-06", NEW | {"athlete_id": "a-07"}, "/athlete_id"),
        ("a-06", NEW | {"coach": "Ada"}, "/coach"),
        ("-a-06", NEW, "/athlete_id"),
        ("a" * 41, NEW, "/athlete_id"),
    ],
)
def test_an_athlete_who_cannot_be_is_refused(
    coach: Client, athlete_id: str, body: dict[str, Any], pointer: str
) -> None:
    answer = coach.put(f"/v1/athletes/{athlete_id}", json=body)
    assert answer.status_code == 422
    assert [error["pointer"] for error in answer.json["errors"]] == [pointer]


def test_a_time_zone_is_suggested_by_its_right_letters(coach: Client) -> None:
    answer = coach.put("/v1/athletes/a-06", json=NEW | {"time_zone": "europe/paris"})
    assert "did you mean Europe/Paris?" in answer.json["detail"]


def test_a_check_in_before_birth_is_refused(coach: Client) -> None:
    born = NEW | {"date_of_birth": "2010-05-17"}
    coach.put("/v1/athletes/a-06", json=born)
    before = EXAMPLE | {"athlete_id": "a-06", "date": "2010-05-16", "plan": []}
    answer = coach.post("/v1/check-ins", json=before)
    assert answer.status_code == 422
    assert answer.json["errors"][0]["pointer"] == "/date"


def test_erasing_a_person_leaves_nothing_of_them(
    coach: Client, athlete: Client, store: Store
) -> None:
    advice_id = coach.post("/v1/check-ins", json=EXAMPLE).json["advice_id"]
    coach.post("/v1/replays", json={"rule_set": "baseline@1.0.0"})
    erased = coach.delete("/v1/athletes/a-03")
    assert erased.status_code == 200
    assert erased.json == {
        "athletes": 1,
        "check_ins": 1,
        "advice": 1,
        "shadow_verdicts": 0,
        "replays": 1,
        "sessions": 0,
        "keys": 1,
        "private_addresses": 0,
        "groups": 0,
        "plans": 0,
        "concerns": 1,
        "activations": 0,
        "position": erased.json["position"],
        "wiped": True,
    }
    assert coach.get("/v1/athletes/a-03").status_code == 404
    assert coach.get(f"/v1/advice/{advice_id}").status_code == 404
    assert athlete.get("/v1/athletes/a-03").status_code == 401, "the athlete's key is gone too"
    assert store.read(lambda transaction: transaction.advice.for_date(date(2026, 3, 9))) == []


def test_erasing_a_person_takes_the_archive_of_facts_along(coach: Client, store: Store) -> None:
    coach.post("/v1/check-ins", json=EXAMPLE)
    Archive(store).mornings()
    archives = store.file.parent.glob("*.facts.parquet*")
    assert [file.name for file in archives] == ["dawnrule.db.facts.parquet"]
    coach.delete("/v1/athletes/a-03")
    assert list(store.file.parent.glob("*.facts.parquet*")) == []


def test_only_who_is_there_can_be_erased(coach: Client) -> None:
    assert coach.delete("/v1/athletes/a-99").status_code == 404
