"""Concerns over HTTP: opened by check-ins and coaches, lifted by coaches and clinicians."""

from __future__ import annotations

import io
import json
from typing import Any
from zipfile import ZipFile

import pytest

from dawnrule.store import Store
from tests.conftest import Client, Clock

WELL: dict[str, Any] = {"warning_signs": [], "illness": "none", "pain": []}
CHEST: dict[str, Any] = WELL | {"warning_signs": ["chest-pain"]}


def check_in(client: Client, day: str = "2026-03-09", **reported: Any) -> Any:
    body = {"athlete_id": "a-03", "date": day, "plan": []} | WELL | reported
    answer = client.post("/v1/check-ins", json=body)
    assert answer.status_code in (200, 201), answer.text
    return answer.json


def open_ones(client: Client) -> list[dict[str, Any]]:
    concerns: list[dict[str, Any]] = client.get("/v1/concerns").json["concerns"]
    return concerns


@pytest.fixture
def chest_pain(coach: Client) -> str:
    """The id of a concern that a check-in has opened."""
    check_in(coach, **CHEST)
    [concern] = open_ones(coach)
    return str(concern["concern_id"])


def test_a_warning_sign_is_open_until_a_clinician_clears_it(
    coach: Client, clinician: Client, clock: Clock, chest_pain: str
) -> None:
    clock.set("2026-03-12T06:45:00+01:00")
    check_in(coach, "2026-03-12")
    [concern] = open_ones(clinician)
    assert (concern["state"], concern["lifted_by"], concern["signs"]) == (
        "open",
        "clearance",
        ["chest-pain"],
    )
    terms = {"restrictions": {"effort_at_most": 4, "no_contact": True}, "name": "Dr. Adler"}
    cleared = clinician.post(f"/v1/concerns/{chest_pain}/clearances", json=terms)
    assert (cleared.status_code, cleared.json["state"]) == (201, "returning")
    assert cleared.json["staged_return"].startswith("heart-or-chest@")
    clearance = cleared.json["clearance"]
    assert (clearance["given_by"], clearance["name"]) == ("clinician", "Dr. Adler")
    assert clearance["restrictions"] == terms["restrictions"]
    withdrawn = coach.delete(f"/v1/concerns/{chest_pain}/clearances/{clearance['id']}")
    assert (withdrawn.status_code, withdrawn.json["state"]) == (200, "open")
    assert [event["kind"] for event in withdrawn.json["events"]] == [
        "opened",
        "answered-none",
        "cleared",
        "stage-reached",
        "clearance-revoked",
    ]


def test_a_concern_tells_how_bad_its_pain_was_said_to_be(coach: Client) -> None:
    check_in(coach, pain=[{"where": "left knee", "kind": "joint", "severity": 6}])
    [concern] = open_ones(coach)
    assert concern["pain"]["severity"] == 6


def test_a_clearance_that_is_not_in_force_cannot_be_withdrawn(
    coach: Client, chest_pain: str
) -> None:
    answer = coach.delete(f"/v1/concerns/{chest_pain}/clearances/nothing")
    assert answer.status_code == 409
    assert "not in force" in answer.json["detail"]


def test_a_correction_of_the_same_date_waits_for_a_coach_to_confirm_it(
    coach: Client, clock: Clock, chest_pain: str
) -> None:
    clock.set("2026-03-09T07:00:00+01:00")
    check_in(coach)
    [concern] = open_ones(coach)
    assert (concern["state"], concern["unconfirmed_correction_on"]) == ("open", "2026-03-09")
    acts = coach.get("/v1/acts?act=concern-withdrawn-same-day").json["acts"]
    assert [act["about"]["concern_id"] for act in acts] == [chest_pain]
    confirmed = coach.post(f"/v1/concerns/{chest_pain}/confirm-correction", json={"name": "Ada"})
    assert (confirmed.json["state"], confirmed.json["was_typing_error"]) == ("closed", True)
    again = coach.post(f"/v1/concerns/{chest_pain}/confirm-correction", json={})
    assert again.status_code == 409
    assert open_ones(coach) == []


def test_a_clinician_orders_a_restriction_which_an_athlete_sees_and_cannot_lift(
    clinician: Client, athlete: Client
) -> None:
    ordered = {
        "reason": "surgery",
        "restrictions": {"rests_everything": True},
        "until": "2026-03-30",
    }
    opened = clinician.post(
        "/v1/athletes/a-03/concerns", json={"kind": "restriction", "restriction": ordered}
    )
    assert (opened.status_code, opened.json["restriction"]) == (201, ordered)
    seen = athlete.get("/v1/athletes/a-03/concerns").json["concerns"]
    assert [concern["lifted_by"] for concern in seen] == ["coach-or-clinician"]
    concern_id = seen[0]["concern_id"]
    for address in ("clearances", "confirm-correction", "advance"):
        assert athlete.post(f"/v1/concerns/{concern_id}/{address}", json={}).status_code == 403


@pytest.mark.parametrize(
    ("body", "pointer"),
    [
        ({}, "/kind"),
        ({"kind": "cold"}, "/kind"),
        ({"kind": "pain"}, "/pain"),
        ({"kind": "restriction"}, "/restriction"),
        ({"kind": "illness"}, "/illness"),
        ({"kind": "head-injury", "illness": "fever"}, "/illness"),
        ({"kind": "head-injury", "signs": ["hiccups"]}, "/signs/0"),
        ({"kind": "pain", "pain": {"kind": "dull"}}, "/pain/kind"),
        (
            {
                "kind": "restriction",
                "restriction": {"reason": "injury", "restrictions": {"effort_at_most": 11}},
            },
            "/restriction/restrictions/effort_at_most",
        ),
        (
            {
                "kind": "restriction",
                "restriction": {"reason": "injury", "restrictions": {"no_contact": "yes"}},
            },
            "/restriction/restrictions/no_contact",
        ),
    ],
)
def test_what_cannot_be_meant_is_refused_with_its_place(
    coach: Client, body: dict[str, Any], pointer: str
) -> None:
    answer = coach.post("/v1/athletes/a-03/concerns", json=body)
    assert answer.status_code == 422
    assert pointer in [error["pointer"] for error in answer.json["errors"]]


def test_a_clearance_until_yesterday_is_refused(coach: Client, chest_pain: str) -> None:
    answer = coach.post(f"/v1/concerns/{chest_pain}/clearances", json={"until": "2026-03-08"})
    assert answer.status_code == 422


def test_a_return_is_advanced_in_its_time_only(
    coach: Client, clock: Clock, chest_pain: str
) -> None:
    coach.post(f"/v1/concerns/{chest_pain}/clearances", json={})
    early = coach.post(f"/v1/concerns/{chest_pain}/advance", json={})
    assert (early.status_code, "at least" in early.json["detail"]) == (409, True)
    clock.set("2026-05-09T07:00:00+02:00")
    assert coach.post(f"/v1/concerns/{chest_pain}/advance", json={}).json["stage"] == 2
    back = coach.post(f"/v1/concerns/{chest_pain}/advance", json={"back": True})
    assert back.json["stage"] == 1


def test_what_is_not_there_is_not_found(coach: Client) -> None:
    assert coach.get("/v1/athletes/a-99/concerns").status_code == 404
    assert coach.post("/v1/athletes/a-99/concerns", json={"kind": "leg-clot"}).status_code == 404
    assert coach.post("/v1/concerns/none/clearances", json={}).status_code == 404


def test_an_erased_athlete_has_no_concerns(coach: Client, store: Store, chest_pain: str) -> None:
    assert coach.delete("/v1/athletes/a-03").json["concerns"] == 1
    assert open_ones(coach) == []


def test_the_record_of_an_advice_names_what_was_open(coach: Client, chest_pain: str) -> None:
    advice_id = coach.get("/v1/athletes/a-03/advice/today").json["advice_id"]
    [concern] = coach.get(f"/v1/advice/{advice_id}").json["concerns"]
    assert concern == {
        "id": chest_pain,
        "kind": "heart-or-chest",
        "state": "open",
        "began_on": "2026-03-09",
        "last_reported_on": "2026-03-09",
        "stage": None,
    }


def test_an_export_holds_every_event_of_every_concern(coach: Client, chest_pain: str) -> None:
    packed = ZipFile(io.BytesIO(coach.get("/v1/athletes/a-03/export").data))
    [event] = json.loads(packed.read("concerns.json"))
    assert (event["concern_id"], event["kind"]) == (chest_pain, "heart-or-chest")
    assert event["concern"]["event"]["signs"] == ["chest-pain"]


@pytest.mark.parametrize("illness", ["none", "above-neck"])
def test_what_opens_no_concern_cannot_be_opened_as_one(coach: Client, illness: str) -> None:
    answer = coach.post("/v1/athletes/a-03/concerns", json={"kind": "illness", "illness": illness})
    assert answer.status_code == 422
    assert answer.json["errors"][0]["pointer"] == "/illness"


def test_a_restriction_that_restricts_nothing_is_refused(coach: Client) -> None:
    empty = {"reason": "injury", "restrictions": {"no_contact": False}}
    body = {"kind": "restriction", "restriction": empty}
    refused = coach.post("/v1/athletes/a-03/concerns", json=body)
    pointers = [error["pointer"] for error in refused.json["errors"]]
    assert (refused.status_code, pointers) == (422, ["/restriction/restrictions"])
    assert open_ones(coach) == []


def test_who_says_nothing_of_a_sign_later_that_day_does_not_undo_its_clearance(
    coach: Client,
) -> None:
    body = {"athlete_id": "a-03", "date": "2026-03-09", "plan": [], "warning_signs": ["chest-pain"]}
    assert coach.post("/v1/check-ins", json=body).status_code == 201
    [concern] = coach.get("/v1/concerns").json["concerns"]
    cleared = coach.post(
        f"/v1/concerns/{concern['concern_id']}/clearances", json={"name": "Dr. Weber"}
    )
    assert cleared.status_code == 201
    [before] = coach.get("/v1/concerns").json["concerns"]
    merge = {"Content-Type": "application/merge-patch+json"}
    address = "/v1/check-ins/a-03/2026-03-09"
    assert coach.patch(address, data='{"hrv_rmssd_ms": 60}', headers=merge).status_code == 201
    plan = {"plan": [{"goal": "mobility"}]}
    assert coach.put("/v1/athletes/a-03/plans/2026-03-09", json=plan).status_code == 201
    [after] = coach.get("/v1/concerns").json["concerns"]
    assert (after["state"], after["events"]) == (before["state"], before["events"])
    again = '{"warning_signs": ["chest-pain", "fainting"]}'
    assert coach.patch(address, data=again, headers=merge).status_code == 201
    [reported] = coach.get("/v1/concerns").json["concerns"]
    assert reported["state"] == "open"
