"""Bad input: refused clearly, with the place of the fault and what would be accepted."""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import Any

import pytest

from dawnrule.store import Store
from tests.conftest import Client
from tests.factories import DAY_OFF, EXAMPLE, as_text, changed, without

PROBLEM = "application/problem+json"


@dataclass(frozen=True)
class Refused:
    """A check-in, where its fault stands, and words that the refusal must hold."""

    check_in: Any
    pointer: str
    says: str


UNREADABLE = {
    "no JSON": (b"soreness=4", "line 1, column 1"),
    "an empty body": (b"", "line 1, column 1"),
    "JSON that breaks off": (json.dumps(EXAMPLE).encode()[:-1], "column"),
    "Latin-1": (
        as_text(EXAMPLE, "left knee", "left kn\u00e9e").decode().encode("latin-1"),
        "UTF-8",
    ),
    "UTF-16": (json.dumps(EXAMPLE).encode("utf-16"), "UTF-8"),
    "a name twice": (as_text(EXAMPLE, '"chest": 1', '"chest": 1, "chest": 2'), "'chest' twice"),
    "NaN": (as_text(EXAMPLE, '"fatigue": 4', '"fatigue": NaN'), "NaN"),
    "Infinity": (as_text(EXAMPLE, '"fatigue": 4', '"fatigue": -Infinity'), "Infinity"),
    "1e400": (as_text(EXAMPLE, '"fatigue": 4', '"fatigue": 1e400'), "'1e400'"),
    "5,000 digits": (as_text(EXAMPLE, '"fatigue": 4', f'"fatigue": {"9" * 5000}'), "too long"),
    "100,000 levels": (b"[" * 100_000 + b"]" * 100_000, "nested"),
    "100 levels": (b"[" * 100 + b"]" * 100, "nested"),
}

REFUSED = {
    "a list at the top": Refused([EXAMPLE], "", "must be an object"),
    "null at the top": Refused(None, "", "must be an object"),
    "no athlete": Refused(without("athlete_id"), "/athlete_id", "is missing"),
    "no date": Refused(without("date"), "/date", "is missing"),
    "no plan": Refused(without("plan"), "/plan", "An empty list is a day off"),
    "an unknown field": Refused(changed("/sorenes", {}), "/sorenes", "did you mean soreness?"),
    "an unknown field inside": Refused(
        changed("/sleep/hour", 7), "/sleep/hour", "did you mean hours?"
    ),
    "a field that is like none": Refused(changed("/xyz", 1), "/xyz", "the fields are athlete_id"),
    "a name with a slash": Refused(changed("/a~b", 1), "/a~0b", "is not a field"),
    "an unknown muscle group": Refused(
        changed("/soreness/quads", 4), "/soreness/quads", "did you mean quadriceps?"
    ),
    "an unknown goal": Refused(
        changed("/plan/0/goal", "hypertrofy"), "/plan/0/goal", "did you mean hypertrophy?"
    ),
    "an unknown warning sign": Refused(
        changed("/warning_signs", ["chestpain"]), "/warning_signs/0", "did you mean chest-pain?"
    ),
    "soreness 14": Refused(
        changed("/soreness/quadriceps", 14), "/soreness/quadriceps", "must be from 0 to 10"
    ),
    "soreness below 0": Refused(
        changed("/soreness/quadriceps", -1), "/soreness/quadriceps", "must be from 0 to 10"
    ),
    "65 hours of sleep": Refused(changed("/sleep/hours", 65), "/sleep/hours", "from 0 to 24"),
    "a number as text": Refused(changed("/fatigue", "4"), "/fatigue", "send a number, not text"),
    "a decimal comma": Refused(changed("/sleep/hours", "6,5"), "/sleep/hours", "not text"),
    "a decimal as text": Refused(changed("/sleep/hours", "6.5"), "/sleep/hours", "not text"),
    "3.9 for a whole number": Refused(
        changed("/sleep/quality", 3.9), "/sleep/quality", "a whole number"
    ),
    "true for a number": Refused(
        changed("/sleep/quality", True), "/sleep/quality", "a whole number"
    ),
    "true for hours": Refused(changed("/sleep/hours", True), "/sleep/hours", "a number"),
    "null for a number": Refused(changed("/fatigue", None), "/fatigue", "leave it out"),
    "a list for a number": Refused(
        changed("/sleep/quality", [4]), "/sleep/quality", "a whole number"
    ),
    "a date without hyphens": Refused(changed("/date", "20260309"), "/date", "like 2026-03-09"),
    "a date by its week": Refused(changed("/date", "2026-W11-1"), "/date", "like 2026-03-09"),
    "a date by its serial number": Refused(changed("/date", 46090), "/date", "like 2026-03-09"),
    "a German date": Refused(changed("/date", "09.03.2026"), "/date", "like 2026-03-09"),
    "the 30th of February": Refused(changed("/date", "2026-02-30"), "/date", "no such day"),
    "a date in Arabic digits": Refused(
        changed("/date", "\u0662\u0660\u0662\u0666-03-09"), "/date", "like 2026-03-09"
    ),
    "a date before anybody was born": Refused(changed("/date", "0001-01-01"), "/date", "from 1900"),
    "a date in the future": Refused(changed("/date", "2026-03-10"), "/date", "must not be after"),
    "a time without its offset": Refused(
        changed("/reported_at", "2026-03-09T06:40:00"), "/reported_at", "with its offset"
    ),
    "a time that is a date": Refused(
        changed("/reported_at", "2026-03-09"), "/reported_at", "with its offset"
    ),
    "the 24th hour": Refused(
        changed("/reported_at", "2026-03-08T24:00:00Z"), "/reported_at", "with its offset"
    ),
    "a time at the calendar's end": Refused(
        changed("/reported_at", "9999-12-31T23:59:59-23:59"), "/reported_at", "from 1900"
    ),
    "a report from the future": Refused(
        changed("/reported_at", "2026-03-09T08:40:00+01:00"), "/reported_at", "in the future"
    ),
    "a training in the future": Refused(
        changed("/last_trained/quadriceps/at", "2026-03-09T18:00:00+01:00"),
        "/last_trained/quadriceps/at",
        "in the future",
    ),
    "a training of long ago": Refused(
        changed("/last_trained/quadriceps/at", "1999-03-09T18:00:00+01:00"),
        "/last_trained/quadriceps/at",
        "leave it out instead",
    ),
    "a plan for another day": Refused(
        changed("/plan/0/starts_at", "2026-03-12T18:00:00+01:00"), "/plan/0/starts_at", "a day"
    ),
    "a block with groups and a pattern": Refused(
        changed("/plan/0/pattern", "squat"), "/plan/0/pattern", "one or the other"
    ),
    "a muscle group twice": Refused(
        changed("/plan/0/muscle_groups", ["chest", "chest"]), "/plan/0/muscle_groups", "once"
    ),
    "51 blocks": Refused(changed("/plan", [{"goal": "mobility"}] * 51), "/plan", "at most 50"),
    "one RR interval": Refused(
        changed("/rr_intervals_ms", [800], of=without("hrv_rmssd_ms")),
        "/rr_intervals_ms",
        "a list of 2 to 5000",
    ),
    "an RR interval in seconds": Refused(
        changed("/rr_intervals_ms", [0.8, 810], of=without("hrv_rmssd_ms")),
        "/rr_intervals_ms/0",
        "from 200 to 3000",
    ),
    "RR intervals that jump": Refused(
        changed("/rr_intervals_ms", [200, 3000], of=without("hrv_rmssd_ms")),
        "/rr_intervals_ms",
        "an rMSSD from 0 to 500 ms; it gives 2800",
    ),
    "RR intervals and their rMSSD": Refused(
        changed("/rr_intervals_ms", [800, 810]), "/rr_intervals_ms", "must be left out"
    ),
    "more blocks than a day has minutes": Refused(
        changed("/plan", [{"goal": "hypertrophy", "minutes": 800}] * 2), "/plan", "fit into a day"
    ),
    "half a character": Refused(changed("/pain/0/where", "\ud800"), "/pain/0/where", "U+D800"),
    "a zero byte": Refused(changed("/pain/0/where", "kn\0ee"), "/pain/0/where", "U+0000"),
    "a line break": Refused(changed("/pain/0/where", "left\nknee"), "/pain/0/where", "U+000A"),
    "blank text": Refused(changed("/pain/0/where", "  "), "/pain/0/where", "text"),
    "101 characters": Refused(changed("/pain/0/where", "x" * 101), "/pain/0/where", "100"),
    "an id with a space": Refused(changed("/athlete_id", "a 03"), "/athlete_id", "letters"),
    "an id with a line break": Refused(changed("/athlete_id", "a-03\n"), "/athlete_id", "letters"),
    "an id of 41 characters": Refused(changed("/athlete_id", "a" * 41), "/athlete_id", "1 to 40"),
}


@pytest.mark.parametrize(("body", "says"), UNREADABLE.values(), ids=UNREADABLE.keys())
def test_what_is_no_plain_json_gets_400(coach: Client, body: bytes, says: str) -> None:
    answer = coach.post("/v1/check-ins", data=body, content_type="application/json")
    assert (answer.status_code, answer.mimetype) == (400, PROBLEM)
    assert says in answer.json["detail"]


@pytest.mark.parametrize("case", REFUSED.values(), ids=REFUSED.keys())
def test_what_cannot_be_meant_gets_422_and_its_place(coach: Client, case: Refused) -> None:
    body = json.dumps(case.check_in)
    answer = coach.post("/v1/check-ins", data=body, content_type="application/json")
    assert (answer.status_code, answer.mimetype) == (422, PROBLEM)
    [error] = answer.json["errors"]
    assert error["pointer"] == case.pointer
    assert case.says in error["detail"]
    assert error["detail"] in answer.json["detail"], "who sees one sentence only sees the fault"


def test_a_fault_is_told_as_the_interface_promises(coach: Client) -> None:
    answer = coach.post("/v1/check-ins", json=changed("/soreness/quadriceps", 14))
    promised = {"pointer": "/soreness/quadriceps", "value": 14, "detail": "must be from 0 to 10"}
    assert answer.json["errors"] == [promised]


def test_every_fault_is_told_at_once(coach: Client) -> None:
    faulty = changed("/fatigue", 11, of=changed("/sleep/quality", 0, of=changed("/xyz", 1)))
    errors = coach.post("/v1/check-ins", json=faulty).json["errors"]
    assert {error["pointer"] for error in errors} == {"/fatigue", "/sleep/quality", "/xyz"}


def test_a_body_full_of_faults_gets_a_short_answer(coach: Client) -> None:
    faulty = DAY_OFF | {f"name-{number}": number for number in range(20_000)}
    answer = coach.post("/v1/check-ins", json=faulty)
    assert answer.status_code == 422
    assert len(answer.data) < 100_000


def test_a_long_value_is_not_sent_back(coach: Client) -> None:
    answer = coach.post("/v1/check-ins", json=changed("/illness", "x" * 10_000))
    assert answer.json["errors"][0]["value"] is None


@pytest.mark.parametrize("seven", [7, 7.0])
def test_a_whole_number_may_be_written_with_a_decimal_point(coach: Client, seven: float) -> None:
    assert coach.post("/v1/check-ins", json=changed("/fatigue", seven)).status_code == 201


def test_a_byte_order_mark_does_no_harm(coach: Client) -> None:
    body = json.dumps(EXAMPLE).encode("utf-8-sig")
    answer = coach.post("/v1/check-ins", data=body, content_type="application/json")
    assert answer.status_code == 201


@pytest.mark.parametrize(
    "content_type",
    ["", "text/plain", "application/x-www-form-urlencoded", "application/vnd.a+json"],
)
def test_a_body_that_is_not_called_json_gets_415(coach: Client, content_type: str) -> None:
    body = json.dumps(EXAMPLE)
    answer = coach.post("/v1/check-ins", data=body, headers={"Content-Type": content_type})
    assert (answer.status_code, answer.mimetype) == (415, PROBLEM)
    assert "application/json" in answer.json["detail"]


def test_a_body_of_more_than_a_megabyte_gets_413(coach: Client, store: Store) -> None:
    body = json.dumps(EXAMPLE) + " " * 1_000_000
    answer = coach.post("/v1/check-ins", data=body, content_type="application/json")
    assert (answer.status_code, answer.mimetype) == (413, PROBLEM)


@pytest.mark.parametrize(
    "query", ["", "?date=", "?date=09.03.2026", "?date=2026-03-09&formt=csv", "?date=today"]
)
def test_a_query_that_cannot_be_meant_gets_422(coach: Client, query: str) -> None:
    assert coach.get(f"/v1/advice{query}").status_code == 422


@pytest.mark.parametrize("day", ["tomorrow", "2026-02-30", "2026-3-9", "today.xml", "20260309"])
def test_a_day_that_is_none_gets_422(coach: Client, day: str) -> None:
    answer = coach.get(f"/v1/athletes/a-03/advice/{day}")
    assert answer.status_code == 422
    assert answer.json["errors"][0]["pointer"] == "/day"


def test_an_unknown_name_hides_no_bad_value_beside_it(coach: Client) -> None:
    sent = changed("/soreness", {"chest": 11, "quads": 1})
    refused = coach.post("/v1/check-ins", json=sent).json
    assert [fault["pointer"] for fault in refused["errors"]] == [
        "/soreness/chest",
        "/soreness/quads",
    ]
