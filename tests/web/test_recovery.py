"""Own recovery over HTTP: how long soreness lasts for whom."""

from __future__ import annotations

import re
from datetime import datetime, timedelta
from typing import Any

import pytest

from tests.conftest import Client
from tests.factories import NOW

RECOVERY = "/v1/athletes/a-03/recovery"


def recovery(client: Client, query: str = "") -> Any:
    answer = client.get(f"{RECOVERY}{query}")
    assert answer.status_code == 200
    return answer.json


def train(client: Client, starts_at: datetime, group: str = "quadriceps") -> None:
    block = {"goal": "hypertrophy", "muscle_groups": [group], "sets": 5}
    session = {"athlete_id": "a-03", "starts_at": starts_at.isoformat(), "minutes": 60}
    assert client.post("/v1/sessions", json=session | {"blocks": [block]}).status_code == 201


def check_in(client: Client, ago: int, soreness: float, **more: object) -> None:
    day = (NOW - timedelta(days=ago)).date().isoformat()
    body = {"athlete_id": "a-03", "date": day, "soreness": {"quadriceps": soreness}, "plan": []}
    assert client.post("/v1/check-ins", json=body | more).status_code == 201


def weeks_of_training(client: Client, weeks: int) -> None:
    """Squats each week in the evening; 5 and 4 on the next mornings, 1 on the third, then 0."""
    for week in range(1, weeks + 1):
        train(client, NOW.replace(hour=18, minute=0) - timedelta(days=7 * week + 3))
        for ago, soreness in ((2, 5), (1, 4), (0, 1), (-1, 0), (-2, 0), (-3, 0)):
            check_in(client, 7 * week + ago, soreness)


def test_the_athletes_page_draws_each_episode(coach: Client, coach_browser: Client) -> None:
    weeks_of_training(coach, 5)
    page = coach_browser.get("/coach/athletes/a-03").text
    [picture] = re.findall(r'<svg class="chart episodes".*?</svg>', page, re.DOTALL)
    assert "quadriceps: 5 times seen" in picture
    assert picture.count('<path d="M') == 5
    assert "Quadriceps: usually under 3 after" in page


def test_who_has_no_log_has_nothing_to_tell(coach: Client) -> None:
    told = recovery(coach)
    assert (told["muscle_groups"], told["against_squad"]) == ([], None)
    assert (told["for"], told["low_under"]) == ("growth", 3)
    assert "The rules still decide" in told["note"]


def test_the_usual_hours_are_told_with_their_range_and_how_often_they_were_seen(
    coach: Client,
) -> None:
    weeks_of_training(coach, 6)
    [group] = recovery(coach)["muscle_groups"]
    assert (group["muscle_group"], group["times_seen"], group["basis"]) == ("quadriceps", 6, "own")
    assert 37 <= group["half_from_hours"] <= group["usual_hours"] <= group["half_to_hours"] <= 61
    assert group["under_way"] is None
    assert group["text"] == (
        f"Quadriceps: usually under 3 after {group['usual_hours']} h (6 times seen; half of the "
        f"time {group['half_from_hours']} to {group['half_to_hours']} h)."
    )
    german = recovery(coach, "?lang=de")["muscle_groups"][0]["text"]
    assert "6-mal beobachtet" in german


def test_what_is_under_way_has_chances_that_grow(coach: Client) -> None:
    weeks_of_training(coach, 6)
    train(coach, NOW - timedelta(hours=36))
    check_in(coach, 0, 4)
    [group] = recovery(coach)["muscle_groups"]
    under_way = group["under_way"]
    assert under_way["sore_hours"] == 36.1
    chances = [chance["in_ten"] for chance in under_way["chances"]]
    assert chances == sorted(chances)
    assert chances[0] < 5 < chances[-1] == 9
    assert under_way["likely_at"] < under_way["chances"][-1]["at"]
    assert f"{chances[0]} in 10" in group["text"]
    assert chances.count(9) > 1
    assert group["text"].count("9 in 10") == 1
    assert group["text"].endswith(": 9 in 10.")


def test_an_own_usual_that_counted_is_named_wherever_hours_are_told(
    coach: Client, coach_browser: Client, client: Client, path: str
) -> None:
    """Squats each week, and never under 4 again."""
    for week in range(10, 0, -1):
        train(coach, NOW.replace(hour=18, minute=0) - timedelta(days=7 * week + 3))
        for ago, soreness in ((2, 6), (1, 6), (0, 5), (-1, 4), (-2, 4), (-3, 4), (-4, 4)):
            check_in(coach, 7 * week + ago, soreness)
    train(coach, NOW - timedelta(hours=36))
    check_in(coach, 0, 6)
    told = recovery(coach)
    [group] = told["muscle_groups"]
    assert (group["times_seen"], group["usual_soreness"]) == (7, 4)
    usually = f"Quadriceps: usually back to the usual 4 after {group['usual_hours']} h"
    assert group["text"].startswith(usually)
    assert "was under 3 or back to an own usual, from check-ins" in told["note"]
    [ahead] = coach.get("/v1/athletes/a-03/outlook").json["recovery"]
    assert ahead["text"].startswith(usually)
    assert usually in client.get(path).text
    assert usually in coach_browser.get("/coach/athletes/a-03").text
    german = recovery(coach, "?lang=de")["muscle_groups"][0]["text"]
    assert "meist wieder bei den üblichen 4 nach" in german
    force = recovery(coach, "?for=force")["muscle_groups"][0]
    assert (force["usual_soreness"], "usually under 5 after" in force["text"]) == (None, True)
    legs = {"name": "Legs", "minutes": 60}
    blocks = [{"goal": "hypertrophy", "muscle_groups": ["quadriceps"], "sets": 3}]
    order = {
        "athlete_id": "a-03",
        "from": (NOW + timedelta(days=1)).date().isoformat(),
        "windows": [{"weekdays": ["friday", "saturday"], "begins": "17:00", "ends": "19:00"}],
        "wishes": [legs | {"times": 1, "blocks": blocks}],
    }
    [week] = coach.post("/v1/weeks", json=order).json["weeks"]
    assert "Quadriceps back to the usual 4: " in week["sessions"][0]["text"]


def test_a_time_can_be_asked_for(coach: Client) -> None:
    weeks_of_training(coach, 6)
    train(coach, NOW - timedelta(hours=36))
    check_in(coach, 0, 4)
    at = (NOW + timedelta(hours=30)).isoformat()
    [group] = recovery(coach, f"?at={at.replace('+', '%2B')}")["muscle_groups"]
    [chance] = group["under_way"]["chances"]
    assert datetime.fromisoformat(chance["at"]) == datetime.fromisoformat(at)


def test_no_chance_is_told_of_too_little(coach: Client) -> None:
    weeks_of_training(coach, 2)
    train(coach, NOW - timedelta(hours=36))
    check_in(coach, 0, 4)
    [group] = recovery(coach)["muscle_groups"]
    assert (group["times_seen"], group["basis"]) == (2, "published")
    assert (group["under_way"]["likely_at"], group["under_way"]["chances"]) == (None, [])
    assert "seen here only 2 times, too few to tell a chance" in group["text"]


@pytest.mark.parametrize(("weeks", "said"), [(0, "not seen here yet"), (1, "seen here once")])
def test_what_was_never_or_once_seen_is_not_counted_out(
    coach: Client, weeks: int, said: str
) -> None:
    weeks_of_training(coach, weeks)
    train(coach, NOW - timedelta(hours=36))
    check_in(coach, 0, 4)
    [group] = recovery(coach)["muscle_groups"]
    assert group["times_seen"] == weeks
    assert said in group["text"]


def test_force_work_is_another_question(coach: Client) -> None:
    weeks_of_training(coach, 6)
    growth, force = (
        recovery(coach, f"?for={kind}")["muscle_groups"][0]["usual_hours"]
        for kind in ("growth", "force")
    )
    assert force < growth


def test_who_is_sore_for_long_gets_rules_proposed_that_can_be_published(coach: Client) -> None:
    for week in range(1, 7):
        train(coach, NOW.replace(hour=18, minute=0) - timedelta(days=7 * week + 5))
        for ago, soreness in ((4, 6), (3, 6), (2, 5), (1, 4), (0, 1), (-1, 0)):
            check_in(coach, 7 * week + ago, soreness)
    proposed = coach.get(f"{RECOVERY}/rules").json
    [evidence] = proposed["evidence"]
    assert (evidence["muscle_group"], evidence["times_seen"]) == ("quadriceps", 6)
    assert evidence["hours"] > 72
    told = coach.post(
        "/v1/rule-sets", data=proposed["rule_file"], headers={"Content-Type": "application/yaml"}
    )
    assert (told.status_code, told.json["findings"]) == (201, [])
    [first, *others] = coach.get("/v1/recovery").json["athletes"]
    assert (first["athlete_id"], first["times_seen"]) == ("a-03", 6)
    assert {other["against_squad"] for other in others} == {None}


def test_the_same_data_give_the_same_numbers(coach: Client) -> None:
    weeks_of_training(coach, 6)
    assert recovery(coach) == recovery(coach)


def test_what_is_asked_wrongly_is_refused(coach: Client) -> None:
    assert coach.get(f"{RECOVERY}?for=luck").status_code == 422
    assert coach.get(f"{RECOVERY}?at=2026-03-09T18:00:00").status_code == 422
    assert coach.get("/v1/athletes/a-99/recovery").status_code == 404


def test_the_page_of_drifts_names_who_is_sore_for_longer_than_the_squad(
    coach: Client, coach_browser: Client
) -> None:
    block = {"goal": "hypertrophy", "muscle_groups": ["quadriceps"], "sets": 5}
    for athlete_id, sore_days in (("a-03", 5), ("a-04", 1), ("a-05", 1)):
        for week in range(1, 7):
            began = NOW.replace(hour=9, minute=0) - timedelta(days=7 * week)
            session = {"athlete_id": athlete_id, "starts_at": began.isoformat(), "minutes": 60}
            assert coach.post("/v1/sessions", json=session | {"blocks": [block]}).status_code == 201
            for later in range(1, 7):
                day = (began + timedelta(days=later)).date().isoformat()
                sore = {"quadriceps": 5 if later <= sore_days else 0}
                body = {"athlete_id": athlete_id, "date": day, "soreness": sore, "plan": []}
                assert coach.post("/v1/check-ins", json=body).status_code == 201
    page = coach_browser.get("/coach/drifts").text
    _, _, longer = page.partition("Who stays sore longer than the squad")
    assert "/coach/athletes/a-03" in longer
    assert "/coach/athletes/a-04" not in longer


def test_the_outlook_and_the_phone_tell_what_is_on_the_way_from_five_times_on(
    coach: Client, client: Client, path: str
) -> None:
    weeks_of_training(coach, 4)
    train(coach, NOW - timedelta(hours=36))
    check_in(coach, 0, 4)
    assert coach.get("/v1/athletes/a-03/outlook").json["recovery"] == []
    assert "usually under" not in client.get(path).text
    train(coach, NOW.replace(hour=18, minute=0) - timedelta(days=38))
    for ago, soreness in ((37, 5), (36, 4), (35, 1)):
        check_in(coach, ago, soreness)
    [told] = coach.get("/v1/athletes/a-03/outlook").json["recovery"]
    assert told["half_from_hours"] <= told["usual_hours"] <= told["half_to_hours"]
    assert told["chance"]["in_ten"] == 9
    assert told["likely_at"] <= told["chance"]["at"]
    assert told["text"].startswith(
        f"Quadriceps: usually under 3 after {told['usual_hours']} h; by "
    )
    assert told["text"].endswith(", 9 in 10.")
    assert f"<p>{told['text']}</p>" in client.get(path).text
    check_in(coach, 0, 4, illness="fever")
    assert told["text"] not in client.get(path).text
