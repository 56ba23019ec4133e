"""Access by role: who may do what, and that everybody else learns nothing."""

from __future__ import annotations

from typing import Any

import pytest
from flask import Flask

from dawnrule.store import Store, hash_key
from dawnrule.web.http.authorization import require_declared_access
from tests.conftest import Client, client_with
from tests.factories import EXAMPLE, changed

EVERYBODY = {"nobody", "coach", "clinician", "poster", "athlete"}
EVERY_KEY = {"coach", "poster", "athlete"}
SIGNED_IN = {"a coach's browser"}
"""A browser that has not signed in is sent to where it can, whatever key comes along."""

MAY = {
    "GET /": EVERYBODY,
    "GET /coach/sign-in": EVERYBODY,
    "POST /coach/sign-in": EVERYBODY,
    "POST /coach/sign-out": SIGNED_IN,
    "GET /coach/": SIGNED_IN,
    "GET /coach/squad.csv": SIGNED_IN,
    "GET /coach/athletes": SIGNED_IN,
    "POST /coach/athletes": SIGNED_IN,
    "GET /coach/athletes/<athlete_id>/change": SIGNED_IN,
    "POST /coach/athletes/<athlete_id>/change": SIGNED_IN,
    "POST /coach/athletes/<athlete_id>/erase": SIGNED_IN,
    "GET /coach/add-athletes": SIGNED_IN,
    "POST /coach/add-athletes": SIGNED_IN,
    "GET /coach/athletes/<athlete_id>": SIGNED_IN,
    "GET /coach/athletes/<athlete_id>/check-in": SIGNED_IN,
    "POST /coach/athletes/<athlete_id>/check-in": SIGNED_IN,
    "GET /coach/plan": SIGNED_IN,
    "POST /coach/plan": SIGNED_IN,
    "POST /coach/plan/day": SIGNED_IN,
    "POST /coach/plan/copy": SIGNED_IN,
    "GET /coach/week": SIGNED_IN,
    "POST /coach/week": SIGNED_IN,
    "GET /coach/log": SIGNED_IN,
    "POST /coach/log": SIGNED_IN,
    "POST /coach/log/<session_id>/remove": SIGNED_IN,
    "GET /coach/addresses": SIGNED_IN,
    "POST /coach/addresses": SIGNED_IN,
    "POST /coach/addresses/<address_id>/end": SIGNED_IN,
    "GET /coach/groups": SIGNED_IN,
    "POST /coach/groups": SIGNED_IN,
    "GET /coach/groups/<group_id>": SIGNED_IN,
    "POST /coach/groups/<group_id>": SIGNED_IN,
    "POST /coach/groups/<group_id>/remove": SIGNED_IN,
    "GET /coach/drifts": SIGNED_IN,
    "GET /coach/concerns": SIGNED_IN,
    "POST /coach/concerns": SIGNED_IN,
    "POST /coach/concerns/<concern_id>/clear": SIGNED_IN,
    "POST /coach/concerns/<concern_id>/withdraw": SIGNED_IN,
    "POST /coach/concerns/<concern_id>/confirm": SIGNED_IN,
    "POST /coach/concerns/<concern_id>/advance": SIGNED_IN,
    "GET /coach/advice/<advice_id>": SIGNED_IN,
    "GET /coach/why/<athlete_id>/<day>": SIGNED_IN,
    "GET /coach/rule-sets": SIGNED_IN,
    "GET /coach/rule-sets/publish": SIGNED_IN,
    "POST /coach/rule-sets/publish": SIGNED_IN,
    "GET /coach/rule-sets/deciding": SIGNED_IN,
    "POST /coach/rule-sets/activate": SIGNED_IN,
    "POST /coach/rule-sets/take-back": SIGNED_IN,
    "POST /coach/rule-sets/trial": SIGNED_IN,
    "GET /coach/rule-sets/<name>/<version>": SIGNED_IN,
    "GET /coach/rule-sets/<name>/<version>/scorecard": SIGNED_IN,
    "GET /coach/rule-sets/<name>/<version>/try-out": SIGNED_IN,
    "POST /coach/rule-sets/<name>/<version>/try-out": SIGNED_IN,
    "GET /coach/replays": SIGNED_IN,
    "POST /coach/replays": SIGNED_IN,
    "GET /coach/replays/<replay_id>": SIGNED_IN,
    "POST /coach/replays/<replay_id>/cancel": SIGNED_IN,
    "POST /coach/replays/<replay_id>/resume": SIGNED_IN,
    "GET /coach/<path:elsewhere>": SIGNED_IN,
    "GET /docs": EVERYBODY,
    "GET /problems/<kind>": EVERYBODY,
    "GET /static/<path:filename>": EVERYBODY,
    "GET /healthz": EVERYBODY,
    "GET /readyz": EVERYBODY,
    "GET /metrics": {"coach", "poster"},
    "GET /openapi.yaml": EVERYBODY,
    "GET /v1/athletes": {"coach"},
    "PUT /v1/athletes/<athlete_id>": {"coach"},
    "GET /v1/athletes/<athlete_id>": {"coach", "athlete"},
    "DELETE /v1/athletes/<athlete_id>": {"coach"},
    "GET /v1/groups": {"coach"},
    "PUT /v1/groups/<group_id>": {"coach"},
    "GET /v1/groups/<group_id>": {"coach"},
    "DELETE /v1/groups/<group_id>": {"coach"},
    "POST /v1/sheet-columns": {"coach"},
    "GET /v1/sheets": {"coach"},
    "POST /v1/sheets": {"coach"},
    "DELETE /v1/sheets/<sheet_id>": {"coach"},
    "GET /coach/sheets": SIGNED_IN,
    "POST /coach/sheets": SIGNED_IN,
    "POST /coach/sheets/introduce": SIGNED_IN,
    "POST /coach/sheets/<sheet_id>/forget": SIGNED_IN,
    "POST /v1/check-ins": EVERY_KEY,
    "PATCH /v1/check-ins/<athlete_id>/<date>": EVERY_KEY,
    "POST /v1/check-ins/batch": {"coach", "poster"},
    "POST /v1/sessions": EVERY_KEY,
    "POST /v1/sessions/batch": {"coach", "poster"},
    "GET /v1/sessions/<session_id>": {"coach", "athlete"},
    "PUT /v1/sessions/<session_id>": {"coach", "athlete"},
    "DELETE /v1/sessions/<session_id>": {"coach", "athlete"},
    "GET /v1/athletes/<athlete_id>/sessions": {"coach", "athlete"},
    "GET /v1/athletes/<athlete_id>/outlook": {"coach", "athlete"},
    "GET /v1/athletes/<athlete_id>/recovery": {"coach", "athlete"},
    "GET /v1/recovery": {"coach"},
    "GET /v1/athletes/<athlete_id>/recovery/rules": {"coach"},
    "POST /v1/weeks": {"coach"},
    "POST /v1/weeks/check": {"coach"},
    "GET /v1/athletes/<athlete_id>/targets": {"coach", "athlete"},
    "GET /v1/athletes/<athlete_id>/advice/<day>": EVERY_KEY,
    "PUT /v1/athletes/<athlete_id>/plans/<date>": {"coach", "poster"},
    "GET /v1/athletes/<athlete_id>/plans/<date>": {"coach", "athlete"},
    "DELETE /v1/athletes/<athlete_id>/plans/<date>": {"coach", "poster"},
    "POST /v1/athletes/<athlete_id>/addresses": {"coach"},
    "GET /v1/athletes/<athlete_id>/addresses": {"coach"},
    "DELETE /v1/addresses/<address_id>": {"coach"},
    "POST /v1/addresses/<address_id>/rotate": {"coach"},
    "GET /feeds/<token>/today.txt": EVERYBODY,
    "GET /feeds/<token>/today.json": EVERYBODY,
    "GET /feeds/<token>/outlook.ics": EVERYBODY,
    "GET /check-in/<token>": EVERYBODY,
    "POST /check-in/<token>": EVERYBODY,
    "GET /v1/advice": {"coach"},
    "GET /v1/morning": {"coach"},
    "GET /v1/drifts": {"coach"},
    "GET /v1/athletes/<athlete_id>/done": {"coach", "athlete"},
    "GET /v1/advice/<advice_id>": EVERY_KEY,
    "GET /v1/advice/<advice_id>/proof": EVERY_KEY,
    "GET /v1/ledger/head": {"coach"},
    "GET /v1/acts": {"coach"},
    "GET /v1/athletes/<athlete_id>/export": {"coach", "athlete"},
    "POST /v1/evaluations": {"coach"},
    "GET /v1/concerns": {"coach", "clinician"},
    "GET /v1/athletes/<athlete_id>/concerns": {"coach", "clinician", "athlete"},
    "POST /v1/athletes/<athlete_id>/concerns": {"coach", "clinician"},
    "POST /v1/concerns/<concern_id>/clearances": {"coach", "clinician"},
    "DELETE /v1/concerns/<concern_id>/clearances/<clearance_id>": {"coach", "clinician"},
    "POST /v1/concerns/<concern_id>/confirm-correction": {"coach", "clinician"},
    "POST /v1/concerns/<concern_id>/advance": {"coach", "clinician"},
    "GET /v1/rule-sets": {"coach"},
    "POST /v1/rule-sets": {"coach"},
    "GET /v1/rule-sets/<name>/<version>": {"coach"},
    "GET /v1/rule-sets/<name>/<version>/findings": {"coach"},
    "GET /v1/rule-sets/<name>/<version>/scorecard": {"coach"},
    "GET /v1/rule-sets/diff": {"coach"},
    "GET /v1/rule-sets/active": {"coach"},
    "GET /v1/rule-sets/deciding": {"coach"},
    "PUT /v1/rule-sets/active": {"coach"},
    "POST /v1/rule-sets/rollback": {"coach"},
    "GET /v1/rule-sets/shadow": {"coach"},
    "PUT /v1/rule-sets/shadow": {"coach"},
    "DELETE /v1/rule-sets/shadow": {"coach"},
    "GET /v1/athletes/<athlete_id>/rule-set": {"coach"},
    "PUT /v1/athletes/<athlete_id>/rule-set": {"coach"},
    "POST /v1/replays": {"coach"},
    "GET /v1/replays": {"coach"},
    "GET /v1/replays/<replay_id>": {"coach"},
    "DELETE /v1/replays/<replay_id>": {"coach"},
    "POST /v1/replays/<replay_id>/resume": {"coach"},
}
"""Written down here a second time, so that no slip in the service's own table goes unseen."""


def routes(app: Flask) -> list[tuple[str, str]]:
    return [
        (method, rule.rule)
        for rule in app.url_map.iter_rules()
        for method in sorted((rule.methods or set()) - {"HEAD", "OPTIONS"})
    ]


def open_route(client: Client, method: str, route: str) -> Any:
    """Any call of a route, mostly of the first athlete; another is erased."""
    athlete_id = "a-05" if method == "DELETE" else "a-03"
    for part, value in {
        "<athlete_id>": athlete_id,
        "<day>": "today",
        "<kind>": "not-found",
        "<path:filename>": "page.css",
    }.items():
        route = route.replace(part, value)
    return client.open(route.strip("<>"), method=method, buffered=True)


@pytest.fixture
def clients(
    client: Client, coach: Client, clinician: Client, poster: Client, athlete: Client
) -> dict[str, Client]:
    keys = {"coach": coach, "clinician": clinician, "poster": poster, "athlete": athlete}
    return {"nobody": client} | keys


def test_every_route_lets_in_whom_it_should_and_nobody_else(
    app: Flask, clients: dict[str, Client]
) -> None:
    assert {f"{method} {rule}" for method, rule in routes(app)} == set(MAY)
    for method, rule in routes(app):
        if MAY[f"{method} {rule}"] == SIGNED_IN:
            refuse_keys(clients, method, rule)
            continue
        for who, client in clients.items():
            status = open_route(client, method, rule).status_code
            if who in MAY[f"{method} {rule}"]:
                assert status not in (401, 403), f"{who}: {method} {rule}"
            else:
                assert status == (401 if who == "nobody" else 403), f"{who}: {method} {rule}"


def refuse_keys(clients: dict[str, Client], method: str, rule: str) -> None:
    """A page of a coach's browser is not opened by a key."""
    for who, client in clients.items():
        answer = open_route(client, method, rule)
        assert answer.status_code == 302, f"{who}: {method} {rule}"
        assert answer.headers["Location"].startswith("/coach/sign-in"), f"{who}: {method} {rule}"


def test_a_route_that_nobody_thought_of_stops_the_start() -> None:
    app = Flask("another", static_folder=None)
    app.add_url_rule("/v1/secrets", view_func=lambda: "all of them", endpoint="secrets")
    with pytest.raises(RuntimeError, match="secrets"):
        require_declared_access(app)


@pytest.mark.parametrize(
    "authorization", ["", "Bearer", "Bearer ", "Bearer dawn_wrong", "Basic YTpi", "dawn_wrong"]
)
def test_without_a_key_that_is_known_nothing_is_told(client: Client, authorization: str) -> None:
    answer = client.get("/v1/athletes", headers={"Authorization": authorization})
    assert answer.status_code == 401
    assert answer.headers["WWW-Authenticate"].startswith("Bearer")
    assert answer.json["title"] == "A key is needed"


def test_a_known_key_of_the_wrong_role_gets_403(poster: Client) -> None:
    answer = poster.get("/v1/athletes")
    assert answer.status_code == 403
    assert "poster" in answer.json["detail"]


def test_a_revoked_key_is_refused_at_once(
    app: Flask, store: Store, coach: Client, coach_key: str, clock: Any
) -> None:
    assert coach.get("/v1/athletes").status_code == 200
    key = store.read(lambda transaction: transaction.keys.by_hash(hash_key(coach_key)))
    assert key is not None
    store.write(lambda transaction: transaction.keys.revoke(key.id, clock()))
    assert coach.get("/v1/athletes").status_code == 401


def test_an_athlete_sees_what_is_their_own(athlete: Client) -> None:
    advice = athlete.post("/v1/check-ins", json=EXAMPLE).json
    assert athlete.get("/v1/athletes/a-03").status_code == 200
    assert athlete.get("/v1/athletes/a-03/advice/today").json == advice
    recorded = athlete.get(f"/v1/advice/{advice['advice_id']}").json["advice"]
    assert (recorded["advice_id"], recorded["verdict"]) == (advice["advice_id"], advice["verdict"])


def test_to_an_athlete_all_others_are_as_if_they_were_not(athlete: Client, coach: Client) -> None:
    of_tomo = changed("/athlete_id", "a-04")
    advice_id = coach.post("/v1/check-ins", json=of_tomo).json["advice_id"]

    def learns_nothing(there: str, not_there: str) -> None:
        one, other = athlete.get(there), athlete.get(not_there)
        assert one.status_code == other.status_code == 404
        assert told(one, there.split("/")[3]) == told(other, not_there.split("/")[3])

    learns_nothing("/v1/athletes/a-04", "/v1/athletes/a-99")
    learns_nothing("/v1/athletes/a-04/advice/today", "/v1/athletes/a-99/advice/today")
    learns_nothing("/v1/athletes/a-04/advice/today.txt", "/v1/athletes/a-99/advice/today.txt")
    learns_nothing(f"/v1/advice/{advice_id}", "/v1/advice/id-9999")


def test_an_athlete_cannot_check_in_for_another(athlete: Client) -> None:
    other = athlete.post("/v1/check-ins", json=changed("/athlete_id", "a-04"))
    nobody = athlete.post("/v1/check-ins", json=changed("/athlete_id", "a-99"))
    assert other.status_code == nobody.status_code == 404
    assert told(other, "a-04") == told(nobody, "a-99")


def told(answer: Any, name: str) -> dict[str, str]:
    """A problem without what differs from request to request, and without the name asked for."""
    problem = {k: v for k, v in answer.json.items() if k != "request_id"}
    return {member: str(value).replace(name, "…") for member, value in problem.items()}


def test_asking_for_the_methods_needs_no_key(app: Flask) -> None:
    """Spreadsheet programs ask before they get, and give up when they are refused."""
    stranger = client_with(app, "dawn_wrong")
    answer = stranger.options("/v1/athletes/a-03/advice/today.txt")
    assert answer.status_code == 200
    assert set(answer.headers["Allow"].split(", ")) == {"GET", "HEAD", "OPTIONS"}


def test_head_is_answered_like_get_without_a_body(app: Flask, coach: Client) -> None:
    for method, rule in routes(app):
        if method == "GET":
            got, head = (open_route(coach, verb, rule) for verb in ("GET", "HEAD"))
            assert head.status_code == got.status_code, rule
            assert head.data == b""
