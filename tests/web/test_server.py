"""The real server, held to what the application promises."""

from __future__ import annotations

import socket
import threading
from dataclasses import replace
from urllib.parse import urlsplit

import pytest
import requests
from flask import Flask

from dawnrule.settings import Settings
from dawnrule.web import Server
from tests.conftest import LiveServer
from tests.factories import EXAMPLE, changed

SECONDS = 60


def bearer(live_server: LiveServer, role: str = "coach") -> dict[str, str]:
    return {"Authorization": f"Bearer {live_server.keys[role]}"}


def connect(live_server: LiveServer) -> socket.socket:
    address = urlsplit(live_server.base_url)
    assert address.hostname
    assert address.port
    return socket.create_connection((address.hostname, address.port), SECONDS)


def test_a_check_in_is_answered_and_can_be_asked_for(live_server: LiveServer) -> None:
    with requests.Session() as session:
        session.headers.update(bearer(live_server))
        posted = session.post(f"{live_server.base_url}/v1/check-ins", json=EXAMPLE, timeout=SECONDS)
        assert posted.status_code == 201
        today = f"{live_server.base_url}/v1/athletes/a-03/advice/today"
        assert session.get(today, timeout=SECONDS).json() == posted.json()


def test_the_server_does_not_say_what_it_is(live_server: LiveServer) -> None:
    answer = requests.get(f"{live_server.base_url}/healthz", timeout=SECONDS)
    assert "waitress" not in answer.headers.get("Server", "")


@pytest.mark.parametrize("chunked", [False, True], ids=["with its length", "in chunks"])
def test_a_body_that_is_too_large_is_told_as_problem_details(
    live_server: LiveServer, chunked: bool
) -> None:
    body = b" " * 1_500_000
    answer = requests.post(
        f"{live_server.base_url}/v1/check-ins",
        data=iter([body]) if chunked else body,
        headers=bearer(live_server) | {"Content-Type": "application/json"},
        timeout=SECONDS,
    )
    assert answer.status_code == 413
    assert answer.headers["Content-Type"] == "application/problem+json"


def test_phones_that_stall_in_mid_request_block_nobody(live_server: LiveServer) -> None:
    stalled = [connect(live_server) for _ in range(8)]
    try:
        for phone in stalled:
            phone.sendall(b"POST /v1/check-ins HTTP/1.1\r\nHost: x\r\nContent-Length: 100\r\n\r\n{")
        assert requests.get(f"{live_server.base_url}/healthz", timeout=SECONDS).ok
    finally:
        for phone in stalled:
            phone.close()


def test_eight_at_once_get_their_own_advice(live_server: LiveServer) -> None:
    answers: dict[int, requests.Response] = {}

    def post(number: int) -> None:
        answers[number] = requests.post(
            f"{live_server.base_url}/v1/check-ins",
            json=changed("/date", f"2026-02-0{number}", of=changed("/plan", [])),
            headers=bearer(live_server),
            timeout=SECONDS,
        )

    threads = [threading.Thread(target=post, args=(number,)) for number in range(1, 9)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert {n: a.json()["date"] for n, a in answers.items()} == {
        number: f"2026-02-0{number}" for number in range(1, 9)
    }


@pytest.mark.parametrize("host", ["127.0.0.1", "localhost"])
def test_a_server_that_is_closed_lets_go_of_its_port(
    app: Flask, settings: Settings, host: str
) -> None:
    server = Server(app, replace(settings, host=host))
    port = server.port
    thread = threading.Thread(target=server.run)
    thread.start()
    requests.get(f"http://127.0.0.1:{port}/healthz", timeout=SECONDS)
    server.close()
    thread.join(SECONDS)
    assert not thread.is_alive()
    with pytest.raises(OSError, match="refused"), socket.create_connection(("127.0.0.1", port)):
        pass
