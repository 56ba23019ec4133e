"""Sessions over HTTP, and their effect on today's advice."""

from __future__ import annotations

import csv
import io
from datetime import datetime
from typing import Any

import pytest

from tests.conftest import Client, Clock
from tests.factories import DAY_OFF, SESSION, changed, without

BATCH = "/v1/sessions/batch"
YESTERDAY = "2026-03-08T18:00:00+01:00"
GROWTH = {
    "athlete_id": "a-03",
    "starts_at": YESTERDAY,
    "minutes": 60,
    "blocks": [{"goal": "hypertrophy", "muscle_groups": ["chest"]}],
}
"""Twelve hours before this morning's growth work for the same muscle."""

LEGS = changed("/blocks/0/muscle_groups", ["quadriceps"], of=GROWTH)
GROWTH_TODAY = DAY_OFF | {"plan": [{"goal": "hypertrophy", "muscle_groups": ["chest"]}]}

SHEET = """\
athlete_id,starts_at,minutes,rpe,output,output_drop_percent,block_goal,block_muscle_groups,\
block_sets,block_load_kg,block2_goal,block2_modality
a-03,2026-03-08T18:00:00+01:00,60,"7,5",dropped,12,Hypertrophy,chest triceps,4,42.5,,
a-04,2026-03-08T18:00:00+09:00,45,,,,,,,,steady endurance,cycling
a-05,2026-03-08T18:00:00-07:00,30,11,,,skill,,,,,
a-05,2026-03-07T18:00:00-08:00,30,,,,,,,,,
"""


def log(client: Client, session: Any) -> Any:
    return client.post("/v1/sessions", json=session)


def today(client: Client) -> Any:
    return client.get("/v1/athletes/a-03/advice/today").json


def listed(client: Client, query: str = "") -> Any:
    return client.get(f"/v1/athletes/a-03/sessions{query}").json


def starts(answer: Any) -> list[str]:
    return [session["starts_at"] for session in answer["sessions"]]


def at(hour: int, day: int = 8) -> dict[str, Any]:
    return changed("/starts_at", f"2026-03-{day:02}T{hour:02}:00:00+01:00", of=GROWTH)


def test_a_session_is_logged_and_can_be_read_where_it_says(coach: Client) -> None:
    answer = log(coach, SESSION)
    assert answer.status_code == 201
    assert answer.headers["Location"] == f"/v1/sessions/{answer.json['session_id']}"
    read = coach.get(answer.headers["Location"]).json
    assert read == {"session_id": answer.json["session_id"], **SESSION}
    assert answer.json == read | {"today": None}


def test_the_same_session_again_is_logged_once(coach: Client) -> None:
    first, again = log(coach, SESSION), log(coach, SESSION)
    assert (first.status_code, again.status_code) == (201, 200)
    assert again.json["session_id"] == first.json["session_id"]
    assert len(listed(coach)["sessions"]) == 1


def test_the_same_session_in_another_offset_is_logged_once(coach: Client) -> None:
    first, again = (
        log(coach, at(12)),
        log(coach, GROWTH | {"starts_at": "2026-03-08T20:00:00+09:00"}),
    )
    assert (first.status_code, again.status_code) == (201, 200)
    assert again.json["session_id"] == first.json["session_id"]


def test_two_sessions_may_begin_at_the_same_time(coach: Client) -> None:
    first, second = log(coach, GROWTH), log(coach, LEGS)
    assert (first.status_code, second.status_code) == (201, 201)
    assert len(listed(coach)["sessions"]) == 2


def test_a_session_logged_after_the_advice_that_it_changes_supersedes_it(coach: Client) -> None:
    given = coach.post("/v1/check-ins", json=GROWTH_TODAY).json
    record = coach.get(f"/v1/advice/{given['advice_id']}").json
    assert given["verdict"] == "train-as-planned"

    told = log(coach, GROWTH).json["today"]
    holds = today(coach)
    assert holds["rule"]["id"] == "growth-work-too-soon"
    assert told == {
        "advice_id": holds["advice_id"],
        "supersedes": given["advice_id"],
        "verdict": "swap-to-low-damage",
        "headline": holds["headline"],
    }
    kept = coach.get(f"/v1/advice/{given['advice_id']}").json
    assert kept == record | {"superseded_by": holds["advice_id"]}


def test_a_session_that_changes_nothing_today_leaves_the_advice(coach: Client) -> None:
    coach.post("/v1/check-ins", json=DAY_OFF)
    given = today(coach)
    assert log(coach, changed("/starts_at", "2025-06-01T10:00:00Z", of=LEGS)).json["today"] is None
    assert today(coach) == given


def test_mending_a_session_supersedes_todays_advice(coach: Client) -> None:
    coach.post("/v1/check-ins", json=GROWTH_TODAY)
    session = log(coach, GROWTH).json
    mended = coach.put(f"/v1/sessions/{session['session_id']}", json=LEGS)
    assert mended.status_code == 200
    assert mended.json["today"]["supersedes"] == session["today"]["advice_id"]
    assert mended.json["today"]["verdict"] == "train-as-planned"
    assert listed(coach)["sessions"] == [without("today", of=mended.json)]


def test_taking_a_session_back_supersedes_todays_advice(coach: Client) -> None:
    coach.post("/v1/check-ins", json=GROWTH_TODAY)
    session = log(coach, GROWTH).json
    gone = coach.delete(f"/v1/sessions/{session['session_id']}")
    assert gone.status_code == 200
    assert gone.json["today"]["supersedes"] == session["today"]["advice_id"]
    assert today(coach)["verdict"] == "train-as-planned"
    assert listed(coach)["sessions"] == []
    assert coach.delete(f"/v1/sessions/{session['session_id']}").status_code == 404


def test_mending_to_the_same_changes_nothing(coach: Client) -> None:
    coach.post("/v1/check-ins", json=GROWTH_TODAY)
    session = log(coach, GROWTH).json
    assert coach.put(f"/v1/sessions/{session['session_id']}", json=GROWTH).json["today"] is None


def test_a_session_does_not_change_hands(coach: Client) -> None:
    session_id = log(coach, GROWTH).json["session_id"]
    of_tomo = changed("/athlete_id", "a-04", of=GROWTH)
    assert coach.put(f"/v1/sessions/{session_id}", json=of_tomo).status_code == 404
    assert coach.get(f"/v1/sessions/{session_id}").json["athlete_id"] == "a-03"


def test_a_session_after_midnight_counts_from_when_it_was(coach: Client) -> None:
    coach.post("/v1/check-ins", json=GROWTH_TODAY)
    told = log(coach, at(0, day=9)).json["today"]
    assert told["verdict"] == "swap-to-low-damage"
    assert "6.7 h before" in today(coach)["parts"][0]["reason"]


@pytest.mark.parametrize(
    ("pointer", "value", "place", "says"),
    [
        ("/starts_at", "2026-03-09T18:00:00+01:00", "/starts_at", "in the future"),
        ("/starts_at", "2026-03-08T18:00:00", "/starts_at", "with its offset"),
        ("/blocks/0/starts_at", "2026-03-09T18:00:00Z", "/blocks/0/starts_at", "in the future"),
        ("/minutes", 1441, "/minutes", "from 0 to 1440"),
        ("/rpe", 10.5, "/rpe", "a number from 0 to 10"),
        ("/rpe", "7", "/rpe", "not text"),
        ("/rpe", True, "/rpe", "a number from 0 to 10"),
        ("/blocks", [], "/blocks", "a list of 1 to 50"),
        ("/blocks/0/load_kg", -1, "/blocks/0/load_kg", "a number from 0 to 1000"),
        ("/output", "fell", "/output", "held, cut-short, dropped"),
        ("/output", "held", "/output_drop_percent", "left out unless output is dropped"),
        ("/output_drop_percent", 101, "/output_drop_percent", "from 0 to 100"),
        ("/soreness", {}, "/soreness", "is not a field here"),
    ],
)
def test_what_cannot_be_true_is_refused_with_its_place(
    coach: Client, pointer: str, value: Any, place: str, says: str
) -> None:
    answer = log(coach, changed(pointer, value, of=SESSION))
    assert answer.status_code == 422
    [error] = answer.json["errors"]
    assert error["pointer"] == place
    assert says in error["detail"]
    assert listed(coach)["sessions"] == []


def test_a_drop_says_by_how_much(coach: Client) -> None:
    answer = log(coach, without("output_drop_percent", of=SESSION))
    [error] = answer.json["errors"]
    assert (error["pointer"], error["value"]) == ("/output_drop_percent", None)


def test_nobody_is_created_by_a_typing_error(coach: Client) -> None:
    assert log(coach, changed("/athlete_id", "a-33", of=SESSION)).status_code == 404


def test_sessions_are_listed_newest_first_and_page_by_page(coach: Client) -> None:
    for hour in (9, 12, 12, 18):
        log(coach, changed("/minutes", 10 + len(listed(coach)["sessions"]), of=at(hour)))
    everything = listed(coach)
    assert starts(everything) == [at(hour)["starts_at"] for hour in (18, 12, 12, 9)]
    assert everything["next"] is None

    pages, cursor = [], ""
    while cursor is not None:
        page = listed(coach, f"?limit=1{cursor and f'&cursor={cursor}'}")
        pages += page["sessions"]
        cursor = page["next"]
    assert pages == everything["sessions"]


def test_a_page_goes_on_where_it_ended_whatever_was_logged_meanwhile(coach: Client) -> None:
    for hour in (9, 12, 18):
        log(coach, at(hour))
    first = listed(coach, "?limit=2")
    log(coach, at(20))
    coach.delete(f"/v1/sessions/{first['sessions'][-1]['session_id']}")
    assert starts(listed(coach, f"?cursor={first['next']}")) == [at(9)["starts_at"]]


def test_dates_are_those_of_where_the_athlete_lives(coach: Client) -> None:
    for day, hour in ((7, 23), (8, 0), (8, 23)):
        log(coach, at(hour, day))
    of_the_8th = listed(coach, "?from=2026-03-08&to=2026-03-08")
    assert starts(of_the_8th) == [at(23)["starts_at"], at(0)["starts_at"]]
    assert starts(listed(coach, "?to=2026-03-07")) == [at(23, day=7)["starts_at"]]


@pytest.mark.parametrize(
    "query",
    ["from=tomorrow", "limit=0", "limit=501", "limit=x", "cursor=x", "cursor=2026-03-08_a", "a=1"],
)
def test_a_query_that_cannot_be_meant_gets_422(coach: Client, query: str) -> None:
    assert coach.get(f"/v1/athletes/a-03/sessions?{query}").status_code == 422


def test_a_log_at_the_ends_of_the_calendar_can_be_read(coach: Client) -> None:
    log(coach, changed("/starts_at", "1900-01-01T00:00:00+14:00", of=GROWTH))
    query = "?from=1900-01-01&to=2199-12-31&cursor=2199-12-31T23:59:59-12:00_a"
    assert coach.get(f"/v1/athletes/a-04/sessions{query}").status_code == 200


def test_to_an_athlete_the_sessions_of_others_are_as_if_they_were_not(
    coach: Client, athlete: Client
) -> None:
    of_tomo = changed("/athlete_id", "a-04", of=GROWTH)
    theirs = log(coach, of_tomo).json["session_id"]
    own = log(athlete, GROWTH).json["session_id"]
    assert log(athlete, of_tomo).status_code == 404
    assert athlete.get("/v1/athletes/a-04/sessions").status_code == 404
    for method in ("get", "put", "delete"):
        call = getattr(athlete, method)
        sent = {"json": GROWTH} if method == "put" else {}
        there, nowhere = call(f"/v1/sessions/{theirs}", **sent), call("/v1/sessions/x", **sent)
        assert there.status_code == nowhere.status_code == 404
        assert there.json["detail"] == nowhere.json["detail"].replace("'x'", repr(theirs))
        assert call(f"/v1/sessions/{own}", **sent).status_code == 200
    assert coach.get(f"/v1/sessions/{theirs}").status_code == 200


def test_a_batch_says_of_each_session_what_became_of_it(poster: Client, coach: Client) -> None:
    coach.post("/v1/check-ins", json=GROWTH_TODAY)
    log(coach, at(9, day=1))
    batch = [at(9, day=1), GROWTH, at(12, day=9), 7, LEGS]
    answer = poster.post(BATCH, json={"sessions": batch})
    assert answer.status_code == 207
    assert (answer.json["accepted"], answer.json["rejected"]) == (3, 2)
    results = answer.json["results"]
    assert [one["outcome"] for one in results] == [
        "unchanged",
        "created",
        "rejected",
        "rejected",
        "created",
    ]
    assert results[2]["problem"]["errors"][0]["pointer"] == "/sessions/2/starts_at"
    assert results[3]["problem"]["errors"][0]["pointer"] == "/sessions/3"
    assert results[1]["session"]["today"]["advice_id"] == today(coach)["advice_id"]


def test_a_bad_row_spoils_an_atomic_batch(poster: Client, coach: Client) -> None:
    batch = {"sessions": [GROWTH, at(12, day=9)]}
    answer = poster.post(f"{BATCH}?atomic=true", json=batch)
    assert (answer.status_code, answer.mimetype) == (422, "application/problem+json")
    assert [one["outcome"] for one in answer.json["results"]] == ["not-stored", "rejected"]
    assert listed(coach)["sessions"] == []


def test_a_sheet_of_sessions_is_logged(poster: Client, coach: Client) -> None:
    answer = poster.post(BATCH, data=SHEET.encode(), content_type="text/csv")
    assert answer.status_code == 207
    first, second, third, fourth = answer.json["results"]
    assert without("today", of=first["session"]) == {
        "session_id": first["session"]["session_id"],
        "athlete_id": "a-03",
        "starts_at": YESTERDAY,
        "minutes": 60,
        "rpe": 7.5,
        "output": "dropped",
        "output_drop_percent": 12,
        "blocks": [
            {
                "goal": "hypertrophy",
                "muscle_groups": ["chest", "triceps"],
                "sets": 4,
                "load_kg": 42.5,
            }
        ],
    }
    assert second["session"]["blocks"] == [{"goal": "steady-endurance", "modality": "cycling"}]
    assert [e["pointer"] for e in third["problem"]["errors"]] == ["/rpe"]
    assert [e["pointer"] for e in fourth["problem"]["errors"]] == ["/block_goal"]


def test_the_sheet_comes_back_with_ids_and_what_became_of_today(
    poster: Client, coach: Client
) -> None:
    coach.post("/v1/check-ins", json=GROWTH_TODAY)
    answer = poster.post(f"{BATCH}?format=csv", data=SHEET.encode(), content_type="text/csv")
    assert (answer.status_code, answer.mimetype) == (207, "text/csv")
    first, second, third, _ = csv.DictReader(io.StringIO(answer.text))
    assert coach.get(f"/v1/sessions/{first['session_id']}").status_code == 200
    assert first["today_verdict"] == "Swap to low-damage work"
    assert first["today_headline"] == today(coach)["headline"]
    assert (second["today_verdict"], second["problem"]) == ("", "")
    assert third["problem"] == "rpe (D4) must be a number from 0 to 10"


def test_json_rows_can_be_answered_as_a_sheet(poster: Client) -> None:
    answer = poster.post(f"{BATCH}?format=csv", json={"sessions": [GROWTH, {}]})
    first, second = csv.DictReader(io.StringIO(answer.text))
    assert (first["athlete_id"], first["starts_at"]) == ("a-03", YESTERDAY)
    assert (second["athlete_id"], second["session_id"]) == ("", "")


def test_a_sheet_without_its_columns_gets_400_and_their_names(poster: Client) -> None:
    answer = poster.post(BATCH, data=b"athlete_id,date\na-03,x\n", content_type="text/csv")
    assert answer.status_code == 400
    assert "missing: starts_at" in answer.json["detail"]
    assert "block_muscle_groups" in answer.json["detail"]


def test_the_hour_that_the_clock_skips_is_not_counted(coach: Client, clock: Clock) -> None:
    """Berlin puts its clocks forward in the night to 29 March 2026."""
    clock.set("2026-03-29T20:00:00+02:00")
    log(coach, changed("/starts_at", "2026-03-28T20:00:00+01:00", of=GROWTH))
    advice = coach.post("/v1/check-ins", json=GROWTH_TODAY | {"date": "2026-03-29"}).json
    record = coach.get(f"/v1/advice/{advice['advice_id']}").json
    assert record["facts"]["parts"][0]["facts"]["hours_since_growth_work"] == 23
    opens_at = datetime.fromisoformat(advice["parts"][0]["opens_at"])
    assert opens_at.isoformat() == "2026-03-30T20:00:00+02:00"
