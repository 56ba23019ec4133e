"""Every route closed to whom it is not for; the routes are read from the application, so that none
can be forgotten here."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Any

import pytest
from flask import Flask

from dawnrule.settings import Settings
from dawnrule.store import Purpose, Role, Store
from dawnrule.web.http.authorization import ACCESS, Session
from dawnrule.web.openapi import document
from tests.conftest import Client, MakeKey, client_with
from tests.factories import DAY_OFF, SESSION, changed

MINE, OTHERS, NOBODYS = "a-03", "a-04", "a-99"

IDS = {
    "athlete_id",
    "session_id",
    "advice_id",
    "address_id",
    "group_id",
    "sheet_id",
    "replay_id",
    "concern_id",
    "clearance_id",
    "token",
}
"""What in an address is the id of something that belongs to somebody."""

NO_IDS = {"name", "version", "day", "date", "kind", "filename", "elsewhere"}

BODIES: Mapping[str, Any] = {
    "sessions.put_session": SESSION,
    "plans.put_plan": {"plan": []},
    "athletes.put_athlete": {"name": "Mara", "time_zone": "Europe/Berlin"},
}
"""What is sent where a body is looked at before the address; else an empty object."""


@dataclass(frozen=True)
class Route:
    endpoint: str
    method: str
    rule: str
    arguments: frozenset[str]

    @property
    def access(self) -> Any:
        return ACCESS[self.endpoint]

    @property
    def ids(self) -> frozenset[str]:
        return self.arguments & IDS

    def call(self, client: Client, ids: Mapping[str, str], **sent: Any) -> Any:
        """Call it; what is no id gets a value that fits."""
        fitting = {
            "name": "baseline",
            "version": "1.1.0",
            "day": "2026-03-09",
            "date": "2026-03-09",
            "kind": "not-found",
            "filename": "page.css",
            "elsewhere": "nowhere",
        }
        address = self.rule.replace("<path:", "<")
        for argument in self.arguments:
            address = address.replace(f"<{argument}>", (fitting | dict(ids))[argument])
        if self.method in ("POST", "PUT") and "json" not in sent and "data" not in sent:
            sent["json"] = BODIES.get(self.endpoint, {})
        return client.open(address, method=self.method, buffered=True, **sent)

    def __str__(self) -> str:
        return f"{self.method} {self.rule}"


def routes(app: Flask) -> Iterator[Route]:
    for rule in app.url_map.iter_rules():
        for method in sorted((rule.methods or set()) - {"HEAD", "OPTIONS"}):
            yield Route(rule.endpoint, method, rule.rule, frozenset(rule.arguments))


@pytest.fixture
def belongings(coach: Client) -> dict[str, dict[str, str]]:
    """The ids of what belongs to each: to the athlete who asks, to another, and to nobody."""
    nothing = dict.fromkeys(IDS, "id-9999") | {"athlete_id": NOBODYS}
    return {MINE: of_athlete(coach, MINE), OTHERS: of_athlete(coach, OTHERS), NOBODYS: nothing}


def of_athlete(coach: Client, athlete_id: str) -> dict[str, str]:
    advice = coach.post("/v1/check-ins", json=DAY_OFF | {"athlete_id": athlete_id}).json
    session = coach.post("/v1/sessions", json=changed("/athlete_id", athlete_id, SESSION)).json
    address = coach.post(f"/v1/athletes/{athlete_id}/addresses", json={"purpose": "read"}).json
    filled = {"name": f"Group of {athlete_id}", "athletes": [athlete_id]}
    group = coach.put(f"/v1/groups/g-{athlete_id}", json=filled).json
    dates = {"from": "2026-03-09", "to": "2026-03-09"}
    replay = coach.post("/v1/replays", json={"rule_set": "baseline@1.1.0"} | dates).json
    coach.put(f"/v1/athletes/{athlete_id}/plans/2026-03-09", json={"plan": []})
    opening = {"kind": "heart-or-chest"}
    concern = coach.post(f"/v1/athletes/{athlete_id}/concerns", json=opening).json
    cleared = coach.post(f"/v1/concerns/{concern['concern_id']}/clearances", json={}).json
    said = {"Name": "athlete_id", "Date": "date", f"Legs of {athlete_id}": "soreness_legs"}
    sheet = coach.post("/v1/sheets", json={"kind": "check-ins", "columns": said}).json
    return {
        "athlete_id": athlete_id,
        "sheet_id": sheet["sheet_id"],
        "advice_id": advice["advice_id"],
        "session_id": session["session_id"],
        "address_id": address["address_id"],
        "group_id": group["group_id"],
        "replay_id": replay["replay_id"],
        "concern_id": concern["concern_id"],
        "clearance_id": cleared["clearance"]["id"],
        "token": address["paths"][0].split("/")[2],
    }


def told(answer: Any, ids: Mapping[str, str]) -> str:
    """An answer without what was asked for and the request's id."""
    text: str = answer.text.replace(answer.headers["X-Request-Id"], "…")
    for value in sorted(ids.values(), key=len, reverse=True):
        text = text.replace(value, "…")
    return text


def test_whatever_stands_in_an_address_is_known_to_be_an_id_or_none(app: Flask) -> None:
    assert {argument for route in routes(app) for argument in route.arguments} <= IDS | NO_IDS


def test_each_operation_is_for_the_roles_that_the_table_says(
    app: Flask,
    client: Client,
    coach: Client,
    clinician: Client,
    poster: Client,
    athlete: Client,
    belongings: dict[str, dict[str, str]],
) -> None:
    clients = {
        Role.COACH: coach,
        Role.CLINICIAN: clinician,
        Role.POSTER: poster,
        Role.ATHLETE: athlete,
    }
    for route in routes(app):
        if not isinstance(route.access, frozenset):
            continue
        assert route.call(client, belongings[MINE]).status_code == 401, route
        for role in set(Role) - route.access:
            refused = route.call(clients[role], belongings[MINE])
            assert refused.status_code == 403, f"{role}: {route}"
            assert role in refused.json["detail"]


def test_a_clinician_sees_and_lifts_concerns_and_nothing_else(app: Flask) -> None:
    may = {
        str(route)
        for route in routes(app)
        if isinstance(route.access, frozenset) and Role.CLINICIAN in route.access
    }
    assert may == {
        "GET /v1/concerns",
        "GET /v1/athletes/<athlete_id>/concerns",
        "POST /v1/athletes/<athlete_id>/concerns",
        "POST /v1/concerns/<concern_id>/clearances",
        "DELETE /v1/concerns/<concern_id>/clearances/<clearance_id>",
        "POST /v1/concerns/<concern_id>/confirm-correction",
        "POST /v1/concerns/<concern_id>/advance",
    }


def test_to_an_athlete_nothing_of_others_is_there(
    app: Flask, athlete: Client, belongings: dict[str, dict[str, str]]
) -> None:
    """Of every kind of id, the other's gets what nobody's gets."""
    tried: set[str] = set()
    for route in routes(app):
        if not isinstance(route.access, frozenset) or not route.ids:
            continue
        others, nobodys = (route.call(athlete, belongings[of]) for of in (OTHERS, NOBODYS))
        expected = 404 if Role.ATHLETE in route.access else 403
        assert (others.status_code, nobodys.status_code) == (expected, expected), route
        assert told(others, belongings[OTHERS]) == told(nobodys, belongings[NOBODYS]), route
        tried |= route.ids
    assert tried == IDS - {"token"}


def test_an_athlete_changes_nothing_of_others_with_whatever_a_body_names(
    app: Flask, athlete: Client, belongings: dict[str, dict[str, str]]
) -> None:
    """Each operation whose body names an athlete, and that an athlete may call."""
    bodies = {"CheckIn": DAY_OFF, "Session": SESSION}
    tried = set()
    for path, operations in document(app)["paths"].items():
        for method, operation in operations.items():
            body = body_of(operation)
            if method == "parameters" or body not in bodies:
                continue
            if Role.ATHLETE not in operation["x-roles"]:
                continue
            address = path.replace("{session_id}", belongings[MINE]["session_id"])
            for whose in (OTHERS, NOBODYS):
                sent = changed("/athlete_id", whose, bodies[body])
                answer = athlete.open(address, method=method.upper(), json=sent)
                assert answer.status_code == 404, f"{method} {path} for {whose}"
            tried.add(f"{method} {path}")
    assert tried == {
        "post /v1/check-ins",
        "post /v1/sessions",
        "put /v1/sessions/{session_id}",
    }


def body_of(operation: Any) -> str | None:
    """The name of the schema of an operation's JSON body."""
    if "requestBody" not in operation:
        return None
    schema = operation["requestBody"]["content"].get("application/json", {}).get("schema", {})
    name: str | None = schema.get("$ref", "").rpartition("/")[2] or None
    return name


def test_no_body_takes_an_athletes_id_past_these_tests(app: Flask) -> None:
    """The schemas that name an athlete, or hold one that does, and whom their operations let in."""
    schemas = document(app)["components"]["schemas"]
    for operations in document(app)["paths"].values():
        for method, operation in operations.items():
            name = body_of(operation) if method != "parameters" else None
            if name and Role.ATHLETE in operation.get("x-roles", ()):
                assert name in ("CheckIn", "Session") or "athlete" not in str(schemas[name]), name


def test_pages_are_opened_by_a_sign_in_and_by_nothing_else(
    app: Flask,
    client: Client,
    coach: Client,
    coach_browser: Client,
    belongings: dict[str, dict[str, str]],
) -> None:
    for route in routes(app):
        if not isinstance(route.access, Session):
            continue
        for stranger in (client, coach, client_with(app, belongings[MINE]["token"])):
            refused = route.call(stranger, belongings[MINE])
            assert refused.status_code == 302, route
            assert refused.headers["Location"].startswith("/coach/sign-in"), route
        if route.method == "GET":
            opened = route.call(coach_browser, belongings[MINE])
            leads_on = opened.headers.get("Location", "").startswith("/coach/advice/")
            no_page = opened.status_code == 404 and route.arguments == {"elsewhere"}
            assert opened.status_code == 200 or leads_on or no_page, route
        else:
            assert route.call(coach_browser, belongings[MINE]).status_code == 400, "no token"


def test_a_sign_in_opens_nothing_but_the_pages(
    app: Flask, coach_browser: Any, belongings: dict[str, dict[str, str]]
) -> None:
    """Even if a browser sent its cookie to every address."""
    cookie = coach_browser.get_cookie("dawnrule_coach", path="/coach").value
    anywhere = app.test_client()
    anywhere.set_cookie("dawnrule_coach", cookie, path="/")
    assert anywhere.get("/coach/").status_code == 200
    for route in routes(app):
        if isinstance(route.access, frozenset):
            assert route.call(anywhere, belongings[MINE]).status_code == 401, route


class TestTokens:
    @pytest.fixture
    def settings(self, settings: Settings) -> Settings:
        return replace(settings, wrong_guesses_per_minute=0)

    def test_a_token_is_good_for_its_purpose_and_nothing_else_is(
        self,
        app: Flask,
        client: Client,
        coach: Client,
        coach_key: str,
        athlete_key: str,
        belongings: dict[str, dict[str, str]],
    ) -> None:
        given = coach.post(f"/v1/athletes/{MINE}/addresses", json={"purpose": "check-in"}).json
        tokens = {
            Purpose.READ: belongings[MINE]["token"],
            Purpose.CHECK_IN: given["paths"][0].split("/")[2],
        }
        with_token = [route for route in routes(app) if "token" in route.arguments]
        assert {route.rule.split("/")[1] for route in with_token} == {"feeds", "check-in"}
        for route in with_token:
            own = Purpose.READ if route.rule.startswith("/feeds/") else Purpose.CHECK_IN
            for purpose, token in tokens.items():
                status = route.call(client, {"token": token}, data={}).status_code
                assert (status == 404) is (purpose is not own), f"{purpose}: {route}"
            for key in (coach_key, athlete_key):
                assert route.call(client, {"token": key}, data={}).status_code == 404, route

    def test_a_token_is_no_key(
        self, app: Flask, coach: Client, belongings: dict[str, dict[str, str]]
    ) -> None:
        given = coach.post(f"/v1/athletes/{MINE}/addresses", json={"purpose": "check-in"}).json
        for token in (belongings[MINE]["token"], given["paths"][0].split("/")[2]):
            bearer = client_with(app, token)
            for route in routes(app):
                if isinstance(route.access, frozenset):
                    assert route.call(bearer, belongings[MINE]).status_code == 401, route


def test_a_key_leaves_with_its_athlete(
    app: Flask, coach: Client, make_key: MakeKey, store: Store
) -> None:
    own = client_with(app, make_key(Role.ATHLETE, OTHERS))
    assert own.get(f"/v1/athletes/{OTHERS}").status_code == 200
    coach.delete(f"/v1/athletes/{OTHERS}")
    coach.put(f"/v1/athletes/{OTHERS}", json={"name": "Somebody else", "time_zone": "UTC"})
    assert own.get(f"/v1/athletes/{OTHERS}").status_code == 401
