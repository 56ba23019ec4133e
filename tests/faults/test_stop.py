"""A stopping service: every answer is kept, and requests in flight are answered."""

from __future__ import annotations

import http.client
import json
import os
import signal
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager, suppress
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import pytest

from dawnrule.clock import now
from dawnrule.model.entities import Athlete
from dawnrule.store import Store, Transaction
from dawnrule.web.server import inherited_socket
from tests.cli.terminal import typed
from tests.warm import Forked, serving

SECONDS = 60
"""How long anything may take on a machine that is busy with much else."""

SOON_SECONDS = 10
PATIENT = "60"
"""How many seconds a service waits that is not to give up in the course of a test."""

CLIENTS = 6
STATUS_CREATED = 201


@dataclass
class Running:
    """``dawnrule serve`` as a process of its own; what it logs is in a file."""

    process: subprocess.Popen[bytes] | Forked
    host: str
    port: int
    key: str
    log: Path

    def connect(self) -> http.client.HTTPConnection:
        return http.client.HTTPConnection(self.host, self.port, timeout=SECONDS)

    def stop(self) -> int:
        self.process.send_signal(signal.SIGTERM)
        return self.process.wait(SECONDS)


def prepared(db: Path) -> str:
    """Store the squad, and return a coach's key."""
    with Store.open(db) as store:
        for number in range(CLIENTS):
            store.write(partial(add_athlete, Athlete(f"a-{number}", "Mara", "UTC")))
    return typed("keys", "create", "--role", "coach", "--db", db).stdout.strip()


HAND_OVER = """
import os, sys
os.dup2(int(sys.argv[1]), 3)
os.environ.update(LISTEN_PID=str(os.getpid()), LISTEN_FDS="1")
os.execv(sys.executable, [sys.executable, *sys.argv[2:]])
"""
"""A program that passes a socket on as systemd does."""


@contextmanager
def running(db: Path, **variables: str) -> Iterator[Running]:
    key = prepared(db)
    with serving(db, **variables) as (process, address, log):
        found = urlsplit(address)
        assert found.hostname
        assert found.port
        yield Running(process, found.hostname, found.port, key, log)


@contextmanager
def running_on(listener: socket.socket, db: Path, key: str) -> Iterator[Running]:
    """The service on a socket that it inherits."""
    log, number = db.with_name("log"), listener.fileno()
    serve = ["-m", "dawnrule", "serve", "--db", str(db), "--port", "0"]
    command = [sys.executable, "-c", HAND_OVER, str(number), *serve]
    variables = {"PYTHONPATH": ":".join(sys.path)}
    with (
        log.open("wb") as stderr,
        subprocess.Popen(command, stderr=stderr, env=variables, pass_fds=[number]) as process,
    ):
        try:
            until(lambda: "Serving http" in log.read_text(encoding="utf-8"))
            host, port = listener.getsockname()
            assert f"Serving http://{host}:{port}" in log.read_text(encoding="utf-8")
            yield Running(process, host, port, key, log)
        finally:
            process.kill()


def until(holds: Callable[[], bool]) -> None:
    """Wait until something holds."""
    give_up_at = time.monotonic() + SECONDS
    while not holds():
        assert time.monotonic() < give_up_at
        time.sleep(0.02)


def add_athlete(athlete: Athlete, transaction: Transaction) -> None:
    transaction.athletes.put(athlete)


@dataclass
class Phone:
    """Posts one check-in after the other, each over a connection of its own."""

    running: Running
    athlete_id: str
    acknowledged: list[str] = field(default_factory=list)
    failed: list[str] = field(default_factory=list)

    def post_until_refused(self) -> None:
        """Post until the port is closed, or resets the connection in the instant it closes."""
        with suppress(ConnectionRefusedError, ConnectionResetError, BrokenPipeError):
            for number in range(10_000):
                self._post(number)

    def post_until(self, enough: threading.Event) -> None:
        """Post until there is enough; every request has to be answered."""
        number = 0
        while not enough.is_set():
            try:
                self._post(number)
            except OSError as error:
                self.failed.append(repr(error))
                return
            number += 1

    def _post(self, number: int) -> None:
        body = {
            "athlete_id": self.athlete_id,
            "date": now().date().isoformat(),
            "fatigue": number % 10,
            "plan": [],
        }
        with closing(self.running.connect()) as connection:
            connection.request("POST", "/v1/check-ins", json.dumps(body), self._headers())
            answer = connection.getresponse()
            said: dict[str, Any] = json.loads(answer.read())
        assert answer.status in (200, STATUS_CREATED), said
        self.acknowledged.append(said["advice_id"])

    def _headers(self) -> dict[str, str]:
        return {
            "Authorization": f"Bearer {self.running.key}",
            "Content-Type": "application/json",
        }


def test_under_load_every_answer_is_kept(tmp_path: Path) -> None:
    """Ctrl-C ends it by the same way, as ``cli/test_serve.py`` holds."""
    db = tmp_path / "squad.db"
    with running(db) as service:
        phones = [Phone(service, f"a-{number}") for number in range(CLIENTS)]
        threads = [threading.Thread(target=phone.post_until_refused) for phone in phones]
        for thread in threads:
            thread.start()
        until(lambda: all(len(phone.acknowledged) > 5 for phone in phones))
        assert service.stop() == 0
        for thread in threads:
            thread.join(SECONDS)
    assert_kept(db, phones)
    assert "Traceback" not in service.log.read_text(encoding="utf-8")


def assert_kept(db: Path, phones: list[Phone]) -> None:
    acknowledged = {advice_id for phone in phones for advice_id in phone.acknowledged}
    assert len(acknowledged) > CLIENTS
    with Store.open(db) as store:
        kept = store.read(
            lambda transaction: {i for i in acknowledged if transaction.advice.get(i)}
        )
    assert kept == acknowledged


@pytest.fixture
def listener() -> Iterator[socket.socket]:
    """A listening socket that outlives the services that inherit it."""
    with socket.create_server(("127.0.0.1", 0), backlog=CLIENTS) as listener:
        yield listener


def test_a_restart_on_an_inherited_socket_fails_no_request(
    tmp_path: Path, listener: socket.socket
) -> None:
    db, enough = tmp_path / "squad.db", threading.Event()
    key = prepared(db)
    with running_on(listener, db, key) as first:
        phones = [Phone(first, f"a-{number}") for number in range(CLIENTS)]
        threads = [threading.Thread(target=phone.post_until, args=[enough]) for phone in phones]
        for thread in threads:
            thread.start()
        until(lambda: all(len(phone.acknowledged) > 5 for phone in phones))
        assert first.stop() == 0
    before = [len(phone.acknowledged) for phone in phones]
    with running_on(listener, db, key) as second:
        until(
            lambda: all(
                phone.failed or len(phone.acknowledged) > count + 1
                for phone, count in zip(phones, before, strict=True)
            )
        )
        enough.set()
        for thread in threads:
            thread.join(SECONDS)
        assert second.stop() == 0
    assert [phone.failed for phone in phones] == [[]] * CLIENTS
    assert_kept(db, phones)


def test_a_request_that_waits_on_an_inherited_socket_is_answered_by_the_next_process(
    tmp_path: Path, listener: socket.socket
) -> None:
    host, port = listener.getsockname()
    with closing(http.client.HTTPConnection(host, port, timeout=SECONDS)) as waiting:
        waiting.request("GET", "/healthz")
        db = tmp_path / "squad.db"
        with running_on(listener, db, prepared(db)):
            assert waiting.getresponse().status == 200


def test_a_socket_for_another_process_is_left_alone() -> None:
    """A variable that a parent process inherited and passed on."""
    environment = {"LISTEN_PID": "1", "LISTEN_FDS": "1", "LISTEN_FDNAMES": "http", "HOME": "/"}
    assert inherited_socket(environment) is None
    assert environment == {"HOME": "/"}


def test_of_several_sockets_none_is_inherited() -> None:
    with pytest.raises(OSError, match="one socket can be inherited, not 2"):
        inherited_socket({"LISTEN_PID": str(os.getpid()), "LISTEN_FDS": "2"})


def half_a_check_in(service: Running) -> tuple[socket.socket, bytes]:
    """A connection over which half of a check-in was sent, and the other half."""
    body = json.dumps({"athlete_id": "a-0", "date": now().date().isoformat(), "plan": []})
    head = (
        f"POST /v1/check-ins HTTP/1.1\r\nHost: x\r\nAuthorization: Bearer {service.key}\r\n"
        f"Content-Type: application/json\r\nContent-Length: {len(body)}\r\n\r\n"
    )
    connection = socket.create_connection((service.host, service.port), SECONDS)
    connection.sendall(head.encode() + body[:10].encode())
    return connection, body[10:].encode()


def lets_nobody_in(service: Running) -> bool:
    try:
        socket.create_connection((service.host, service.port), SECONDS).close()
    except ConnectionRefusedError:
        return True
    return False


def test_what_is_half_sent_is_waited_for_and_answered(tmp_path: Path) -> None:
    with running(tmp_path / "squad.db", DAWNRULE_STOP_SECONDS=PATIENT) as service:
        connection, rest = half_a_check_in(service)
        with closing(connection):
            service.process.send_signal(signal.SIGTERM)
            until(lambda: lets_nobody_in(service))
            time.sleep(1)  # longer than a connection may be idle now
            connection.sendall(rest)
            answer = http.client.HTTPResponse(connection)
            answer.begin()
            assert answer.status == STATUS_CREATED
            assert answer.headers["Connection"] == "close"
        assert service.process.wait(SECONDS) == 0


def test_who_never_comes_to_an_end_is_not_waited_for_longer_than_was_set(tmp_path: Path) -> None:
    with running(tmp_path / "squad.db", DAWNRULE_STOP_SECONDS="1") as service:
        connection, _ = half_a_check_in(service)
        with closing(connection):
            assert service.stop() == 0
        assert "connections cut off at the end: 1" in service.log.read_text(encoding="utf-8")


def test_a_connection_that_is_kept_open_does_not_keep_the_service(tmp_path: Path) -> None:
    with (
        running(tmp_path / "squad.db", DAWNRULE_STOP_SECONDS=PATIENT) as service,
        closing(service.connect()) as idle,
    ):
        idle.request("GET", "/healthz")
        assert idle.getresponse().read()
        began = time.monotonic()
        assert service.stop() == 0
        assert time.monotonic() - began < SOON_SECONDS


def test_a_second_signal_ends_at_once(tmp_path: Path) -> None:
    with running(tmp_path / "squad.db", DAWNRULE_STOP_SECONDS=PATIENT) as service:
        connection, _ = half_a_check_in(service)
        with closing(connection):
            service.process.send_signal(signal.SIGTERM)
            until(lambda: lets_nobody_in(service))
            assert service.stop() == -signal.SIGTERM
