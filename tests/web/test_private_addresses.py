"""Private addresses: what they give, and that they give nobody else anything."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace
from datetime import datetime, timedelta
from typing import Any

import pytest
from flask import Flask

from dawnrule.settings import Settings
from dawnrule.store import PrivateAddress, Purpose, Store, hash_token, new_token
from tests.conftest import Client, Clock, client_with
from tests.factories import EXAMPLE
from tests.security.test_access import routes

FILES = ("today.txt", "today.json", "outlook.ics")

Give = Callable[..., str]


@pytest.fixture
def settings(settings: Settings) -> Settings:
    """Nobody is refused here for guessing."""
    return replace(settings, wrong_guesses_per_minute=0, private_address_requests_per_minute=0)


@pytest.fixture
def give(store: Store, squad: Any, clock: Clock) -> Give:
    """Gives an athlete an address, and tells its token."""

    def to(athlete_id: str = "a-03", purpose: Purpose = Purpose.READ) -> str:
        token = new_token()
        address = PrivateAddress(f"p-{token[:6]}", purpose, athlete_id, None, clock(), None)
        store.write(
            lambda transaction: transaction.private_addresses.add(address, hash_token(token))
        )
        return token

    return to


# Given and ended by a coach


def test_a_coach_gives_an_address_that_is_shown_whole_once(coach: Client, store: Store) -> None:
    body = {"purpose": "read", "label": "calendar"}
    given = coach.post("/v1/athletes/a-03/addresses", json=body)
    assert given.status_code == 201
    assert [path.rpartition("/")[2] for path in given.json["paths"]] == list(FILES)
    assert given.json["urls"] == given.json["paths"]
    token = given.json["paths"][0].split("/")[2]
    [listed] = coach.get("/v1/athletes/a-03/addresses").json["addresses"]
    assert listed == {k: v for k, v in given.json.items() if k not in ("paths", "urls")}
    assert token not in json.dumps(listed)
    assert all(token.encode() not in file.read_bytes() for file in store.file.parent.iterdir())


class TestWithAPublicUrl:
    @pytest.fixture
    def settings(self, settings: Settings) -> Settings:
        return replace(settings, public_url="https://dawn.example/squad")

    def test_an_address_is_given_as_others_reach_it(self, coach: Client) -> None:
        first = coach.post("/v1/athletes/a-03/addresses", json={"purpose": "read"}).json
        other = coach.post(f"/v1/addresses/{first['address_id']}/rotate").json
        for given in (first, other):
            assert given["urls"] == [f"https://dawn.example/squad{p}" for p in given["paths"]]


def test_an_address_for_checking_in_is_one_page(coach: Client, client: Client) -> None:
    given = coach.post("/v1/athletes/a-03/addresses", json={"purpose": "check-in"}).json
    [path] = given["paths"]
    assert path.startswith("/check-in/")
    assert client.get(path).status_code == 200


def test_a_token_is_of_at_least_128_bits_and_fit_for_a_spreadsheet() -> None:
    """Spreadsheet programs change the case of percent escapes, so there are none."""
    token = new_token()
    assert len(token) * 6 >= 128
    assert set(token) <= set("abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789-_")
    assert token != new_token()


def test_a_replaced_address_ends_and_the_new_one_does_the_same(
    coach: Client, client: Client
) -> None:
    first = coach.post("/v1/athletes/a-03/addresses", json={"purpose": "read", "label": "tv"}).json
    second = coach.post(f"/v1/addresses/{first['address_id']}/rotate")
    assert second.status_code == 201
    assert (second.json["purpose"], second.json["label"]) == ("read", "tv")
    assert client.get(first["paths"][0]).status_code == 404
    assert client.get(second.json["paths"][0]).status_code == 200
    again = coach.post(f"/v1/addresses/{first['address_id']}/rotate")
    assert again.status_code == 404


def test_a_revoked_address_ends_at_once_and_stays_listed(coach: Client, client: Client) -> None:
    given = coach.post("/v1/athletes/a-03/addresses", json={"purpose": "read"}).json
    assert coach.delete(f"/v1/addresses/{given['address_id']}").status_code == 204
    assert client.get(given["paths"][0]).status_code == 404
    assert coach.delete(f"/v1/addresses/{given['address_id']}").status_code == 404
    [listed] = coach.get("/v1/athletes/a-03/addresses").json["addresses"]
    assert listed["revoked_at"] is not None


@pytest.mark.parametrize(
    ("body", "pointer"),
    [
        ({}, "/purpose"),
        ({"purpose": "write"}, "/purpose"),
        ({"purpose": "read", "label": "x" * 61}, "/label"),
        ({"purpose": "read", "token": "mine"}, "/token"),
    ],
)
def test_an_address_that_cannot_be_is_refused_by_field(
    coach: Client, body: dict[str, str], pointer: str
) -> None:
    refused = coach.post("/v1/athletes/a-03/addresses", json=body)
    assert refused.status_code == 422
    assert [error["pointer"] for error in refused.json["errors"]] == [pointer]


def test_nobody_who_is_not_there_gets_an_address(coach: Client) -> None:
    assert coach.post("/v1/athletes/a-99/addresses", json={"purpose": "read"}).status_code == 404
    assert coach.get("/v1/athletes/a-99/addresses").status_code == 404


def test_what_a_coach_did_with_addresses_is_kept_in_the_ledger(coach: Client) -> None:
    given = coach.post("/v1/athletes/a-03/addresses", json={"purpose": "read"}).json
    rotated = coach.post(f"/v1/addresses/{given['address_id']}/rotate").json
    coach.delete(f"/v1/addresses/{rotated['address_id']}")
    acts = [a for a in coach.get("/v1/acts").json["acts"] if a["act"].startswith("address-")]
    assert sorted(act["act"] for act in acts) == [
        "address-made",
        "address-revoked",
        "address-rotated",
    ]
    assert all(given["paths"][0].split("/")[2] not in json.dumps(act) for act in acts)


def test_an_address_says_on_which_date_it_was_last_used_and_no_more(
    coach: Client, client: Client, clock: Clock
) -> None:
    given = coach.post("/v1/athletes/a-03/addresses", json={"purpose": "read"}).json
    assert given["last_used_on"] is None
    clock.set("2026-03-09T23:30:00+00:00")  # the next day in Berlin
    client.get(given["paths"][0])
    [listed] = coach.get("/v1/athletes/a-03/addresses").json["addresses"]
    assert listed["last_used_on"] == "2026-03-10"


# What it gives


def test_today_is_told_in_one_line_as_the_interface_speaks_it(
    coach: Client, client: Client, give: Give
) -> None:
    coach.post("/v1/check-ins", json=EXAMPLE)
    told = client.get(f"/feeds/{give()}/today.txt")
    spoken = coach.get("/v1/athletes/a-03/advice/today.txt").text
    assert told.content_type == "text/plain; charset=utf-8"
    assert told.text == f"{spoken} As of 2026-03-09 06:45."
    assert "\n" not in told.text


@pytest.mark.parametrize("athlete_id", ["a-03", "a-04"])
def test_without_a_check_in_nobody_is_told_to_train(
    client: Client, give: Give, athlete_id: str
) -> None:
    token = give(athlete_id)
    told = client.get(f"/feeds/{token}/today.txt")
    assert told.status_code == 200
    assert told.text.startswith("There is no check-in for 2026-03-09 yet")
    small = client.get(f"/feeds/{token}/today.json").json
    assert (small["verdict"], small["as_of"], small["check_in"]) == (None, None, "missing")


def test_a_check_in_of_yesterday_gives_no_advice_for_today(
    coach: Client, client: Client, give: Give, clock: Clock
) -> None:
    coach.post("/v1/check-ins", json=EXAMPLE)
    clock.set("2026-03-10T00:01:00+01:00")
    assert client.get(f"/feeds/{give()}/today.txt").text.startswith("There is no check-in for")


def test_the_small_json_says_the_verdict_and_nothing_that_was_reported(
    coach: Client, client: Client, give: Give
) -> None:
    advice = coach.post("/v1/check-ins", json=EXAMPLE).json
    small = client.get(f"/feeds/{give()}/today.json").json
    same = {name: advice[name] for name in ("verdict", "headline", "rule", "reason", "caution")}
    assert small == same | {
        "date": "2026-03-09",
        "as_of": "2026-03-09T06:45:00+01:00",
        "check_in": "present",
    }


def test_who_is_told_to_train_hears_what_was_not_answered(
    coach: Client, client: Client, give: Give
) -> None:
    plan = [{"goal": "strength", "muscle_groups": ["chest"]}]
    day = {"athlete_id": "a-03", "date": "2026-03-09", "plan": plan, "illness": "none"}
    coach.post("/v1/check-ins", json=day)
    said = client.get(f"/feeds/{give()}/today.txt").text
    assert said.count("Not answered: warning signs and pain. If you have any, do not train.") == 1


def test_a_block_that_rests_is_spoken_before_the_reason(
    coach: Client, client: Client, give: Give
) -> None:
    plan = [{"goal": "strength", "muscle_groups": [group]} for group in ("quadriceps", "chest")]
    knee = [{"where": "left knee", "kind": "joint", "muscle_groups": ["quadriceps"]}]
    day = {"athlete_id": "a-03", "date": "2026-03-09", "plan": plan, "pain": knee}
    assert coach.post("/v1/check-ins", json=day).json["verdict"] == "swap-to-low-damage"
    said = client.get(f"/feeds/{give()}/today.txt").text
    assert said.startswith("Rest for quadriceps: Reported for quadriceps: joint pain. Do not train")


def test_a_block_that_rests_while_the_day_is_swapped_is_spoken_too(
    coach: Client, client: Client, give: Give
) -> None:
    plan = [{"goal": "strength", "muscle_groups": [group]} for group in ("quadriceps", "chest")]
    soreness = {"quadriceps": 9, "chest": 0}
    day = {"athlete_id": "a-03", "date": "2026-03-09", "plan": plan, "soreness": soreness}
    coach.post("/v1/check-ins", json=day | {"illness": "above-neck"})
    said = client.get(f"/feeds/{give()}/today.txt").text
    assert said.startswith("Rest for quadriceps: Quadriceps: soreness 9 of 10. Watch for tea-")
    assert "Instead of strength (chest), for example: " in said


@pytest.mark.parametrize("file", FILES)
def test_pain_that_holds_nobody_back_is_not_what_is_left_out(
    coach: Client, client: Client, give: Give, file: str
) -> None:
    plan = [{"goal": "strength", "muscle_groups": ["chest"]}]
    pain = [{"where": "left knee", "kind": "other", "muscle_groups": ["calves"]}]
    day = {"athlete_id": "a-03", "date": "2026-03-09", "plan": plan, "pain": pain}
    advice = coach.post("/v1/check-ins", json=day).json
    assert advice["verdict"] == "train-as-planned"
    told = client.get(f"/feeds/{give()}/{file}").text.replace("\r\n ", "").replace("\\,", ",")
    assert "Have any other pain looked at by a clinician or a physiotherapist" in told


def test_an_address_speaks_the_language_of_its_athlete(
    coach: Client, client: Client, give: Give
) -> None:
    mara = {"name": "Mara", "time_zone": "Europe/Berlin", "language": "de"}
    coach.put("/v1/athletes/a-03", json=mara)
    told = client.get(f"/feeds/{give()}/today.txt", headers={"Accept-Language": "en"})
    assert not told.text.startswith("There is no check-in")


# What is kept of it, and by whom


@pytest.mark.parametrize("file", FILES)
def test_a_reader_that_has_it_already_gets_no_body(
    coach: Client, client: Client, give: Give, file: str, clock: Clock
) -> None:
    coach.post("/v1/check-ins", json=EXAMPLE)
    path = f"/feeds/{give()}/{file}"
    first = client.get(path)
    clock.now += timedelta(minutes=5)
    again = client.get(path, headers={"If-None-Match": first.headers["ETag"]})
    assert (again.status_code, again.data) == (304, b"")
    coach.post("/v1/check-ins", json=EXAMPLE | {"illness": "fever"})
    other = client.get(path, headers={"If-None-Match": first.headers["ETag"]})
    assert other.status_code == 200


@pytest.mark.parametrize("file", FILES)
@pytest.mark.parametrize("known", [True, False])
def test_nothing_between_here_and_the_reader_keeps_an_answer(
    client: Client, give: Give, file: str, known: bool
) -> None:
    answer = client.get(f"/feeds/{give() if known else new_token()}/{file}")
    assert answer.headers["Cache-Control"] == "private, no-cache"
    assert answer.headers["X-Robots-Tag"] == "noindex"
    assert answer.headers["Referrer-Policy"] == "no-referrer"
    assert answer.headers["X-Content-Type-Options"] == "nosniff"


@pytest.mark.parametrize("file", FILES)
def test_spreadsheets_ask_with_options_and_head_before_they_get(
    client: Client, give: Give, file: str
) -> None:
    """LibreOffice sends OPTIONS, HEAD and GET for a cell, and gives up when one is refused."""
    path = f"/feeds/{give()}/{file}"
    assert client.options(path).status_code == 200
    head, got = client.head(path), client.get(path)
    assert (head.status_code, head.data) == (200, b"")
    assert head.headers["ETag"] == got.headers["ETag"]


# What it gives nobody


@pytest.mark.parametrize(
    "token", ["x", "A" * 43, "dawn_" + "A" * 43, "%00", "%F0%9F%8F%83", "A" * 3000]
)
@pytest.mark.parametrize("file", FILES)
def test_every_address_that_does_not_work_is_answered_alike(
    coach: Client, client: Client, give: Give, file: str, token: str
) -> None:
    """Unknown, revoked, for something else, malformed: nobody learns which."""
    given = coach.post("/v1/athletes/a-03/addresses", json={"purpose": "read"}).json
    coach.delete(f"/v1/addresses/{given['address_id']}")
    revoked = given["paths"][0].split("/")[2]
    other = give(purpose=Purpose.CHECK_IN)
    answers = [client.get(f"/feeds/{one}/{file}") for one in (token, revoked, other)]
    assert {answer.status_code for answer in answers} == {404}
    assert len({answer.content_type for answer in answers}) == 1
    bodies = {answer.text.replace(answer.headers["X-Request-Id"], "…") for answer in answers}
    assert len(bodies) == 1
    assert "There is nothing at this address" in bodies.pop()
    kind = "application/problem+json" if file == "today.json" else "text/plain; charset=utf-8"
    assert answers[0].content_type == kind


@pytest.mark.parametrize("purpose", list(Purpose))
def test_a_token_opens_nothing_but_what_it_is_for(
    app: Flask, client: Client, coach: Client, give: Give, purpose: Purpose
) -> None:
    """Every route and method, with the token in its place, as a key, and as a cookie."""
    coach.post("/v1/check-ins", json=EXAMPLE)
    token = give(purpose=purpose)
    bearer = client_with(app, token)
    own = "/feeds/<token>" if purpose is Purpose.READ else "/check-in/<token>"
    for method, rule in routes(app):
        if rule.startswith("/v1/"):
            path = rule.replace("<athlete_id>", "a-03").replace("<day>", "today.txt")
            assert bearer.open(path, method=method).status_code in (401, 429), rule
        elif "<token>" in rule:
            status = client.open(rule.replace("<token>", token), method=method).status_code
            assert (status == 404) == (not rule.startswith(own)), f"{method} {rule}"


@pytest.mark.parametrize("method", ["POST", "PUT", "PATCH", "DELETE"])
@pytest.mark.parametrize("file", FILES)
def test_an_address_for_reading_cannot_write(
    client: Client, give: Give, file: str, method: str
) -> None:
    token = give()
    refused = client.open(f"/feeds/{token}/{file}", method=method)
    assert refused.status_code == 405
    assert token not in refused.text


def test_an_address_tells_of_its_own_athlete_only(
    coach: Client, client: Client, give: Give
) -> None:
    coach.post("/v1/check-ins", json=EXAMPLE | {"illness": "fever"})
    told = client.get(f"/feeds/{give('a-04')}/today.txt").text
    assert "There is no check-in" in told


@pytest.mark.parametrize(
    "path", ["/feeds/{}/today.json", "/feeds/{}/today.csv", "/feeds/{}", "/check-in/{}/more"]
)
def test_no_error_repeats_a_token(client: Client, path: str) -> None:
    token = new_token()
    refused = client.get(path.format(token))
    assert refused.status_code == 404
    assert token not in refused.text


def test_a_token_stands_in_no_log(
    client: Client, give: Give, caplog: pytest.LogCaptureFixture
) -> None:
    known, unknown = give(), new_token()
    with caplog.at_level(0):
        for token in (known, unknown):
            for file in FILES:
                client.get(f"/feeds/{token}/{file}")
            client.get(f"/check-in/{token}")
            client.post(f"/check-in/{token}", data={"fatigue": "99"})
    for token in (known, unknown):
        assert token not in caplog.text


def test_an_erased_athletes_addresses_are_gone(coach: Client, client: Client, give: Give) -> None:
    token = give()
    erased = coach.delete("/v1/athletes/a-03").json
    assert erased["private_addresses"] == 1
    assert client.get(f"/feeds/{token}/today.txt").status_code == 404


def test_the_time_of_the_advice_is_that_of_the_athletes_clock(
    coach: Client, client: Client, give: Give, clock: Clock
) -> None:
    clock.set("2026-03-29T00:30:00+00:00")  # half past one in Berlin; clocks go forward at two
    coach.post("/v1/check-ins", json={"athlete_id": "a-03", "date": "2026-03-29", "plan": []})
    token = give()
    assert client.get(f"/feeds/{token}/today.txt").text.endswith("As of 2026-03-29 01:30.")
    clock.set("2026-03-29T01:30:00+00:00")
    later = EXAMPLE | {"date": "2026-03-29", "plan": [], "reported_at": clock().isoformat()}
    coach.post("/v1/check-ins", json=later)
    as_of = client.get(f"/feeds/{token}/today.json").json["as_of"]
    assert datetime.fromisoformat(as_of).isoformat() == "2026-03-29T03:30:00+02:00"
