"""A check-in that the coach enters for an athlete without a phone."""

from __future__ import annotations

from typing import Any

from tests.conftest import Client
from tests.web.coach_forms import send

PAGE = "/coach/athletes/a-03/check-in"
WELL = {"pain": "none", "illness": "none", "warning_signs": "none", "plan": "off"}


def test_a_coach_enters_and_corrects_what_an_athlete_says(
    coach_browser: Client, coach: Client
) -> None:
    said: dict[str, Any] = WELL | {
        "fields": {"sleep/hours": "7.5", "soreness/quadriceps": "4"},
        "fatigue": "3",
    }
    sent = send(coach_browser, PAGE, **said)
    assert sent.status_code == 303
    shown = coach_browser.get(PAGE).text
    assert "Correct your check-in" in shown
    assert "You enter this for Mara." in shown
    advice = coach.get("/v1/athletes/a-03/advice/today").json
    record = coach.get(f"/v1/advice/{advice['advice_id']}").json
    assert record["check_in"]["soreness"] == {"quadriceps": 4}
    assert record["check_in"]["sleep"] == {"hours": 7.5}
    assert record["posted_by"].startswith("key-")


def test_a_warning_sign_counts_whatever_else_is_wrong(coach_browser: Client, coach: Client) -> None:
    signs: dict[str, Any] = {"warning_signs": "chest-pain", "fields": {"sleep/hours": "long"}}
    send(coach_browser, PAGE, **signs)
    assert coach.get("/v1/athletes/a-03/advice/today").json["verdict"] == "rest"
    wrong = send(coach_browser, "/coach/athletes/a-04/check-in", fatigue="3")
    assert (wrong.status_code, "Not sent yet" in wrong.text) == (422, True)
    assert send(coach_browser, PAGE, "/coach/athletes/a-99/check-in", plan="off").status_code == 404
