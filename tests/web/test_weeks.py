"""Weeks over HTTP: laid out, and lived through day by day."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any

import pytest

from tests.conftest import Client, Clock
from tests.factories import BERLIN

EVENINGS = [
    {
        "weekdays": ["monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday"],
        "begins": "18:00",
        "ends": "20:00",
    }
]


def wish(name: str, times: int, *groups: str, goal: str = "hypertrophy", **more: Any) -> Any:
    block = {"goal": goal, "muscle_groups": list(groups), "sets": 4, "minutes": 60}
    return {"name": name, "times": times, "minutes": 60, "blocks": [block], **more}


def order(*wishes: Any, **more: Any) -> Any:
    body = {"athlete_id": "a-03", "from": "2026-03-10", "windows": EVENINGS}
    return body | {"wishes": list(wishes)} | more


def week_of(client: Client, body: Any, query: str = "") -> Any:
    answer = client.post(f"/v1/weeks{query}", json=body)
    assert answer.status_code == 200, answer.json
    [week] = answer.json["weeks"]
    return week


def test_a_week_that_is_shown_is_let_through_day_by_day(coach: Client, clock: Clock) -> None:
    """Each day's check-in with low soreness and its plan gets train-as-planned, and each session is
    logged as planned."""
    wishes = (wish("Legs", 2, "quadriceps"), wish("Push", 2, "chest", "triceps"))
    strength = wish("Squats", 2, "quadriceps", goal="strength")
    week = week_of(coach, order(*wishes, strength))
    assert (len(week["sessions"]), week["unplaced"], week["complete"]) == (6, [], True)
    by_day: dict[str, list[Any]] = {}
    for session in week["sessions"]:
        by_day.setdefault(session["starts_at"][:10], []).append(session)
    for day, sessions in by_day.items():
        clock.set(f"{day}T07:00:00+01:00")
        plan = [b | {"starts_at": s["starts_at"]} for s in sessions for b in s["blocks"]]
        body = {"athlete_id": "a-03", "date": day, "plan": plan, "pain": [], "illness": "none"}
        soreness = dict.fromkeys(("quadriceps", "chest", "triceps"), 1)
        told = coach.post(
            "/v1/check-ins", json=body | {"soreness": soreness, "warning_signs": []}
        ).json
        assert told["verdict"] == "train-as-planned", told
        clock.set(f"{day}T21:00:00+01:00")
        for session in sessions:
            done = {key: session[key] for key in ("starts_at", "minutes", "blocks")}
            assert (
                coach.post("/v1/sessions", json={"athlete_id": "a-03", **done}).status_code == 201
            )


def test_what_lets_a_session_through_is_said(coach: Client) -> None:
    week = week_of(coach, order(wish("Legs", 2, "quadriceps")))
    first, second = week["sessions"]
    assert first["margin"] is None
    hours = datetime.fromisoformat(second["starts_at"]) - datetime.fromisoformat(first["starts_at"])
    assert second["margin"]["hours"] == hours / timedelta(hours=1)
    assert "h since growth work" in second["text"]
    assert week["sets"] == [{"muscle_group": "quadriceps", "sets": 8}]


def test_what_has_no_place_is_named_with_its_rule_and_the_least_change(coach: Client) -> None:
    week = week_of(coach, order(wish("Legs", 4, "quadriceps")))
    assert len(week["sessions"]) == 3
    [left_out] = week["unplaced"]
    assert (left_out["times"], left_out["rule"]["id"]) == (1, "growth-work-too-soon")
    assert left_out["least_change"] == "one-week-only"
    german = week_of(coach, order(wish("Legs", 4, "quadriceps")), "?lang=de")["unplaced"][0]
    assert "kein Platz für 1" in german["text"]


def test_an_open_concern_keeps_sessions_out(coach: Client) -> None:
    body = {"athlete_id": "a-03", "date": "2026-03-09", "plan": [], "warning_signs": ["chest-pain"]}
    coach.post("/v1/check-ins", json=body)
    week = week_of(coach, order(wish("Legs", 1, "quadriceps")))
    assert week["sessions"] == []
    assert week["unplaced"][0]["rule"] is not None
    assert week["unplaced"][0]["least_change"] is None


def test_the_rest_of_a_week_is_laid_anew_with_few_moves(coach: Client, clock: Clock) -> None:
    asked = order(wish("Legs", 2, "quadriceps"), wish("Push", 2, "chest"))
    kept = [{k: s[k] for k in ("name", "starts_at")} for s in week_of(coach, asked)["sessions"]]
    assert week_of(coach, asked | {"keep": kept})["no_longer_holds"] == []
    extra = datetime.fromisoformat(kept[-1]["starts_at"]) - timedelta(hours=24)
    clock.set((extra + timedelta(hours=2)).isoformat())
    block = {"goal": "hypertrophy", "muscle_groups": ["quadriceps", "chest"], "sets": 4}
    session = {"athlete_id": "a-03", "starts_at": extra.isoformat(), "minutes": 60}
    assert coach.post("/v1/sessions", json=session | {"blocks": [block]}).status_code == 201
    rest = [one for one in kept if one["starts_at"] > extra.isoformat()]
    names = {one["name"] for one in rest}
    once = [wish("Legs", 1, "quadriceps"), wish("Push", 1, "chest")]
    again = order(*(w for w in once if w["name"] in names), keep=rest, repeats=False)
    week = week_of(coach, again | {"from": extra.astimezone(BERLIN).date().isoformat()})
    assert {one["name"] for one in week["no_longer_holds"]} == names


def test_a_group_shares_its_room(coach: Client) -> None:
    coach.put("/v1/athletes/a-06", json={"name": "Nico", "time_zone": "Europe/Berlin"})
    coach.put("/v1/groups/team", json={"name": "Team", "athletes": ["a-03", "a-06"]})
    squats = wish("Squats", 1, "quadriceps", goal="strength", room="rack")
    body = order(squats, room=[{"name": "rack", "places": 1}], group="team")
    del body["athlete_id"]
    evening = [{"weekdays": ["tuesday"], "begins": "12:00", "ends": "14:00"}]
    weeks = coach.post("/v1/weeks", json=body | {"windows": evening}).json["weeks"]
    starts = [datetime.fromisoformat(s["starts_at"]) for week in weeks for s in week["sessions"]]
    assert len({start.timestamp() for start in starts}) == len(starts) == 2


@pytest.mark.parametrize(
    ("change", "pointer"),
    [
        ({"group": "team"}, "/athlete_id"),
        ({"windows": [EVENINGS[0] | {"ends": "17:00"}]}, "/windows/0/ends"),
        ({"windows": [EVENINGS[0] | {"begins": "6 pm"}]}, "/windows/0/begins"),
        ({"wishes": []}, "/wishes"),
        ({"from": "2026-02-01"}, "/from"),
    ],
)
def test_what_cannot_be_meant_is_refused_with_its_place(
    coach: Client, change: Any, pointer: str
) -> None:
    answer = coach.post("/v1/weeks", json=order(wish("Legs", 1, "quadriceps")) | change)
    assert answer.status_code == 422
    assert pointer in {error["pointer"] for error in answer.json["errors"]}


def test_sessions_moved_by_hand_are_judged_where_they_stand(coach: Client) -> None:
    def checked(*starts: str) -> Any:
        keep = [{"name": "Legs", "starts_at": start} for start in starts]
        body = order(wish("Legs", 2, "quadriceps"), keep=keep)
        [week] = coach.post("/v1/weeks/check", json=body).json["weeks"]
        return week

    near = checked("2026-03-10T18:00:00+01:00", "2026-03-11T18:00:00+01:00")
    [refused] = near["no_longer_holds"]
    assert refused["rule"]["id"] == "growth-work-too-soon"
    assert [one["starts_at"][:10] for one in near["sessions"]] == ["2026-03-10"]
    apart = checked("2026-03-10T18:00:00+01:00", "2026-03-12T18:00:00+01:00")
    assert apart["no_longer_holds"] == []
    assert apart["complete"]
    assert len(apart["sessions"]) == 2


def test_the_fallback_of_a_session_is_let_through_on_a_sore_morning(
    coach: Client, clock: Clock
) -> None:
    wishes = (wish("Legs", 1, "quadriceps"), wish("Talk", 1, goal="skill"))
    week = week_of(coach, order(*wishes))
    told = {one["name"]: one for one in week["sessions"]}
    assert told["Talk"]["fallback"] == {"sessions": [], "text": "If the morning says no: rest."}
    [instead] = told["Legs"]["fallback"]["sessions"]
    day, block = told["Legs"]["starts_at"][:10], {k: v for k, v in instead.items() if v is not None}
    del block["because"]
    clock.set(f"{day}T07:00:00+01:00")
    morning = {"athlete_id": "a-03", "date": day, "soreness": {"quadriceps": 6}, "pain": []}
    well = {"illness": "none", "warning_signs": []}
    legs = told["Legs"]["blocks"]
    for plan, verdict in ((legs, "swap-to-low-damage"), ([block], "train-as-planned")):
        answer = coach.post("/v1/check-ins", json=morning | well | {"plan": plan})
        assert answer.json["verdict"] == verdict, answer.json


def test_growth_work_is_not_laid_onto_what_hurts_now(coach: Client, clock: Clock) -> None:
    """No work in the log explains the soreness, and nothing else is known of the athlete."""
    clock.set("2026-03-09T07:00:00+01:00")
    told = {"athlete_id": "a-03", "date": "2026-03-09", "plan": [], "soreness": {"quadriceps": 8}}
    assert coach.post("/v1/check-ins", json=told).status_code == 201
    keep = [{"name": "Legs", "starts_at": "2026-03-10T18:00:00+01:00"}]
    body = order(wish("Legs", 1, "quadriceps"), keep=keep)
    [week] = coach.post("/v1/weeks/check", json=body).json["weeks"]
    [refused] = week["no_longer_holds"]
    assert "That soreness is low is less likely than 8 in 10." in refused["text"]
    laid = week_of(coach, order(wish("Legs", 1, "quadriceps"), days=7))
    assert all(one["starts_at"] > "2026-03-11T12" for one in laid["sessions"])


def test_the_first_days_after_a_long_journey_are_named(coach: Client) -> None:
    lands = {"leaves_at": "2026-03-10T01:00:00Z", "arrives_at": "2026-03-10T13:00:00Z"}
    easy = wish("Ride", 1, goal="steady-endurance", preferred_weekdays=["wednesday"])
    easy["blocks"] = [{"goal": "steady-endurance", "modality": "cycling", "minutes": 60}]
    for zones, is_told in ((8, True), (1, False)):
        week = week_of(coach, order(easy, travel=[lands | {"time_zones_crossed": zones}]))
        [ride] = week["sessions"]
        assert ride["starts_at"].startswith("2026-03-11")
        assert ("The first days after crossing time zones." in ride["text"]) is is_told
