"""The weeks before a competition over HTTP."""

from __future__ import annotations

import re
from datetime import timedelta
from typing import Any

from tests.conftest import Client
from tests.factories import NOW


def targets(client: Client) -> Any:
    answer = client.get("/v1/athletes/a-03/targets")
    assert answer.status_code == 200
    return answer.json


def compete(client: Client, on: str, rank: str = "main") -> None:
    competitions = [{"date": on, "rank": rank}]
    body = {"name": "Mara", "time_zone": "Europe/Berlin", "competitions": competitions}
    assert client.put("/v1/athletes/a-03", json=body).status_code == 200


def train(client: Client, weeks: int) -> None:
    """Each week 10 sets and 40 minutes of sprints."""
    lift = {"goal": "hypertrophy", "muscle_groups": ["chest"], "sets": 10, "minutes": 50}
    run = {"goal": "speed", "modality": "flat-running", "minutes": 40}
    for week in range(1, weeks + 1):
        at = (NOW - timedelta(days=7 * week)).isoformat()
        session = {"athlete_id": "a-03", "starts_at": at, "minutes": 90, "blocks": [lift, run]}
        assert client.post("/v1/sessions", json=session).status_code == 201


def test_without_a_competition_there_is_nothing_to_aim_at(coach: Client) -> None:
    assert targets(coach)["weeks"] == []
    assert "Add one to the athlete" in targets(coach)["note"]
    german = coach.get("/v1/athletes/a-03/targets?lang=de")
    assert german.json["note"].startswith("Es steht kein Hauptwettkampf an")
    assert german.headers["Content-Language"] == "de"
    compete(coach, "2026-05-03", "minor")
    assert targets(coach)["competition"] is None


def test_the_taper_falls_by_41_to_60_percent_and_a_lighter_week_comes_before(coach: Client) -> None:
    """Bosquet 2007, Med Sci Sports Exerc 39(8):1358-1365 (from memory)."""
    compete(coach, "2026-05-03")
    train(coach, 4)
    told = targets(coach)
    assert told["note"] is None
    assert told["usual"] == {"sets": 10, "landing_minutes": 40, "minutes": 90}
    weeks = {week["weeks_to_go"]: week for week in told["weeks"]}
    assert list(weeks) == [8, 7, 6, 5, 4, 3, 2, 1]
    assert [weeks[n]["phase"] for n in weeks] == ["build"] * 3 + ["deload"] + ["build"] * 2 + [
        "taper"
    ] * 2
    assert 41 <= 100 - weeks[1]["percent"] <= 60
    assert weeks[1]["sets"] == 5
    assert weeks[1]["from"] == "2026-04-27"
    assert "Bosquet 2007" in weeks[1]["source"]
    builds = [weeks[n]["percent"] for n in (8, 7, 6, 4, 3)]
    assert builds == sorted(builds)
    assert builds[0] == 100


def test_the_athletes_page_shows_the_weeks_with_their_source_on_demand(
    coach: Client, coach_browser: Client
) -> None:
    page = coach_browser.get("/coach/athletes/a-03").text
    assert "There is no main competition ahead" in page
    assert 'href="/coach/athletes/a-03/change"' in page
    compete(coach, "2026-03-21")
    german = coach_browser.get("/coach/athletes/a-03?lang=de").text
    assert "Jede Woche beginnt am So und endet am Sa" in german
    assert "nicht bekannt" in german
    train(coach, 1)
    page = coach_browser.get("/coach/athletes/a-03").text
    assert "Next main competition: Sat 21 March." in page
    assert "Each week begins on Sun and ends on Sat" in page
    [row] = re.findall(r'<th scope="row">(Sun 15 March.*?)</tr>', page)
    assert re.split("(?:<[^>]*>)+", row) == [
        "Sun 15 March to Sat 21 March",
        "taper",
        "50 %",
        "5 hard sets, 20 landing minutes, 45 minutes in all",
        "",
    ]
    _, _, demand = page.partition("<summary>Where the shares come from</summary>")
    assert "Bosquet 2007" in demand.partition("</details>")[0]


def test_what_is_not_known_of_the_usual_week_is_left_out(coach: Client) -> None:
    compete(coach, "2026-03-21")
    told = targets(coach)
    assert told["usual"] is None
    assert [week["weeks_to_go"] for week in told["weeks"]] == [2, 1]
    assert {week["sets"] for week in told["weeks"]} == {None}
