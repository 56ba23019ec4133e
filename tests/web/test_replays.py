"""Replays and scorecards over HTTP."""

from __future__ import annotations

import time
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import pytest
from flask import Flask

from tests.conftest import Client, client_with
from tests.effort import tries
from tests.factories import EXAMPLE

WITHIN_SECONDS = 60
READERS, SCORECARDS = 3, tries(3, 200)


@pytest.fixture
def mornings(coach: Client) -> None:
    """A morning each of two athletes."""
    for athlete_id in ("a-03", "a-04"):
        posted = coach.post("/v1/check-ins", json=EXAMPLE | {"athlete_id": athlete_id})
        assert posted.status_code == 201


def done(coach: Client, replay_id: str) -> dict[str, Any]:
    give_up_at = time.monotonic() + WITHIN_SECONDS
    while True:
        told: dict[str, Any] = coach.get(f"/v1/replays/{replay_id}").json
        if told["state"] == "done":
            return told
        assert time.monotonic() < give_up_at, told
        time.sleep(0.02)


@pytest.mark.usefixtures("mornings")
def test_a_replay_is_asked_for_and_read_when_it_is_done(coach: Client) -> None:
    asked = coach.post("/v1/replays", json={"rule_set": "baseline@1.0.0", "from": "2026-03-01"})
    assert asked.status_code == 202
    found = done(coach, asked.headers["Location"].rpartition("/")[2])
    assert (found["mornings"], found["from"], found["to"]) == (2, "2026-03-01", None)
    assert sum(one["count"] for one in found["days"]) == 2
    assert {one["athlete_id"] for one in found["athletes"]} == {"a-03", "a-04"}
    [listed] = coach.get("/v1/replays").json["replays"]
    assert listed["replay_id"] == found["replay_id"]


@pytest.mark.usefixtures("mornings")
def test_a_replay_that_is_done_can_be_neither_stopped_nor_gone_on_with(coach: Client) -> None:
    replay_id = coach.post("/v1/replays", json={"rule_set": "baseline@1.0.0"}).json["replay_id"]
    done(coach, replay_id)
    assert coach.delete(f"/v1/replays/{replay_id}").json["state"] == "done"
    assert coach.post(f"/v1/replays/{replay_id}/resume").status_code == 409


@pytest.mark.parametrize(
    ("body", "status"),
    [
        ({"rule_set": "club@9.0.0"}, 404),
        ({"rule_set": "baseline@1.0.0", "from": "2026-03-02", "to": "2026-03-01"}, 422),
        ({}, 422),
    ],
)
def test_a_replay_that_cannot_be_is_refused(
    coach: Client, body: dict[str, Any], status: int
) -> None:
    assert coach.post("/v1/replays", json=body).status_code == status


def test_a_replay_that_is_not_there_gets_404(coach: Client) -> None:
    assert coach.get("/v1/replays/r-9").status_code == 404
    assert coach.delete("/v1/replays/r-9").status_code == 404
    assert coach.post("/v1/replays/r-9/resume").status_code == 404


@pytest.mark.usefixtures("mornings")
def test_a_scorecard_counts_and_claims_nothing_from_two_mornings(coach: Client) -> None:
    card = coach.get("/v1/rule-sets/baseline/2.0.0/scorecard?from=2026-03-01").json
    assert (card["all_mornings"]["mornings"], card["from"]) == (2, "2026-03-09")
    fired = [rule for rule in card["rules"] if rule["fired"]["count"]]
    assert fired
    assert {(rule["fired"]["share"], rule["fired"]["of"]) for rule in fired} == {(None, 2)}


def test_scorecards_are_answered_while_check_ins_come_in(
    app: Flask, coach: Client, coach_key: str
) -> None:
    def ask() -> list[int]:
        reader = client_with(app, coach_key)
        address = "/v1/rule-sets/baseline/2.0.0/scorecard"
        return [reader.get(address).status_code for _ in range(SCORECARDS)]

    with ThreadPoolExecutor(READERS) as readers:
        asked = [readers.submit(ask) for _ in range(READERS)]
        while not all(one.done() for one in asked):
            for hours in (6, 7):
                posted = coach.post("/v1/check-ins", json=EXAMPLE | {"sleep": {"hours": hours}})
                assert posted.status_code == 201
    assert [one.result() for one in asked] == [[200] * SCORECARDS] * READERS


def test_a_scorecard_without_mornings_is_empty(coach: Client) -> None:
    card = coach.get("/v1/rule-sets/baseline/1.0.0/scorecard").json
    assert (card["from"], card["all_mornings"]["mornings"]) == (None, 0)
