"""A stopping service: nothing is lost and nobody is cut off."""

from __future__ import annotations

import http.client
import json
import re
import signal
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import pytest

from dawnrule.clock import now
from dawnrule.model.entities import Athlete
from dawnrule.store import Store, Transaction
from tests.cli.terminal import typed

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

    process: subprocess.Popen[bytes]
    host: str
    port: int
    key: str
    log: Path

    def connect(self) -> http.client.HTTPConnection:
        return http.client.HTTPConnection(self.host, self.port, timeout=SECONDS)

    def stop(self, how: signal.Signals = signal.SIGTERM) -> int:
        self.process.send_signal(how)
        return self.process.wait(SECONDS)


@contextmanager
def running(db: Path, **environment: str) -> Iterator[Running]:
    key = typed("keys", "create", "--role", "coach", "--db", db).stdout.strip()
    with Store.open(db) as store:
        for number in range(CLIENTS):
            store.write(partial(add_athlete, Athlete(f"a-{number}", "Mara", "UTC")))
    log = db.with_name("log")
    command = [sys.executable, "-m", "dawnrule", "serve", "--db", str(db), "--port", "0"]
    variables = {"PYTHONPATH": ":".join(sys.path), **environment}
    with (
        log.open("wb") as stderr,
        subprocess.Popen(command, stderr=stderr, env=variables) as process,
    ):
        try:
            until(lambda: "Serving http" in log.read_text(encoding="utf-8"))
            found = re.search(r"Serving (http://\S+)", log.read_text(encoding="utf-8"))
            assert found
            address = urlsplit(found[1])
            assert address.hostname
            assert address.port
            yield Running(process, address.hostname, address.port, key, log)
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
    """Posts one check-in after the other over one connection until the service has gone."""

    running: Running
    athlete_id: str
    acknowledged: list[str] = field(default_factory=list)
    hung_up: list[str] = field(default_factory=list)

    def post_until_refused(self) -> None:
        connection = self.running.connect()
        for number in range(10_000):
            try:
                connection.connect()
            except ConnectionRefusedError:
                return
            if not self._post_over(connection, number):
                return

    def _post_over(self, connection: http.client.HTTPConnection, number: int) -> bool:
        """One request of its own connection: whether it was answered."""
        body = {
            "athlete_id": self.athlete_id,
            "date": now().date().isoformat(),
            "fatigue": number % 10,
            "plan": [],
        }
        try:
            connection.request("POST", "/v1/check-ins", json.dumps(body), self._headers())
            answer = connection.getresponse()
            said: dict[str, Any] = json.loads(answer.read())
        except OSError as error:
            self.hung_up.append(repr(error))
            return False
        finally:
            connection.close()
        assert answer.status in (200, STATUS_CREATED), said
        self.acknowledged.append(said["advice_id"])
        return True

    def _headers(self) -> dict[str, str]:
        return {
            "Authorization": f"Bearer {self.running.key}",
            "Content-Type": "application/json",
        }


@pytest.mark.parametrize("how", [signal.SIGTERM, signal.SIGINT])
def test_under_load_every_request_is_answered_and_every_answer_kept(
    tmp_path: Path, how: signal.Signals
) -> None:
    db = tmp_path / "squad.db"
    with running(db) as service:
        phones = [Phone(service, f"a-{number}") for number in range(CLIENTS)]
        threads = [threading.Thread(target=phone.post_until_refused) for phone in phones]
        for thread in threads:
            thread.start()
        until(lambda: all(len(phone.acknowledged) > 5 for phone in phones))
        assert service.stop(how) == 0
        for thread in threads:
            thread.join(SECONDS)
    assert [phone.hung_up for phone in phones] == [[]] * CLIENTS
    acknowledged = {advice_id for phone in phones for advice_id in phone.acknowledged}
    assert len(acknowledged) > CLIENTS
    with Store.open(db) as store:
        kept = store.read(
            lambda transaction: {i for i in acknowledged if transaction.advice.get(i)}
        )
    assert kept == acknowledged
    assert "Traceback" not in service.log.read_text(encoding="utf-8")


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
