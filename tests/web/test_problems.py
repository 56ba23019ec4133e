"""Problem details: every error in one form, whoever raised it."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from dawnrule.advice.advisor import Advisor
from dawnrule.errors import DawnruleError, EngineDisagreement, EngineFailure, StoreBusy
from dawnrule.settings import Settings
from dawnrule.store import Store
from dawnrule.web import create_app
from dawnrule.web.http.problems import PROBLEM_TYPES
from tests.conftest import Client, Clock, client_with
from tests.factories import EXAMPLE

MEMBERS = {"type", "title", "status", "detail", "instance", "errors", "request_id"}


def failing_client(
    error: BaseException,
    settings: Settings,
    store: Store,
    advisor: Advisor,
    clock: Clock,
    new_id: Callable[[], str],
    key: str,
) -> Client:
    """A client of a service whose advisor raises an error."""

    class Failing(Advisor):
        def consider(self, *_: Any) -> Any:
            raise error

    failing = Failing(advisor.library, advisor.composer)
    return client_with(create_app(settings, store, failing, clock, new_id), key)


@pytest.fixture
def when_failing(
    settings: Settings,
    store: Store,
    advisor: Advisor,
    clock: Clock,
    new_id: Callable[[], str],
    coach_key: str,
    squad: object,
) -> Callable[[BaseException], Client]:
    return lambda error: failing_client(error, settings, store, advisor, clock, new_id, coach_key)


@pytest.mark.parametrize(
    ("method", "address", "status"),
    [
        ("GET", "/nowhere", 404),
        ("GET", "/v1/athletes/", 404),
        ("GET", "/v1/athletes/a-99", 404),
        ("POST", "/v1/athletes/a-03", 405),
        ("DELETE", "/healthz", 405),
        ("POST", "/v1/check-ins", 415),
        ("GET", "/v1/advice", 422),
    ],
)
def test_an_error_is_told_as_problem_details(
    coach: Client, method: str, address: str, status: int
) -> None:
    answer = coach.open(address, method=method)
    assert (answer.status_code, answer.mimetype) == (status, "application/problem+json")
    assert set(answer.json) == MEMBERS
    assert answer.json["status"] == status
    assert answer.json["instance"] == address
    assert answer.json["request_id"] == answer.headers["X-Request-Id"]


def test_an_address_that_there_is_not_leads_to_the_documentation(client: Client) -> None:
    said = client.get("/v1/nowhere").json["detail"]
    assert said == "There is nothing at this address. All that there is stands at /docs."


def test_a_method_that_is_not_taken_gets_those_that_are(coach: Client) -> None:
    answer = coach.patch("/v1/athletes/a-03")
    assert set(answer.headers["Allow"].split(", ")) == {"GET", "HEAD", "OPTIONS", "PUT", "DELETE"}


@pytest.mark.parametrize("error", [EngineDisagreement("differ"), EngineFailure("silent")])
def test_when_the_engine_fails_there_is_no_advice_and_nothing_stored(
    when_failing: Callable[[BaseException], Client], coach: Client, error: DawnruleError
) -> None:
    answer = when_failing(error).post("/v1/check-ins", json=EXAMPLE)
    assert (answer.status_code, answer.mimetype) == (500, "application/problem+json")
    assert answer.json["title"] == error.title
    assert coach.get("/v1/athletes/a-03/advice/today").json["verdict"] is None


def test_an_unforeseen_error_tells_nothing_but_its_request(
    when_failing: Callable[[BaseException], Client], caplog: pytest.LogCaptureFixture
) -> None:
    answer = when_failing(ZeroDivisionError("secret")).post("/v1/check-ins", json=EXAMPLE)
    assert (answer.status_code, answer.mimetype) == (500, "application/problem+json")
    assert set(answer.json) == MEMBERS
    assert "secret" not in answer.text
    assert answer.json["request_id"] in answer.json["detail"]
    assert f"request {answer.json['request_id']} failed" in caplog.messages


class Panic(BaseException):
    """What pyo3 raises when a library written in Rust panics is no ``Exception`` either."""


def test_an_error_that_is_no_exception_is_answered_too(
    when_failing: Callable[[BaseException], Client],
) -> None:
    answer = when_failing(Panic("secret")).post("/v1/check-ins", json=EXAMPLE)
    assert (answer.status_code, answer.json["type"]) == (500, "/problems/internal")
    assert "secret" not in answer.text


def test_a_busy_store_says_when_to_come_again(
    when_failing: Callable[[BaseException], Client],
) -> None:
    answer = when_failing(StoreBusy("later")).post("/v1/check-ins", json=EXAMPLE)
    assert answer.status_code == 503
    assert answer.headers["Retry-After"] == "1"


def test_a_store_that_cannot_write_is_not_ready(coach: Client, store: Store) -> None:
    assert coach.get("/readyz").status_code == 200
    store.close()
    assert coach.get("/readyz").status_code == 503
    assert coach.get("/healthz").status_code == 200


@pytest.mark.parametrize("given", ["abc-123", "A.b_c"])
def test_a_request_keeps_the_id_it_came_with(client: Client, given: str) -> None:
    assert client.get("/healthz", headers={"X-Request-Id": given}).headers["X-Request-Id"] == given


@pytest.mark.parametrize("given", ["", "a b", "x" * 65, "<script>", "a\tb"])
def test_an_id_that_cannot_be_repeated_safely_is_replaced(client: Client, given: str) -> None:
    answer = client.get("/healthz", headers={"X-Request-Id": given})
    assert answer.headers["X-Request-Id"].startswith("id-")


def test_every_kind_of_problem_has_its_page(client: Client) -> None:
    kinds = {error.kind for error in _errors(DawnruleError)}
    assert kinds <= PROBLEM_TYPES.keys()
    for problem in PROBLEM_TYPES.values():
        page = client.get(f"/problems/{problem.kind}")
        assert page.status_code == 200
        assert problem.title in page.text


def test_a_problem_leads_to_its_page(coach: Client) -> None:
    problem = coach.get("/v1/athletes/a-99").json
    assert coach.get(problem["type"]).status_code == 200


def _errors(error: type[DawnruleError]) -> list[type[DawnruleError]]:
    return [error, *(deeper for inner in error.__subclasses__() for deeper in _errors(inner))]
