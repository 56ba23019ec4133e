"""Rate limits over HTTP: what is counted, and what a refused client learns."""

from __future__ import annotations

import re
import time
from collections.abc import Callable
from dataclasses import replace
from datetime import datetime
from typing import Any

import pytest
import requests
from flask import Flask

from dawnrule.advice.advisor import Advisor
from dawnrule.errors import TooManyRequests
from dawnrule.settings import Settings
from dawnrule.store import Store
from dawnrule.web import create_app
from dawnrule.web.context import Context
from dawnrule.web.http.rate_limits import limit_private_address, limit_sign_in, wrong_guess
from tests.conftest import LiveServer, client_with

FEW = 3
SECONDS = 60
WRONG = {"Authorization": "Bearer dawn_wrong"}


@pytest.fixture
def settings(settings: Settings) -> Settings:
    return replace(
        settings,
        key_requests_per_minute=FEW,
        private_address_requests_per_minute=FEW,
        sign_in_tries_per_minute=FEW,
        wrong_guesses_per_minute=FEW,
        proxies=1,
    )


def statuses(ask: Callable[[], Any], times: int = FEW + 1) -> list[int]:
    return [ask().status_code for _ in range(times)]


def a_minute_passes(monkeypatch: pytest.MonkeyPatch) -> None:
    real = time.monotonic
    monkeypatch.setattr(time, "monotonic", lambda: real() + 61)


def test_a_key_has_its_number_of_requests_in_a_minute(
    coach_key: str, app: Flask, monkeypatch: pytest.MonkeyPatch
) -> None:
    coach = client_with(app, coach_key)
    assert statuses(lambda: coach.get("/v1/athletes")) == [200] * FEW + [429]
    a_minute_passes(monkeypatch)
    assert coach.get("/v1/athletes").status_code == 200


@pytest.mark.parametrize("seconds", [-86_400, 3_600, 40 * 365 * 86_400])
def test_a_clock_that_is_set_neither_ends_a_limit_nor_lengthens_it(
    coach_key: str, app: Flask, monkeypatch: pytest.MonkeyPatch, seconds: float
) -> None:
    coach, real = client_with(app, coach_key), time.time
    statuses(lambda: coach.get("/v1/athletes"))
    monkeypatch.setattr(time, "time", lambda: real() + seconds)
    refused = coach.get("/v1/athletes")
    assert refused.status_code == 429
    assert int(refused.headers["Retry-After"]) <= 60
    a_minute_passes(monkeypatch)
    assert coach.get("/v1/athletes").status_code == 200


def test_one_key_is_not_held_back_for_another(coach_key: str, poster_key: str, app: Flask) -> None:
    statuses(lambda: client_with(app, coach_key).get("/v1/athletes"))
    assert client_with(app, poster_key).get("/v1/athletes").status_code == 403


def test_whoever_asks_too_often_is_told_when_to_come_again(coach_key: str, app: Flask) -> None:
    coach = client_with(app, coach_key)
    statuses(lambda: coach.get("/v1/athletes"), FEW)
    refused = coach.get("/v1/athletes")
    assert refused.mimetype == "application/problem+json"
    assert refused.json["type"] == "/problems/too-many-requests"
    assert 1 <= int(refused.headers["Retry-After"]) <= 60
    assert refused.headers["Retry-After"] in refused.json["detail"]


def test_each_answer_says_what_is_left(coach_key: str, app: Flask) -> None:
    """The header fields are those of draft-ietf-httpapi-ratelimit-headers-10, from memory."""
    coach = client_with(app, coach_key)
    left = []
    for _ in range(FEW + 1):
        headers = coach.get("/v1/athletes").headers
        assert headers["RateLimit-Policy"] == f'"key";q={FEW};w=60'
        found = re.fullmatch(r'"key";r=(\d+);t=(\d+)', headers["RateLimit"])
        assert found
        assert 1 <= int(found[2]) <= 60
        left.append(int(found[1]))
    assert left == [2, 1, 0, 0]


def test_asking_for_methods_is_not_counted(coach_key: str, app: Flask) -> None:
    coach = client_with(app, coach_key)
    assert statuses(lambda: coach.options("/v1/athletes"), 3 * FEW) == [200] * 3 * FEW
    assert coach.get("/v1/athletes").status_code == 200


def test_head_does_the_work_of_get_and_counts_as_much(coach_key: str, app: Flask) -> None:
    coach = client_with(app, coach_key)
    assert statuses(lambda: coach.head("/v1/athletes")) == [200] * FEW + [429]
    assert coach.get("/v1/athletes").status_code == 429


def test_whoever_guesses_keys_is_told_to_stop_and_who_has_one_is_not(
    coach_key: str, app: Flask, monkeypatch: pytest.MonkeyPatch
) -> None:
    nobody, coach = app.test_client(), client_with(app, coach_key)
    guessed = statuses(lambda: nobody.get("/v1/athletes", headers=WRONG))
    assert guessed == [401] * FEW + [429]
    assert coach.get("/v1/athletes").status_code == 200
    assert nobody.get("/v1/athletes", headers=WRONG).status_code == 429
    a_minute_passes(monkeypatch)
    assert nobody.get("/v1/athletes", headers=WRONG).status_code == 401


def test_guessing_with_head_is_guessing(app: Flask) -> None:
    guessed = statuses(lambda: app.test_client().head("/v1/athletes", headers=WRONG))
    assert guessed == [401] * FEW + [429]


def test_who_sends_no_key_has_not_guessed(app: Flask) -> None:
    assert set(statuses(lambda: app.test_client().get("/v1/athletes"), 3 * FEW)) == {401}


@pytest.mark.parametrize(
    ("one", "other", "is_same"),
    [
        ("192.0.2.1", "192.0.2.2", False),
        ("2001:db8:0:1::1", "2001:db8:0:1:ffff::9", True),
        ("2001:db8:0:1::1", "2001:db8:0:2::1", False),
        ("::ffff:192.0.2.1", "::ffff:192.0.2.2", False),
    ],
)
def test_who_guesses_is_known_by_the_address_that_a_subscriber_has(
    app: Flask, one: str, other: str, is_same: bool
) -> None:
    nobody = app.test_client()

    def guess(address: str) -> Any:
        return nobody.get("/v1/athletes", headers=WRONG, environ_base={"REMOTE_ADDR": address})

    statuses(lambda: guess(one))
    assert guess(other).status_code == (429 if is_same else 401)


def with_view(app: Flask, view: Callable[..., str], route: str) -> Any:
    """A client of an application with the same limits and one view."""
    bare = Flask("bare")
    bare.extensions.update(app.extensions)
    bare.register_error_handler(TooManyRequests, lambda error: (error.detail, error.status))
    bare.add_url_rule(route, view_func=view, methods=["GET", "POST"])
    return bare.test_client()


def test_a_private_address_has_its_number_of_requests(app: Flask) -> None:
    @limit_private_address
    def today(token: str) -> str:
        return token

    client = with_view(app, today, "/feeds/<token>")
    assert statuses(lambda: client.get("/feeds/mine")) == [200] * FEW + [429]
    assert client.get("/feeds/yours").status_code == 200
    assert statuses(lambda: client.options("/feeds/theirs"), 3 * FEW) == [200] * 3 * FEW
    assert statuses(lambda: client.head("/feeds/theirs")) == [200] * FEW + [429]


def test_whoever_guesses_private_addresses_is_told_to_stop(app: Flask) -> None:
    @limit_private_address
    def today(token: str) -> str:
        if token != "mine":
            wrong_guess()
        return token

    client = with_view(app, today, "/feeds/<token>")
    guesses = iter(range(FEW + 1))
    assert statuses(lambda: client.get(f"/feeds/{next(guesses)}")) == [200] * FEW + [429]
    assert client.get("/feeds/mine").status_code == 200


def test_signing_in_can_be_tried_a_few_times(app: Flask) -> None:
    @limit_sign_in
    def sign_in() -> str:
        return "sign in"

    client = with_view(app, sign_in, "/sign-in")
    assert statuses(lambda: client.get("/sign-in"), 3 * FEW) == [200] * 3 * FEW
    assert statuses(lambda: client.post("/sign-in")) == [200] * FEW + [429]


def test_a_limit_of_0_is_none(
    settings: Settings,
    store: Store,
    advisor: Advisor,
    clock: Callable[[], datetime],
    coach_key: str,
) -> None:
    app = create_app(replace(settings, key_requests_per_minute=0), store, advisor, clock, str)
    app.config["TESTING"] = True
    coach = client_with(app, coach_key)
    assert statuses(lambda: coach.get("/v1/athletes"), 3 * FEW) == [200] * 3 * FEW
    assert "RateLimit" not in coach.get("/v1/athletes").headers
    Context.of(app).close()


def guess_at(server: LiveServer, forwarded: str) -> requests.Response:
    return requests.get(
        f"{server.base_url}/v1/athletes",
        headers=WRONG | {"X-Forwarded-For": forwarded},
        timeout=SECONDS,
    )


def test_behind_a_proxy_the_client_is_who_the_proxy_says(live_server: LiveServer) -> None:
    """What the client itself put into X-Forwarded-For stands before it, and is not believed."""
    guessed = statuses(lambda: guess_at(live_server, f"{time.monotonic()}, 192.0.2.1"))
    assert guessed == [401] * FEW + [429]
    assert guess_at(live_server, "192.0.2.2").status_code == 401


class TestWithoutAProxy:
    @pytest.fixture
    def settings(self, settings: Settings) -> Settings:
        return replace(settings, proxies=0)

    def test_nobody_is_believed_to_be_another(self, live_server: LiveServer) -> None:
        number = iter(range(1, 9))
        guessed = statuses(lambda: guess_at(live_server, f"192.0.2.{next(number)}"))
        assert guessed == [401] * FEW + [429]
