"""The outlook over HTTP: when what opens again."""

from __future__ import annotations

from typing import Any

import pytest

from dawnrule.model import Vocabulary
from tests.conftest import Client
from tests.factories import DAY_OFF

OUTLOOK = "/v1/athletes/a-03/outlook"
CHEST_DAY = {
    "athlete_id": "a-03",
    "starts_at": "2026-03-08T18:00:00+01:00",
    "minutes": 60,
    "blocks": [{"goal": "hypertrophy", "muscle_groups": ["chest"]}],
}


def outlook(client: Client, query: str = "") -> Any:
    answer = client.get(f"{OUTLOOK}{query}")
    assert answer.status_code == 200
    return answer.json


def prospect(told: Any, group: str, goal: str = "hypertrophy") -> Any:
    [found] = [p for p in told["prospects"] if (p["muscle_group"], p["goal"]) == (group, goal)]
    return found


def movement(told: Any, name: str) -> Any:
    [found] = [m for m in told["balanced_session"] if m["movement"] == name]
    return found


def test_without_anything_known_everything_is_open_now(coach: Client) -> None:
    told = outlook(coach)
    words = Vocabulary.bundled()
    assert len(told["prospects"]) == len(words.muscle_groups) * len(words.goals)
    assert all(p["open_now"] for p in told["prospects"])
    assert (told["from"], told["days"]) == ("2026-03-09T06:45:00+01:00", 7)
    assert "nothing is trained until then" in told["assumes"]


def test_what_is_not_known_without_a_check_in_is_said_and_with_one_it_is_not(coach: Client) -> None:
    assert outlook(coach)["note"].startswith("There is no check-in today. So soreness, pain, ")
    assert outlook(coach, "?lang=de")["note"].startswith("Heute gibt es keinen Check-in. ")
    coach.post("/v1/check-ins", json={"athlete_id": "a-03", "date": "2026-03-09", "plan": []})
    assert outlook(coach)["note"] is None


def test_growth_work_opens_two_days_after_a_logged_session(coach: Client) -> None:
    coach.post("/v1/sessions", json=CHEST_DAY)
    told = outlook(coach)
    assert prospect(told, "chest") == {
        "muscle_group": "chest",
        "goal": "hypertrophy",
        "open_now": False,
        "opens_at": "2026-03-10T17:00:00+01:00",
        "needs": [],
        "needs_from": None,
        "stopped": False,
    }
    assert prospect(told, "quadriceps")["open_now"]


def test_what_opens_after_the_days_asked_for_is_not_called_closed(coach: Client) -> None:
    coach.post("/v1/sessions", json=CHEST_DAY)
    later = prospect(outlook(coach, "?days=1"), "chest")
    assert (later["opens_at"], later["needs"], later["stopped"]) == (None, [], False)


def test_soreness_is_needed_less_and_pain_is_no_matter_of_time(coach: Client) -> None:
    pain = [{"where": "knee", "kind": "joint", "muscle_groups": ["quadriceps"]}]
    coach.post("/v1/check-ins", json=DAY_OFF | {"soreness": {"chest": 4}, "pain": pain})
    told = outlook(coach)
    assert prospect(told, "chest")["needs"] == [{"fact": "soreness", "to": "below 3"}]
    assert prospect(told, "chest")["needs_from"] is None
    assert prospect(told, "quadriceps")["stopped"]
    assert prospect(told, "hamstrings")["open_now"]


def test_what_needs_time_and_something_else_says_from_when_on(coach: Client) -> None:
    coach.post("/v1/sessions", json=CHEST_DAY)
    coach.post("/v1/check-ins", json=DAY_OFF | {"soreness": {"chest": 4}})
    chest = prospect(outlook(coach), "chest")
    assert (chest["opens_at"], chest["needs"]) == (None, [{"fact": "soreness", "to": "below 3"}])
    assert chest["needs_from"] == "2026-03-10T17:00:00+01:00"


def test_a_balanced_session_has_one_of_each_movement_for_the_goal_asked_for(coach: Client) -> None:
    coach.post("/v1/sessions", json=CHEST_DAY)
    growth, strength = outlook(coach), outlook(coach, "?goal=strength")
    assert [m["movement"] for m in growth["balanced_session"]] == [
        "press",
        "pull",
        "hinge",
        "squat",
    ]
    assert movement(growth, "press")["pattern"] == "vertical-press"
    assert {m["goal"] for m in strength["balanced_session"]} == {"strength"}


def test_an_outlook_stores_nothing(coach: Client) -> None:
    outlook(coach)
    assert coach.get("/v1/athletes/a-03/advice/today").json["verdict"] is None


@pytest.mark.parametrize("query", ["?days=0", "?days=15", "?days=x", "?days=1.5", "?goal=growth"])
def test_a_question_that_cannot_be_meant_gets_422(coach: Client, query: str) -> None:
    assert coach.get(f"{OUTLOOK}{query}").status_code == 422


def test_an_athlete_sees_their_own_outlook_only(athlete: Client) -> None:
    assert athlete.get(OUTLOOK).status_code == 200
    assert athlete.get("/v1/athletes/a-04/outlook").status_code == 404
    assert athlete.get("/v1/athletes/a-99/outlook").status_code == 404


@pytest.mark.parametrize("goal", list(Vocabulary.bundled().goals))
def test_what_was_trained_today_is_a_matter_of_time(coach: Client, goal: str) -> None:
    """Work of this morning holds a muscle group back for hours, never until somebody clears it."""
    block = {"goal": goal, "muscle_groups": ["quadriceps"], "effort": 9, "to_failure": True}
    this_morning = CHEST_DAY | {"starts_at": "2026-03-09T06:00:00+01:00", "blocks": [block]}
    assert coach.post("/v1/sessions", json=this_morning).status_code == 201
    prospects = outlook(coach)["prospects"]
    assert [p for p in prospects if p["stopped"]] == []
    assert all(p["opens_at"] for p in prospects)


def test_a_warning_sign_stops_everything_in_one_sentence(
    coach: Client, coach_browser: Client
) -> None:
    sign = {"athlete_id": "a-03", "date": "2026-03-09", "plan": [], "warning_signs": ["chest-pain"]}
    coach.post("/v1/check-ins", json=sign)
    page = coach_browser.get("/coach/athletes/a-03").text
    assert "nothing until the pain, illness or warning sign is cleared" in page
    assert "no everything" not in page
