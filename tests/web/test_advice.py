"""Advice as a phone, a coach and an auditor get it."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator
from typing import Any

import pytest

from tests.conftest import Client, Clock
from tests.factories import DAY_OFF, EXAMPLE, changed, reworded

TODAY = "/v1/athletes/a-03/advice/today"
CHEST_PAIN = changed("/warning_signs", ["chest-pain"])


ALL_ANSWERED = DAY_OFF | {
    "plan": [{"goal": "mobility"}],
    "warning_signs": [],
    "pain": [],
    "illness": "none",
}


def sentences(text: str) -> list[str]:
    return [sentence for sentence in text.replace("! ", ". ").split(". ") if sentence]


def test_todays_advice_is_the_one_that_was_given(coach: Client) -> None:
    given = coach.post("/v1/check-ins", json=EXAMPLE).json
    assert coach.get(TODAY).json == given
    assert coach.get("/v1/athletes/a-03/advice/2026-03-09").json == given


def test_today_is_the_athletes_own(coach: Client, clock: Clock) -> None:
    clock.set("2026-03-10T02:00:00+01:00")  # still the 9th in Los Angeles
    assert coach.get(TODAY).json["date"] == "2026-03-10"
    assert coach.get("/v1/athletes/a-05/advice/today").json["date"] == "2026-03-09"


def test_without_a_check_in_there_is_a_sentence_and_no_verdict(coach: Client) -> None:
    advice = coach.get(TODAY).json
    assert "no check-in for 2026-03-09" in advice.pop("headline")
    assert advice.pop("athlete_id") == "a-03"
    assert advice.pop("date") == "2026-03-09"
    assert not any(advice.values()), "all that hangs on a verdict is null or empty"


def test_yesterdays_advice_is_not_todays(coach: Client, clock: Clock) -> None:
    coach.post("/v1/check-ins", json=EXAMPLE)
    clock.set("2026-03-10T06:45:00+01:00")
    assert coach.get(TODAY).json["verdict"] is None


@pytest.mark.parametrize(
    ("check_in", "starts"),
    [
        (EXAMPLE, "Swap to low-damage work: "),
        (CHEST_PAIN, "Stop and get medical care now."),
        (DAY_OFF, "Day off as planned."),
        (ALL_ANSWERED, "Train as planned: "),
    ],
)
def test_a_phone_can_speak_the_advice(coach: Client, check_in: dict[str, Any], starts: str) -> None:
    coach.post("/v1/check-ins", json=check_in)
    answer = coach.get(f"{TODAY}.txt")
    assert answer.headers["Content-Type"] == "text/plain; charset=utf-8"
    assert answer.text.startswith(starts) or check_in is EXAMPLE
    rests = check_in is CHEST_PAIN or answer.text.startswith("Rest: ")
    assert rests or len(sentences(answer.text)) in (1, 2)
    assert answer.text == answer.text.strip(), "a final newline would stand in a cell"


def test_a_phone_first_says_all_that_a_warning_sign_asks_for(coach: Client) -> None:
    advice = coach.post("/v1/check-ins", json=CHEST_PAIN).json
    assert "emergency number" in advice["caution"]
    spoken = coach.get(f"{TODAY}.txt").text
    assert spoken == f"{advice['caution']} Rest: Warning sign: chest pain."


def test_a_phone_speaks_of_the_missing_check_in(coach: Client) -> None:
    assert coach.get(f"{TODAY}.txt").text.startswith("There is no check-in for 2026-03-09 yet")


@pytest.mark.parametrize(
    ("address", "accept", "mimetype"),
    [
        (TODAY, "*/*", "application/json"),
        (TODAY, "text/plain", "text/plain"),
        (TODAY, "text/plain;q=0.5, application/json", "application/json"),
        (TODAY, "image/png", "application/json"),
        (f"{TODAY}.txt", "application/json", "text/plain"),
        (f"{TODAY}.json", "text/plain", "application/json"),
        ("/v1/athletes/a-03/advice/2026-03-09.txt", "*/*", "text/plain"),
    ],
)
def test_the_address_chooses_the_form_before_the_header_does(
    coach: Client, address: str, accept: str, mimetype: str
) -> None:
    assert coach.get(address, headers={"Accept": accept}).mimetype == mimetype


def test_nobody_keeps_a_copy_of_personal_data(coach: Client) -> None:
    headers = coach.get(TODAY).headers
    assert headers["Cache-Control"] == "private, no-store"
    assert headers["Vary"] == "Authorization, Accept, Accept-Language"
    assert headers["X-Content-Type-Options"] == "nosniff"


def test_the_squads_advice_names_everybody(coach: Client) -> None:
    given = coach.post("/v1/check-ins", json=EXAMPLE).json
    squad = coach.get("/v1/advice?date=2026-03-09").json
    assert squad["date"] == "2026-03-09"
    assert [one["athlete_id"] for one in squad["advice"]] == ["a-03", "a-04", "a-05"]
    assert squad["advice"][0] == given
    assert squad["advice"][1]["verdict"] is None


@pytest.mark.parametrize(
    ("query", "accept"), [("&format=csv", "*/*"), ("", "text/csv")], ids=["address", "header"]
)
def test_the_squads_advice_comes_as_a_sheet_if_asked_for(
    coach: Client, query: str, accept: str
) -> None:
    given = coach.post("/v1/check-ins", json=CHEST_PAIN).json
    answer = coach.get(f"/v1/advice?date=2026-03-09{query}", headers={"Accept": accept})
    assert answer.headers["Content-Type"] == "text/csv; charset=utf-8"
    assert answer.headers["Content-Disposition"] == 'attachment; filename="advice-2026-03-09.csv"'
    first, second, _ = csv.DictReader(io.StringIO(answer.text))
    assert first["athlete_id"] == "a-03"
    assert (first["verdict"], first["rule"]) == ("Rest", given["rule"]["id"])
    assert (first["reason"], first["caution"]) == (given["reason"], given["caution"])
    assert second["verdict"] == ""
    assert second["problem"].startswith("There is no check-in")


def test_a_record_holds_all_that_the_advice_was_made_of(coach: Client) -> None:
    advice = coach.post("/v1/check-ins", json=EXAMPLE).json
    record = coach.get(f"/v1/advice/{advice['advice_id']}").json
    assert reworded(record["advice"]) == advice
    assert record["check_in"]["soreness"] == EXAMPLE["soreness"]
    assert record["facts"]["day"]["sleep_hours"] == 6.5
    assert record["facts"]["parts"][0]["facts"]["hours_since_growth_work"] == 48
    assert record["posted_by"].startswith("key-")
    assert record["reproduced"] is True
    assert "name" not in record["athlete"]


def test_a_record_tells_every_rule_with_its_source_and_how_it_came_out(
    coach: Client,
) -> None:
    advice = coach.post("/v1/check-ins", json=EXAMPLE).json
    record = coach.get(f"/v1/advice/{advice['advice_id']}").json
    name, version = advice["rule_set"]["name"], advice["rule_set"]["version"]
    rule_set = coach.get(f"/v1/rule-sets/{name}/{version}").json
    assert [rule["id"] for rule in record["rules"]] == [rule["id"] for rule in rule_set["rules"]]
    for rule in record["rules"]:
        assert rule["basis"]["source"]
        assert rule["wrong_when"]
        assert len(rule["results"]) == 1, "one day, one part"
    decided = [rule["id"] for rule in record["rules"] if rule["results"][0]["decided"]]
    assert decided == [advice["rule"]["id"]]


def test_a_record_shows_each_test_with_its_value_and_threshold(coach: Client) -> None:
    advice = coach.post("/v1/check-ins", json=changed("/soreness/quadriceps", 2)).json
    record = coach.get(f"/v1/advice/{advice['advice_id']}").json
    tests = [
        test
        for rule in record["rules"]
        if rule["id"] == "growth-work-soreness"
        for test in leaves(rule["results"][0]["conditions"])
        if test["fact"] == "soreness"
    ]
    assert tests
    assert {test["value"] for test in tests} == {2}
    assert all(isinstance(test["threshold"], int) for test in tests)


def test_a_rule_that_missed_by_one_test_says_by_which(coach: Client) -> None:
    strength = changed("/plan/0/goal", "strength")
    advice = coach.post("/v1/check-ins", json=strength).json
    record = coach.get(f"/v1/advice/{advice['advice_id']}").json
    [rule] = [rule for rule in record["rules"] if rule["id"] == "growth-work-soreness"]
    [result] = rule["results"]
    assert not result["fired"]
    assert [missed["fact"] for missed in result["near_miss"]] == ["goal"]
    assert result["near_miss"][0]["said"]


def test_advice_that_was_never_given_gets_404(coach: Client) -> None:
    assert coach.get("/v1/advice/none").status_code == 404
    assert coach.get("/v1/athletes/a-99/advice/today").status_code == 404


def leaves(trace: dict[str, Any]) -> Iterator[dict[str, Any]]:
    if "children" not in trace:
        yield trace
    for child in trace.get("children", ()):
        yield from leaves(child)
