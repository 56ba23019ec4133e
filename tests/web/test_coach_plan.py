"""The coach's page of plans: a week for a group, and what becomes of today's advice."""

from __future__ import annotations

import html
import re
from datetime import date, timedelta
from typing import Any

import pytest

from tests.conftest import Client, Clock
from tests.web.coach_forms import fault, send
from tests.web.test_plans import SORE

PAGE = "/coach/plan"
TEAM = {"who": "group:team"}
GROWTH = {"goal": "hypertrophy", "muscle_groups": ["quadriceps", "glutes"], "clock": "18:00"}
MONDAY, WEDNESDAY = "2026-03-09", "2026-03-11"


@pytest.fixture(autouse=True)
def _team(coach: Client) -> None:
    coach.put("/v1/groups/team", json={"name": "Team", "athletes": ["a-03", "a-04"]})


def planned(coach: Client, athlete_id: str, on: str) -> Any:
    answer = coach.get(f"/v1/athletes/{athlete_id}/plans/{on}")
    return answer.json["plan"] if answer.status_code == 200 else None


def test_a_group_gets_a_session_on_several_days_each_at_the_clock_where_they_live(
    coach_browser: Client, coach: Client
) -> None:
    more = {"modality": "free-weights", "minutes": "60", "sets": "4", "effort": "7,5"}
    added = send(coach_browser, PAGE, **TEAM, **GROWTH, **more, days=[MONDAY, WEDNESDAY])
    assert added.status_code == 303
    [block] = planned(coach, "a-03", WEDNESDAY)
    assert block == {
        "goal": "hypertrophy",
        "muscle_groups": ["quadriceps", "glutes"],
        "modality": "free-weights",
        "starts_at": "2026-03-11T18:00:00+01:00",
        "minutes": 60.0,
        "sets": 4,
        "effort": 7.5,
    }
    assert planned(coach, "a-04", WEDNESDAY)[0]["starts_at"] == "2026-03-11T18:00:00+09:00"
    assert planned(coach, "a-05", WEDNESDAY) is None
    easy = {"goal": "steady-endurance", "modality": "cycling", "days": WEDNESDAY}
    send(coach_browser, PAGE, who="athlete:a-04", **easy)
    page = coach_browser.get(f"{PAGE}?who=group:team&week=2026-03-13").text
    assert page.count("18:00 growth work, quadriceps and glutes") >= 2
    assert "(Tomo)" in page


def test_a_session_is_taken_out_a_day_made_free_and_a_day_cleared(
    coach_browser: Client, coach: Client
) -> None:
    send(coach_browser, PAGE, **TEAM, **GROWTH, days=[MONDAY, WEDNESDAY])
    page = coach_browser.get(f"{PAGE}?who=group:team").text
    key = html.unescape(re.findall(r'name="session" value="([^"]+)"', page)[0])
    day = f"{PAGE}/day"
    send(coach_browser, PAGE, day, **TEAM, act="take", days=WEDNESDAY, session=key)
    assert planned(coach, "a-03", WEDNESDAY) is planned(coach, "a-04", WEDNESDAY) is None
    send(coach_browser, PAGE, day, **TEAM, act="off", days=[MONDAY])
    assert planned(coach, "a-03", MONDAY) == []
    assert "day off" in coach_browser.get(f"{PAGE}?who=group:team").text
    send(coach_browser, PAGE, day, **TEAM, act="clear", days=[MONDAY])
    assert planned(coach, "a-03", MONDAY) is None
    assert send(coach_browser, PAGE, day, **TEAM, act="take", session="[]").status_code == 422


def test_last_week_is_copied_across_the_change_of_clocks(
    coach_browser: Client, coach: Client
) -> None:
    send(coach_browser, PAGE, **TEAM, **GROWTH, days=["2026-03-23", "2026-03-27"])
    own = {"goal": "skill", "days": "2026-03-30"}
    send(coach_browser, PAGE, who="athlete:a-04", **own)
    send(coach_browser, PAGE, f"{PAGE}/copy", **TEAM, week="2026-04-01")
    assert planned(coach, "a-03", "2026-04-03")[0]["starts_at"] == "2026-04-03T18:00:00+02:00"
    assert [block["goal"] for block in planned(coach, "a-04", "2026-03-30")] == ["skill"]
    send(coach_browser, PAGE, f"{PAGE}/copy", **TEAM, week="2026-04-01", replacing="yes")
    assert [block["goal"] for block in planned(coach, "a-04", "2026-03-30")] == ["hypertrophy"]


def test_a_start_in_the_night_after_its_day_is_copied_and_taken_out(
    coach_browser: Client, coach: Client
) -> None:
    late = {"goal": "skill", "starts_at": "2026-03-03T00:30:00.500000+01:00"}
    coach.put("/v1/athletes/a-03/plans/2026-03-02", json={"plan": [late]})
    send(coach_browser, PAGE, f"{PAGE}/copy", **TEAM, week=MONDAY)
    assert planned(coach, "a-03", MONDAY)[0]["starts_at"] == "2026-03-10T00:30:00.500000+01:00"
    page = coach_browser.get(f"{PAGE}?who=athlete:a-03").text
    key = html.unescape(re.findall(r'name="session" value="([^"]+)"', page)[0])
    send(coach_browser, PAGE, f"{PAGE}/day", **TEAM, act="take", days=MONDAY, session=key)
    assert planned(coach, "a-03", MONDAY) is None


def test_what_todays_advice_became_is_said_on_the_page(
    coach_browser: Client, coach: Client, clock: Clock
) -> None:
    coach.post("/v1/check-ins", json=SORE)
    coach.put(f"/v1/athletes/a-03/plans/{MONDAY}", json={"plan": SORE["plan"]})
    clock.set("2026-03-09T10:00:00+01:00")
    easy = {"goal": "steady-endurance", "modality": "swimming", "minutes": "30"}
    send(coach_browser, PAGE, f"{PAGE}/day", **TEAM, act="clear", days=MONDAY)
    send(coach_browser, PAGE, **TEAM, **easy, days=MONDAY)
    page = html.unescape(coach_browser.get(f"{PAGE}?who=group:team").text)
    assert "Today's advice is now" in page
    assert re.search(r"<strong>Mara</strong> \(since 10:00\): Train as planned", page)
    later = date.fromisoformat(MONDAY) + timedelta(days=7)
    assert "advice is now" not in coach_browser.get(f"{PAGE}?who=group:team&week={later}").text


def test_what_is_wrong_is_said_beside_its_field_and_nobody_gets_half_a_plan(
    coach_browser: Client, coach: Client
) -> None:
    wrongs: dict[str, dict[str, Any]] = {
        "goal": {"goal": ""},
        "clock": {"clock": "late"},
        "minutes": {"minutes": "an hour"},
        "sets": {"sets": "-1"},
        "pattern": {"pattern": "squat"},
        "days": {"days": []},
    }
    for control, wrong in wrongs.items():
        fields: dict[str, Any] = {**TEAM, **GROWTH, "days": [MONDAY], **wrong}
        refused = send(coach_browser, PAGE, **fields)
        assert (refused.status_code, bool(fault(refused.text, control))) == (422, True), control
    long: dict[str, Any] = {**TEAM, "goal": "skill", "minutes": "800", "days": [MONDAY, WEDNESDAY]}
    assert send(coach_browser, PAGE, **long).status_code == 303
    assert send(coach_browser, PAGE, **long).status_code == 422
    assert len(planned(coach, "a-03", MONDAY)) == 1
