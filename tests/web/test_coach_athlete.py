"""The athlete's page of the coach: the weeks as they were."""

from __future__ import annotations

import re
from datetime import date, timedelta
from html import unescape
from typing import Any

import pytest

from tests.conftest import Client, Clock
from tests.factories import EXAMPLE

TODAY = date(2026, 3, 9)


@pytest.fixture
def weeks(coach: Client) -> Client:
    """Two weeks of check-ins, save one day, and some training."""
    for ago in range(13, -1, -1):
        if ago != 3:
            answer = coach.post("/v1/check-ins", json=morning(ago))
            assert answer.status_code == 201
    for ago in (10, 5, 1):
        session = {
            "athlete_id": "a-03",
            "starts_at": f"{day(ago)}T18:00:00+01:00",
            "minutes": 40 + ago,
            "rpe": 6,
            "blocks": [{"goal": "strength", "muscle_groups": ["quadriceps"]}],
        }
        assert coach.post("/v1/sessions", json=session).status_code == 201
    return coach


def day(ago: int) -> str:
    return (TODAY - timedelta(days=ago)).isoformat()


def morning(ago: int) -> dict[str, Any]:
    return {
        "athlete_id": "a-03",
        "date": day(ago),
        "plan": EXAMPLE["plan"][:1] if ago == 0 else [],
        "sleep": {"hours": 7 + ago / 4},
        "soreness": {"quadriceps": min(ago, 10)},
        "resting_hr_bpm": 50 + ago,
        "hrv_rmssd_ms": 60 + ago,
    }


def words(html: str) -> str:
    return " ".join(unescape(re.sub(r"<[^>]*>", " ", html)).split())


def row(text: str, head: str) -> list[str]:
    """What stands in a row of the table of days, and how it is shaded."""
    found = re.search(rf'<tr><th scope="row">{head}</th>(.*?)</tr>', text, re.DOTALL)
    assert found is not None, head
    return [words(cell) for cell in re.findall(r"<td[^>]*>(.*?)</td>", found[1], re.DOTALL)]


def test_soreness_stands_under_its_day_and_a_gap_is_said(
    weeks: Client, coach_browser: Client
) -> None:
    text = coach_browser.get("/coach/athletes/a-03?days=7").text
    days = re.findall(r'<th scope="col"><time datetime="([^"]*)">', text)[:7]
    assert days == [day(ago) for ago in range(6, -1, -1)]
    assert row(text, "Quadriceps") == ["6", "5", "4", "not reported", "2", "1", "0"]


def test_the_shade_darkens_with_the_rating(weeks: Client, coach_browser: Client) -> None:
    text = coach_browser.get("/coach/athletes/a-03?days=28").text
    shaded = {
        int(rating): shade
        for shade, rating in re.findall(r'<td class="shade-(\d)">(\d+)</td>', text)
    }
    assert shaded == {
        0: "0",
        1: "1",
        2: "1",
        4: "2",
        5: "3",
        6: "3",
        7: "4",
        8: "4",
        9: "5",
        10: "5",
    }


def test_verdicts_and_training_stand_on_the_same_days(weeks: Client, coach_browser: Client) -> None:
    text = coach_browser.get("/coach/athletes/a-03?days=7").text
    training = row(text, "Training")
    assert training == [
        "no session",
        "S strength, power, speed or skill",
        "no session",
        "no session",
        "no session",
        "S strength, power, speed or skill",
        "no session",
    ]
    verdicts = row(text, "Verdict")
    assert verdicts[3].endswith("no check-in")
    assert all(said == "Train as planned" for said in verdicts[:3])


def test_each_verdict_leads_to_why(weeks: Client, coach_browser: Client) -> None:
    advice = weeks.get("/v1/athletes/a-03/advice/2026-03-05").json
    assert (
        f'href="/coach/advice/{advice["advice_id"]}"'
        in coach_browser.get("/coach/athletes/a-03").text
    )


def test_a_chart_says_in_words_what_it_shows(weeks: Client, coach_browser: Client) -> None:
    text = coach_browser.get("/coach/athletes/a-03?days=7").text
    titles = re.findall(r"<title id=[^>]*>([^<]*)</title>", text)
    assert titles == [
        "Sleep (hours)",
        "Training load (effort times minutes)",
        "Resting heart rate (beats a minute)",
        "Heart-rate variability (ln of rMSSD in ms)",
    ]
    described = re.findall(r"<desc id=[^>]*>([^<]*)</desc>", text)
    assert described[0] == (
        "From Tue 3 March to Mon 9 March, known on 6 of 7 days. Lowest 7, highest 8.5, latest 7."
    )
    for named in re.findall(r'role="img" aria-labelledby="([^"]*)"', text):
        assert all(f'id="{part}"' in text for part in named.split())


def test_a_line_is_not_drawn_over_a_missing_day(weeks: Client, coach_browser: Client) -> None:
    text = coach_browser.get("/coach/athletes/a-03?days=7").text
    lines = re.findall(r'<path class="each" d="([^"]*)"/>', text)
    assert all(len(line.split("M")) == 3 for line in lines if line != "M2 6H34")
    assert len([line for line in lines if line != "M2 6H34"]) == 3


def test_the_numbers_behind_a_chart_can_be_read(weeks: Client, coach_browser: Client) -> None:
    text = words(coach_browser.get("/coach/athletes/a-03?days=7").text)
    assert "Mon 9 March 50 56.5" not in text
    assert "Mon 9 March 50 57" in text, "the median of 51, 52, 54 ... 63 is 57.5 or one of them"


def test_numbers_are_written_as_the_language_writes_them(
    weeks: Client, coach_browser: Client
) -> None:
    address = "/coach/athletes/a-03?days=7"
    pages = {tongue: coach_browser.get(f"{address}&lang={tongue}").text for tongue in ("en", "de")}
    slept = {tongue: words(page) for tongue, page in pages.items()}
    ticks = {
        tongue: re.findall(r'y="[^"]*">([^<]*)</text>', page) for tongue, page in pages.items()
    }
    assert "Sun 8 March 7.25" in slept["en"]
    assert "So 8. März 7,25" in slept["de"]
    assert any("." in tick for tick in ticks["en"])
    assert ticks["de"] == [tick.replace(".", ",") for tick in ticks["en"]]


def test_a_session_stands_there_in_words_at_its_local_time(
    weeks: Client, coach_browser: Client
) -> None:
    text = words(coach_browser.get("/coach/athletes/a-03").text)
    assert "Sun 8 March 18:00 strength 41 6" in text


def test_todays_advice_and_the_outlook_stand_there(weeks: Client, coach_browser: Client) -> None:
    advice = weeks.get("/v1/athletes/a-03/advice/today").json
    text = words(coach_browser.get("/coach/athletes/a-03").text)
    assert advice["headline"] in text
    assert advice["reason"] in text
    assert "What is ready when, in the next 7 days" in text
    assert "ready for everything" in text


def test_all_muscle_groups_are_in_the_outlook_or_nobody_could_rely_on_it(
    weeks: Client, coach_browser: Client
) -> None:
    text = coach_browser.get("/coach/athletes/a-03").text
    outlook = words(text.partition('class="outlook"')[2]).casefold()
    for group in (
        "chest",
        "shoulders",
        "upper back",
        "lats",
        "lower back",
        "biceps",
        "triceps",
        "forearms",
        "abdominals",
        "glutes",
        "quadriceps",
        "hamstrings",
        "adductors",
        "calves",
    ):
        assert group in outlook


def test_an_athlete_of_whom_nothing_is_known_has_a_page(coach_browser: Client) -> None:
    page = coach_browser.get("/coach/athletes/a-04")
    text = words(page.text)
    assert page.status_code == 200
    assert "Nothing was reported or trained in the last 28 days." in text
    assert "No check-in today yet. Has never checked in." in text
    unknown = "So soreness, pain, illness and warning signs are not known."
    assert text.index(unknown) < text.index("ready for everything")
    assert "<table" not in page.text


@pytest.mark.parametrize("days", ["0", "8", "-7", "007", "all", "1e3"])
def test_other_spans_are_refused_in_words(coach_browser: Client, days: str) -> None:
    page = coach_browser.get(f"/coach/athletes/a-03?days={days}")
    assert page.status_code == 404
    assert "There are pages of 7, 28 and 84 days." in page.text


def test_an_unknown_athlete_is_not_found(coach_browser: Client) -> None:
    page = coach_browser.get("/coach/athletes/a-98")
    assert page.status_code == 404
    assert "There is no athlete" in words(page.text)


def test_the_days_are_those_where_the_athlete_lives(
    coach: Client, coach_browser: Client, clock: Clock
) -> None:
    coach.post("/v1/check-ins", json=morning(0) | {"athlete_id": "a-04"})
    clock.set("2026-03-09T15:30:00+00:00")
    text = coach_browser.get("/coach/athletes/a-04?days=7").text
    days = re.findall(r'<th scope="col"><time datetime="([^"]*)">', text)[:7]
    assert days[-1] == "2026-03-10", "it is past midnight in Tokyo"


def heard(text: str, name: str) -> list[str]:
    """What a reader hears of the last days in a row of the table."""
    found = re.search(rf'<th scope="row">{name}</th>(.*?)</tr>', text, re.DOTALL)
    assert found is not None, f"no row {name}"
    cells = re.findall(r"<td[^>]*>(.*?)</td>", found[1], re.DOTALL)
    return [" ".join(re.sub(r"<[^>]*>", " ", cell).split()) for cell in cells]


def test_what_can_stop_training_stands_in_the_grid(coach: Client, coach_browser: Client) -> None:
    pain = [{"where": "left knee", "kind": "joint", "severity": 4}]
    ill = {"illness": "fever", "pain": pain, "warning_signs": ["fainting"], "stress": 7}
    for on, said in (("2026-03-07", {"pain": [], "illness": "none"}), ("2026-03-08", ill)):
        sent = {"athlete_id": "a-03", "date": on, "plan": [], "sleep": {"quality": 2}} | said
        assert coach.post("/v1/check-ins", json=sent).status_code == 201
    text = coach_browser.get("/coach/athletes/a-03?days=7").text
    gap = "not reported"
    assert heard(text, "Warning signs")[-3:] == [gap, "! fainted, or nearly", gap]
    assert heard(text, "Illness")[-3:] == ["not ill", "F fever", gap]
    assert heard(text, "Pain")[-3:] == ["none", "4 left knee", gap]
    assert heard(text, "Stress")[-3:] == [gap, "7", gap]
    assert heard(text, "Sleep quality")[-3:] == ["2", "2", gap]
    open_now = "! Sign of heart or chest (fainted, or nearly), Illness (fever) and Pain (left knee)"
    assert heard(text, "Concerns")[-3:] == ["none", open_now, open_now]


def test_what_was_done_stands_beside_what_was_advised(coach: Client, coach_browser: Client) -> None:
    """Growth work of the chest is trained, and again the day after, when it was not to be."""
    chest = {"goal": "hypertrophy", "muscle_groups": ["chest"], "minutes": 40}
    yesterday = {"2026-03-06": "2026-03-05", "2026-03-07": "2026-03-06"}
    for on in ("2026-03-05", "2026-03-06", "2026-03-07", "2026-03-08"):
        plan = [chest | {"starts_at": f"{on}T18:00:00+01:00"}]
        sent: dict[str, Any] = {"athlete_id": "a-03", "date": on, "plan": plan}
        if on in yesterday:
            at = f"{yesterday[on]}T18:00:00+01:00"
            sent["last_trained"] = {"chest": {"at": at, "goal": "hypertrophy"}}
        assert coach.post("/v1/check-ins", json=sent).status_code == 201
    for on in ("2026-03-05", "2026-03-06"):
        session = {"athlete_id": "a-03", "starts_at": f"{on}T18:00:00+01:00", "minutes": 40}
        assert coach.post("/v1/sessions", json=session | {"blocks": [chest]}).status_code == 201
    days = {one["date"]: one for one in coach.get("/v1/athletes/a-03/done").json["days"]}
    assert {on: (one["verdict"], one["outcome"]) for on, one in days.items()} == {
        "2026-03-08": ("train-as-planned", "not-logged"),
        "2026-03-07": ("swap-to-low-damage", "not-logged"),
        "2026-03-06": ("swap-to-low-damage", "more"),
        "2026-03-05": ("train-as-planned", "as-advised"),
    }
    assert days["2026-03-06"]["differences"] == [
        {
            "what": "not-advised",
            "goal": "hypertrophy",
            "is_more": True,
            "advised": None,
            "done": 40.0,
        }
    ]
    page = words(coach_browser.get("/coach/athletes/a-03?days=7").text)
    assert "more : growth work was not advised, 40 min were done" in page
