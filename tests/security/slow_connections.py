"""Many connections that take their time, and somebody else who asks meanwhile.

Run from the checkout: ``python -m tests.security.slow_connections``. All connections come from one
address of this machine, 127.0.0.2, without a key; a third says nothing, a third sends the head of a
request byte by byte, and a third its body. What the service closes is opened again.
"""

from __future__ import annotations

import argparse
import http.client
import json
import socket
import sys
import time
from collections.abc import Iterator, Mapping
from contextlib import ExitStack, closing, contextmanager
from pathlib import Path
from tempfile import TemporaryDirectory
from threading import Event, Thread
from typing import Any

from dawnrule.advice.advisor import Advisor
from dawnrule.clock import now
from dawnrule.model.entities import Athlete
from tests.faults.serving import KEY, make_squad, served

ATTACKER = "127.0.0.2"
HEAD = b"POST /v1/check-ins HTTP/1.1\r\n"
BEGINNINGS = (b"", HEAD, HEAD + b"Host: x\r\nContent-Length: 1000\r\n\r\n{")
SECONDS_OF_A_BYTE = 1.0
GIVEN_UP_AFTER_SECONDS = 60.0
PAUSE_SECONDS = 0.05
STORED = (200, 201)


def longest_wait(
    port: int, key: str, check_in: Mapping[str, Any], connections: int, seconds: float
) -> float:
    """How long the slowest of many check-ins took (seconds), each over a connection of its own,
    beside so many slow connections to the same port of this machine for so long."""
    body = json.dumps(check_in)
    longest = 0.0
    with slow_connections(port, connections):
        end = time.monotonic() + seconds
        while time.monotonic() < end:
            began = time.monotonic()
            _check_in(port, key, body)
            longest = max(longest, time.monotonic() - began)
            time.sleep(PAUSE_SECONDS)
    return longest


def _check_in(port: int, key: str, body: str) -> None:
    headers = {"Authorization": f"Bearer {key}", "Content-Type": "application/json"}
    client = http.client.HTTPConnection("127.0.0.1", port, timeout=GIVEN_UP_AFTER_SECONDS)
    with closing(client):
        client.request("POST", "/v1/check-ins", body, headers)
        answer = client.getresponse()
        said = answer.read()
        assert answer.status in STORED, said


@contextmanager
def slow_connections(port: int, count: int) -> Iterator[None]:
    """So many slow connections to a port of this machine, for as long as this lasts, also while
    nobody listens there."""
    is_over = Event()
    with ExitStack() as stack:
        slow = [_Slow(port, BEGINNINGS[number % len(BEGINNINGS)]) for number in range(count)]
        for one in slow:
            stack.callback(one.close)

        def go_on() -> None:
            while not is_over.wait(SECONDS_OF_A_BYTE):
                for one in slow:
                    one.go_on()

        thread = Thread(target=go_on)
        thread.start()
        try:
            yield
        finally:
            is_over.set()
            thread.join()


class _Slow:
    """One connection of somebody who takes their time, opened again whenever it was closed."""

    def __init__(self, port: int, beginning: bytes) -> None:
        self._port = port
        self._beginning = beginning
        self._open()

    def go_on(self) -> None:
        """Send another byte, where anything was sent before."""
        try:
            if self._is_closed():
                self.close()
                self._open()
            elif self._beginning:
                self._socket.send(b"x")
        except OSError:  # closed meanwhile, or nobody accepts it: tried again the next time
            return

    def close(self) -> None:
        """Hang up."""
        self._socket.close()

    def _open(self) -> None:
        self._socket = socket.socket()
        self._socket.bind((ATTACKER, 0))
        self._socket.setblocking(False)
        self._socket.connect_ex(("127.0.0.1", self._port))
        self._is_new = True

    def _is_closed(self) -> bool:
        if self._is_new:
            self._is_new = False
            self._socket.send(self._beginning)
        try:
            return not self._socket.recv(1)
        except BlockingIOError:
            return False


def main() -> None:
    """Attack a service of this command's own, and print the longest wait of another client."""
    parser = argparse.ArgumentParser(description="Slow connections, and a client that is not.")
    parser.add_argument("--connections", type=int, default=200)
    parser.add_argument("--seconds", type=float, default=60)
    options = parser.parse_args()
    with TemporaryDirectory() as folder:
        db = Path(folder) / "squad.db"
        make_squad(db, [Athlete("a-0", "Kim", "UTC")])
        with served(db, 1, Advisor.bundled()) as [(_, port)]:
            check_in = {"athlete_id": "a-0", "date": now().date().isoformat(), "plan": []}
            waited = longest_wait(port, KEY, check_in, options.connections, options.seconds)
    print(f"{options.connections} slow connections, {options.seconds:.0f} s: {waited:.3f} s")
    sys.exit(waited > 1)


if __name__ == "__main__":
    main()
