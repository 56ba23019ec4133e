"""The coach's page of the training log: a session for a group, with who was there and how it
went."""

from __future__ import annotations

import re
from typing import Any

import pytest

from tests.conftest import Client, Clock
from tests.web.coach_forms import fault, send
from tests.web.test_plans import SORE

PAGE, DAY = "/coach/log", "2026-03-08"
TEAM = {"who": "group:team", "day": DAY}
LEGS = {"goal": "hypertrophy", "muscle_groups": "quadriceps", "clock": "18:00", "minutes": "60"}


@pytest.fixture(autouse=True)
def _team(coach: Client) -> None:
    team = ["a-03", "a-04", "a-05"]
    coach.put("/v1/groups/team", json={"name": "Team", "athletes": team})


def logged(coach: Client, athlete_id: str) -> Any:
    return coach.get(f"/v1/athletes/{athlete_id}/sessions").json["sessions"]


def test_who_was_there_gets_the_session_with_their_own_effort_and_output(
    coach_browser: Client, coach: Client
) -> None:
    own = {"output/a-04": "dropped", "drop/a-04": "8 %", "rpe/a-04": "9", "output/a-03": "held"}
    sent = send(
        coach_browser,
        PAGE,
        **TEAM,
        **LEGS,
        sets="4",
        effort="7",
        there=["a-03", "a-04"],
        fields=own,
    )
    assert sent.status_code == 303
    page = coach_browser.get(sent.headers["Location"]).text
    assert "Logged for 2." in page
    [mara], [tomo] = logged(coach, "a-03"), logged(coach, "a-04")
    assert logged(coach, "a-05") == []
    assert (mara["starts_at"], mara["rpe"]) == ("2026-03-08T18:00:00+01:00", 7.0)
    assert (mara["output"], mara["blocks"][0]["sets"]) == ("held", 4)
    assert (tomo["rpe"], tomo["output_drop_percent"]) == (9.0, 8.0)
    assert tomo["starts_at"] == "2026-03-08T18:00:00+09:00"
    send(coach_browser, PAGE, f"{PAGE}/{mara['session_id']}/remove", **TEAM)
    assert logged(coach, "a-03") == []


def test_each_gets_what_was_planned_for_them(coach_browser: Client, coach: Client) -> None:
    for athlete_id, goal in (("a-03", "strength"), ("a-04", "hypertrophy")):
        block = {"goal": goal, "muscle_groups": ["chest"], "minutes": 45}
        plan = [block | {"starts_at": "2026-03-08T08:00:00+01:00"}]
        coach.put(f"/v1/athletes/{athlete_id}/plans/{DAY}", json={"plan": plan})
    page = coach_browser.get(f"{PAGE}?who=group:team&day={DAY}").text
    ticked = re.findall(r'name="there" value="(a-0\d)" ?(?:id="[^"]+" )?checked', page)
    assert ticked == ["a-03", "a-04"]
    send(coach_browser, PAGE, **TEAM, source="plan", there=["a-03", "a-04"])
    assert logged(coach, "a-03")[0]["blocks"][0]["goal"] == "strength"
    assert logged(coach, "a-04")[0]["minutes"] == 45.0
    unplanned = send(coach_browser, PAGE, **TEAM, source="plan", there=["a-05"])
    assert "Nothing was planned for Lena" in fault(unplanned.text, "there")


def test_what_todays_advice_became_by_the_session_is_said(
    coach_browser: Client, coach: Client, clock: Clock
) -> None:
    fresh = {"soreness": {"quadriceps": 0}}
    assert coach.post("/v1/check-ins", json=SORE | fresh).json["verdict"] == "train-as-planned"
    clock.set("2026-03-09T08:00:00+01:00")
    sent = send(coach_browser, PAGE, **TEAM, **LEGS, there="a-03")
    page = coach_browser.get(sent.headers["Location"]).text
    assert re.search(r"<strong>Mara</strong>: Swap to low-damage work", page)


def test_what_is_wrong_is_said_beside_its_field_and_nobody_is_logged(
    coach_browser: Client, coach: Client
) -> None:
    wrongs: dict[str, dict[str, Any]] = {
        "there": {"there": []},
        "goal": {"goal": ""},
        "minutes": {"minutes": "long"},
        "drop/a-04": {"fields": {"output/a-04": "dropped"}},
        "rpe/a-03": {"fields": {"rpe/a-03": "12"}},
        "clock": {"clock": "23:30", "day": "2026-03-09"},
    }
    for control, wrong in wrongs.items():
        sent: dict[str, Any] = {**TEAM, **LEGS, "there": ["a-03", "a-04"], **wrong}
        refused = send(coach_browser, PAGE, **sent)
        assert (refused.status_code, bool(fault(refused.text, control))) == (422, True), control
    assert logged(coach, "a-03") == logged(coach, "a-04") == []
    of_tomo = {"output/a-04": "dropped", "drop/a-04": "much"}
    refused = send(coach_browser, PAGE, **TEAM, **LEGS, there="a-04", fields=of_tomo)
    assert ">Drop in %, Tomo</a>" in refused.text


def test_what_is_in_the_log_already_is_not_logged_twice(
    coach_browser: Client, coach: Client
) -> None:
    form: dict[str, Any] = {**TEAM, **LEGS, "effort": "7"}
    send(coach_browser, PAGE, **form, there=["a-03"])
    again = send(coach_browser, PAGE, **form, there=["a-03", "a-05"])
    assert (again.status_code, "already: Mara" in fault(again.text, "there")) == (422, True)
    assert (len(logged(coach, "a-03")), logged(coach, "a-05")) == (1, [])
    send(coach_browser, PAGE, **form, there=["a-03", "a-05"], again="skip")
    assert (len(logged(coach, "a-03")), len(logged(coach, "a-05"))) == (1, 1)


def test_who_rests_or_is_logged_is_not_ticked(coach_browser: Client, coach: Client) -> None:
    coach.post("/v1/check-ins", json=SORE | {"date": DAY, "warning_signs": ["fainting"]})
    send(coach_browser, PAGE, **TEAM, **LEGS, there=["a-04"])
    page = coach_browser.get(f"{PAGE}?who=group:team&day={DAY}").text
    assert re.findall(r'name="there" value="(a-0\d)" ?(?:id="[^"]+" )?checked', page) == ["a-05"]
