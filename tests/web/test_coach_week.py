"""The coach's page of the week: laid out, moved by hand, taken as plans, and laid anew."""

from __future__ import annotations

import html
import re
from typing import Any

from tests.conftest import Client
from tests.web.coach_forms import fault, send
from tests.web.test_coach_plan import planned

PAGE = "/coach/week"
ORDER = {
    "who": "athlete:a-03",
    "from": "2026-03-16",
    "windows/0/weekdays": ["monday", "tuesday", "wednesday", "thursday", "friday"],
    "windows/0/begins": "18:00",
    "windows/0/ends": "19:00",
    "wishes/0/name": "Legs",
    "wishes/0/times": "2",
    "wishes/0/minutes": "60",
    "wishes/0/blocks/0/goal": "hypertrophy",
    "wishes/0/blocks/0/muscle_groups": "quadriceps",
    "wishes/0/blocks/0/sets": "4",
    "fixed/0/name": "Match",
    "fixed/0/date": "2026-03-21",
    "fixed/0/clock": "15:00",
    "fixed/0/minutes": "90",
    "fixed/0/blocks/0/goal": "skill",
    "fixed/0/blocks/0/competition": "yes",
}


def act(browser: Client, do: str, **more: Any) -> Any:
    return send(browser, PAGE, fields=ORDER | more.pop("fields", {}) | {"act": do, **more})


def starts(page: str) -> list[str]:
    return [html.unescape(start) for start in re.findall(r'value="([^"]+)" selected>\w{3} ', page)]


def standing(*times: str) -> dict[str, str]:
    return {
        f"placed/{n}/{part}": value
        for n, at in enumerate(times)
        for part, value in (("athlete", "a-03"), ("name", "Legs"), ("start", at))
    }


def test_a_week_is_laid_out_and_nothing_is_stored_until_it_is_taken(
    coach_browser: Client, coach: Client
) -> None:
    page = act(coach_browser, "lay")
    assert page.status_code == 200
    first, second = starts(page.text)
    assert first < second < "2026-03-20"
    assert "h since growth work" in page.text
    assert "Match" in page.text
    assert page.text.count("If the morning says no: ") == 2
    assert planned(coach, "a-03", first[:10]) is None
    taken = act(coach_browser, "take", fields=standing(first, second))
    assert taken.status_code == 303
    assert "week=2026-03-16" in taken.location
    for start in (first, second):
        [block] = planned(coach, "a-03", start[:10])
        assert (block["starts_at"], block["sets"], block["minutes"]) == (start, 4, 60.0)
    [match] = planned(coach, "a-03", "2026-03-21")
    assert match["competition"] is True


def test_a_session_moved_by_hand_meets_the_rule_that_refuses_it(coach_browser: Client) -> None:
    close = standing("2026-03-16T18:00:00+01:00", "2026-03-17T18:00:00+01:00")
    page = html.unescape(act(coach_browser, "check", fields=close).text)
    assert "Not let through. Growth work before the muscle has had two days" in page
    apart = standing("2026-03-16T18:00:00+01:00", "2026-03-18T18:00:00+01:00")
    assert "Not let through" not in act(coach_browser, "check", fields=apart).text
    late = standing("2026-03-16T18:00:00+01:00", "2026-03-20T18:00:00+01:00")
    page = act(coach_browser, "check", fields=late).text
    assert "Not let through. No growth work, new exercise or hard landing of the legs" in page


def test_the_rest_of_the_week_keeps_what_holds_and_moves_what_does_not(
    coach_browser: Client, coach: Client
) -> None:
    legs = {"goal": "hypertrophy", "muscle_groups": ["quadriceps"], "minutes": 60, "effort": 7}
    easy = {"goal": "steady-endurance", "modality": "cycling", "muscle_groups": []}
    for day in ("2026-03-10", "2026-03-11"):
        at = f"{day}T18:00:00+01:00"
        coach.put(
            f"/v1/athletes/a-03/plans/{day}", json={"plan": [{**legs, "starts_at": at}, easy]}
        )
    page = act(coach_browser, "rest").text
    assert "What no longer holds where it was" in page
    assert "Growth work before the muscle has had two days" in html.unescape(page)
    first, second = starts(page)
    assert "2026-03-10T18:00:00+01:00" in (first, second)
    form = {
        name: html.unescape(value)
        for name, value in re.findall(
            r'name="(rest|days|from|wishes/0/name|wishes/0/blocks/0/other)"[^>]* value="([^"]*)"',
            page,
        )
    }
    named = standing(first, second) | {f"placed/{n}/name": form["wishes/0/name"] for n in range(2)}
    gone = dict.fromkeys((name for name in ORDER if name.startswith("fixed/")), "")
    taken = act(coach_browser, "take", fields=gone | form | named)
    assert taken.status_code == 303
    moved = next(start for start in (first, second) if start[:10] != "2026-03-10")
    assert len(planned(coach, "a-03", "2026-03-11")) == 1 + (moved[:10] == "2026-03-11")
    assert {block.get("effort") for block in planned(coach, "a-03", moved[:10])} >= {7.0}


def test_what_has_no_place_any_more_is_taken_out_of_the_plan(
    coach_browser: Client, coach: Client
) -> None:
    today, legs = "2026-03-09", {"goal": "hypertrophy", "muscle_groups": ["quadriceps"]}
    plan = [{**legs, "minutes": 60, "starts_at": f"{today}T18:00:00+01:00"}]
    coach.put(f"/v1/athletes/a-03/plans/{today}", json={"plan": plan})
    sore = {"athlete_id": "a-03", "date": today, "plan": plan, "soreness": {"quadriceps": 8}}
    coach.post("/v1/check-ins", json=sore)
    page = act(coach_browser, "rest", fields={"windows/0/weekdays": "monday"}).text
    assert "Take what has no place out of the plan" in page
    assert "Take it as plans" not in page
    form = dict.fromkeys((name for name in ORDER if name.startswith("fixed/")), "")
    form |= dict(re.findall(r'name="(rest|days|from|laid_for)"[^>]* value="([^"]*)"', page))
    other = act(coach_browser, "take", fields=form | {"who": "athlete:a-05"})
    assert other.status_code == 422
    assert planned(coach, "a-03", today)
    assert act(coach_browser, "take", fields=form).status_code == 303
    assert not planned(coach, "a-03", today)


def test_a_week_of_something_else_than_was_laid_out_is_not_taken(
    coach_browser: Client, coach: Client
) -> None:
    start = "2026-03-16T18:00:00+01:00"
    for control, value in (
        ("who", "athlete:a-04"),
        ("from", "2026-03-23"),
        ("wishes/0/name", "Back"),
    ):
        page = act(coach_browser, "take", fields=standing(start) | {control: value, "rest": "yes"})
        assert page.status_code == 422
        assert "Lay the week out again first" in page.text
    assert planned(coach, "a-03", "2026-03-16") is None


def test_what_is_wrong_stands_beside_its_control(coach_browser: Client) -> None:
    page = act(coach_browser, "lay", fields={"wishes/0/times": "often", "fixed/0/clock": ""})
    assert page.status_code == 422
    assert fault(page.text, "wishes/0/times")
    assert fault(page.text, "fixed/0/clock")
    nothing = act(coach_browser, "lay", fields={n: "" for n in ORDER if n.startswith("wishes/")})
    assert fault(nothing.text, "wishes/0/name")


AWAY = {
    "travel/0/leaves/date": "2026-03-16",
    "travel/0/leaves/clock": "06:00",
    "travel/0/arrives/date": "2026-03-18",
    "travel/0/arrives/clock": "21:00",
    "travel/0/time_zones_crossed": "7",
}


def test_nothing_is_laid_out_on_the_way(coach_browser: Client) -> None:
    no_match = dict.fromkeys((name for name in ORDER if name.startswith("fixed/")), "")
    page = act(coach_browser, "lay", fields=AWAY | no_match)
    [start] = starts(page.text)
    assert start > "2026-03-19"
    checked = act(coach_browser, "check", fields=AWAY | standing("2026-03-17T18:00:00+01:00"))
    assert "Nobody trains on the way." in checked.text


def test_a_journey_that_ends_before_it_begins_is_named(coach_browser: Client) -> None:
    page = act(coach_browser, "lay", fields=AWAY | {"travel/0/arrives/date": "2026-03-15"})
    assert page.status_code == 422
    assert fault(page.text, "travel/0/arrives/clock") == "Must end after it begins."


def test_a_fixed_time_of_a_group_with_several_clocks_is_asked_about(
    coach_browser: Client, coach: Client
) -> None:
    coach.put("/v1/athletes/a-77", json={"name": "Ava", "time_zone": "America/New_York"})
    coach.put("/v1/groups/all", json={"name": "All", "athletes": ["a-03", "a-77"]})
    page = act(coach_browser, "lay", fields={"who": "group:all"})
    assert "Mara (Europe/Berlin)" in fault(page.text, "fixed/0/clock")
    own_windows = {"who": "group:all"} | {n: "" for n in ORDER if n.startswith("fixed/")}
    laid = act(coach_browser, "lay", fields=own_windows)
    assert {start[-14:] for start in starts(laid.text) if "T" in start} == {
        "18:00:00+01:00",
        "18:00:00-04:00",
    }


def test_the_morning_names_whose_rest_of_the_week_no_longer_holds(
    coach_browser: Client, coach: Client
) -> None:
    legs = {"goal": "hypertrophy", "muscle_groups": ["quadriceps"], "minutes": 60}
    for day in ("2026-03-09", "2026-03-12"):
        at = f"{day}T18:00:00+01:00"
        coach.put(f"/v1/athletes/a-03/plans/{day}", json={"plan": [{**legs, "starts_at": at}]})
    heading = "The rest of the week no longer holds"
    well = {"pain": [], "illness": "none", "warning_signs": []}
    morning = well | {"athlete_id": "a-03", "date": "2026-03-09", "plan": [legs]}
    coach.post("/v1/check-ins", json=morning | {"soreness": {"quadriceps": 0}})
    assert heading not in coach_browser.get("/coach/").text
    coach.post("/v1/check-ins", json=morning | {"soreness": {"quadriceps": 6}})
    for page in ("/coach/", PAGE):
        shown = coach_browser.get(page).text
        assert heading in shown
        assert 'name="who" value="athlete:a-03"' in shown
        assert "Mon 9 March, 18:00" in shown
    moves = send(coach_browser, PAGE, fields={"who": "athlete:a-03", "act": "rest"}).text
    assert "What no longer holds where it was" in moves
