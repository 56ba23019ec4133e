"""The real server, held to what the application promises."""

from __future__ import annotations

import json
import socket
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from dataclasses import replace
from itertools import count
from urllib.parse import urlsplit

import pytest
import requests
from flask import Flask

from dawnrule.settings import Settings
from dawnrule.web import Server, server
from tests.conftest import LiveServer
from tests.factories import EXAMPLE, changed
from tests.security.slow_connections import BEGINNINGS, longest_wait

SECONDS = 60
SOON_SECONDS = 2.0
"""Well under a second, and what a busy machine may add."""


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


def test_many_slow_connections_of_one_address_keep_nobody_else_waiting(
    live_server: LiveServer,
) -> None:
    port = urlsplit(live_server.base_url).port
    assert port
    waited = longest_wait(port, live_server.keys["poster"], EXAMPLE, connections=300, seconds=1)
    assert waited < SOON_SECONDS


def test_who_sends_too_slowly_is_cut_off(
    live_server: LiveServer, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(server, "_REQUEST_SECONDS", 0.1)
    slow = [connect(live_server) for _ in BEGINNINGS]
    for connection, beginning in zip(slow, BEGINNINGS, strict=True):
        connection.sendall(beginning)
    for connection in slow:
        with connection:
            assert connection.recv(1) == b""


def test_who_sends_a_large_body_as_fast_as_can_be_is_given_the_time(
    live_server: LiveServer, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(server, "_REQUEST_SECONDS", 0.1)
    body = json.dumps(EXAMPLE) + 2_000 * " "
    head = f"POST /v1/check-ins HTTP/1.0\r\nContent-Length: {len(body)}\r\n"
    head += f"Authorization: {bearer(live_server)['Authorization']}\r\n"
    with connect(live_server) as phone:
        phone.sendall(f"{head}Content-Type: application/json\r\n\r\n{body[:-1]}".encode())
        time.sleep(1.5)  # the server has looked for slow ones meanwhile
        phone.sendall(body[-1:].encode())
        assert phone.recv(12) == b"HTTP/1.0 201"


@pytest.mark.parametrize(("proxies", "answered"), [(0, [True, False]), (1, [True, True])])
def test_an_address_has_its_number_of_connections_unless_it_is_a_proxy(
    app: Flask, settings: Settings, proxies: int, answered: list[bool]
) -> None:
    own = Server(app, replace(settings, proxies=proxies, connections_per_address=1))
    thread = threading.Thread(target=own.run)
    thread.start()
    try:
        with ExitStack() as stack:
            address = ("127.0.0.1", own.port)
            clients = [
                stack.enter_context(socket.create_connection(address, SECONDS)) for _ in range(2)
            ]
            assert [is_answered(client) for client in clients] == answered
    finally:
        own.close()
        thread.join(SECONDS)


def test_a_server_that_wakes_up_before_it_is_told_closes_all_the_same(
    app: Flask, settings: Settings, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What an answer wakes, while another thread is about to close it."""
    own = Server(app, settings)
    thread = threading.Thread(target=own.run)
    thread.start()
    with socket.create_connection(("127.0.0.1", own.port), SECONDS) as client:
        assert is_answered(client)
    pull = own._server.trigger._physical_pull

    def pull_twice() -> None:
        pull()
        time.sleep(0.2)
        pull()

    monkeypatch.setattr(own._server.trigger, "_physical_pull", pull_twice)
    own.close()
    thread.join(SECONDS)
    assert not thread.is_alive()


def test_the_server_waits_while_a_thread_sends_an_answer(
    app: Flask, settings: Settings, monkeypatch: pytest.MonkeyPatch
) -> None:
    own = Server(app, settings)
    rounds = count()
    poll = own._poll

    def counted(seconds: float) -> None:
        next(rounds)
        poll(seconds)

    def answer(_: object, start: Callable[..., object]) -> Iterator[bytes]:
        start("200 OK", [("Content-Length", "8")])
        yield b"sent"
        [channel] = own._channels
        with channel.outbuf_lock:  # as while it sends
            channel.outbufs[-1].append(b"more")
            channel.total_outbufs_len += len(b"more")
            own._server.pull_trigger()
            time.sleep(0.3)

    monkeypatch.setattr(own, "_poll", counted)
    monkeypatch.setattr(app, "wsgi_app", answer)
    thread = threading.Thread(target=own.run)
    thread.start()
    try:
        address = f"http://127.0.0.1:{own.port}/"
        assert requests.get(address, timeout=SECONDS).content == b"sentmore"
    finally:
        own.close()
        thread.join(SECONDS)
    assert next(rounds) < 50


def test_the_server_sends_for_a_thread_that_waits_because_too_much_is_unsent(
    app: Flask, settings: Settings, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A thread waits until less than the mark is left, so at the mark itself it still does."""
    own = Server(app, settings)
    sends: list[bool] = []

    def answer(_: object, start: Callable[..., object]) -> Iterator[bytes]:
        start("200 OK", [("Content-Length", "4")])
        yield b"sent"
        [channel] = own._channels
        with channel.outbuf_lock:
            unsent = channel.total_outbufs_len
            for above in (-1, 0, 1):
                channel.total_outbufs_len = channel.adj.outbuf_high_watermark + above
                sends.append(channel.writable())
            channel.total_outbufs_len = unsent

    monkeypatch.setattr(app, "wsgi_app", answer)
    thread = threading.Thread(target=own.run)
    thread.start()
    try:
        assert requests.get(f"http://127.0.0.1:{own.port}/", timeout=SECONDS).content == b"sent"
    finally:
        own.close()
        thread.join(SECONDS)
    assert sends == [False, True, True]


def is_answered(client: socket.socket) -> bool:
    try:
        client.sendall(b"GET /healthz HTTP/1.1\r\nHost: x\r\n\r\n")
        return client.recv(1) != b""
    except ConnectionError:
        return False


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
    served = Server(app, replace(settings, host=host))
    port = served.port
    thread = threading.Thread(target=served.run)
    thread.start()
    requests.get(f"http://127.0.0.1:{port}/healthz", timeout=SECONDS)
    served.close()
    thread.join(SECONDS)
    assert not thread.is_alive()
    with pytest.raises(OSError, match="refused"), socket.create_connection(("127.0.0.1", port)):
        pass
