"""Blocks with their limits and sessions, as coaches and athletes read them."""

from __future__ import annotations

import re
from html import unescape
from typing import Any

import pytest

from tests.conftest import Client, Clock
from tests.factories import reworded

LESS = "at most 5 of the 10 sets"
SORE = {
    "athlete_id": "a-03",
    "date": "2026-03-09",
    "soreness": {"quadriceps": 4},
    "warning_signs": [],
    "pain": [],
    "illness": "none",
    "plan": [
        {"goal": "hypertrophy", "muscle_groups": ["quadriceps"], "sets": 10, "reps": 10},
        {"goal": "strength", "muscle_groups": ["chest"], "sets": 5},
    ],
}


@pytest.fixture
def advice(coach: Client) -> dict[str, Any]:
    """The advice on sore legs, by the baseline for a season."""
    assert coach.put("/v1/rule-sets/active", json={"rule_set": "baseline@2.0.0"}).status_code == 200
    answer = coach.post("/v1/check-ins", json=SORE)
    assert answer.status_code == 201
    told: dict[str, Any] = answer.json
    return told


def words_of(page: Any) -> str:
    """What a reader of a page sees: its words, in their order."""
    main = page.text.partition("<main")[2]
    return " ".join(unescape(re.sub(r"<[^>]*>", " ", main.partition(">")[2])).split())


def test_the_interface_answers_blocks_with_limits_and_sessions(advice: dict[str, Any]) -> None:
    legs, chest = advice["blocks"]
    assert (legs["verdict"], chest["verdict"]) == ("swap-to-low-damage", "train-as-planned")
    assert legs["limits"]["sets_at_most"] == 5
    assert legs["limits_said"][0] == LESS
    first, second, *_ = legs["alternatives"]
    assert (first["within_limits"], first["sets"]) == (True, 5)
    assert (second["modality"], second["minutes"], second["effort"]) == ("swimming", 30, 3)
    assert second["because"]
    assert (chest["limits"], chest["alternatives"]) == ({}, [])
    assert advice["headline"].startswith("Do less of the same")


def test_the_answer_is_the_same_when_it_is_read_again(
    coach: Client, advice: dict[str, Any]
) -> None:
    assert coach.get("/v1/athletes/a-03/advice/today").json == advice
    record = coach.get(f"/v1/advice/{advice['advice_id']}").json
    assert record["reproduced"]
    assert reworded(record["advice"]["blocks"]) == advice["blocks"]


def test_a_phone_says_what_may_be_done(coach: Client, advice: dict[str, Any]) -> None:
    spoken = coach.get("/v1/athletes/a-03/advice/today.txt").text
    assert f"Within limits for growth work (quadriceps): {LESS}" in spoken
    assert "As planned: strength (chest)." in spoken


@pytest.mark.parametrize(
    "address", ["/coach/", "/coach/athletes/a-03", "/coach/advice/{advice_id}"]
)
def test_a_coach_reads_limits_and_sessions_of_each_block(
    coach_browser: Client, advice: dict[str, Any], address: str
) -> None:
    page = words_of(coach_browser.get(address.format(**advice)))
    assert "Growth work (quadriceps): Do less of the same." in page
    assert f"Within limits: {LESS}" in page
    assert "same session, 5 sets of 10, 4 repetitions in reserve at the least" in page
    assert "Strength (chest): Train as planned." in page


def test_a_note_is_given_in_full_once_and_named_on_the_next_days(
    coach: Client, clock: Clock
) -> None:
    coach.put("/v1/rule-sets/active", json={"rule_set": "baseline@2.0.0"})
    unknown = SORE | {"soreness": {}, "plan": [{"goal": "strength", "muscle_groups": ["chest"]}]}
    first = coach.post("/v1/check-ins", json=unknown).json
    clock.set("2026-03-10T06:45:00+01:00")
    second = coach.post("/v1/check-ins", json=unknown | {"date": "2026-03-10"}).json
    notes = [
        next(note for note in told["notes"] if note["rule"]["id"] == "soreness-unknown")
        for told in (first, second)
    ]
    assert notes[0]["caution"]
    assert "given_on" not in notes[0]
    assert (notes[1]["caution"], notes[1]["given_on"]) == ("", "2026-03-09")
    assert notes[1]["rule"] == notes[0]["rule"]
