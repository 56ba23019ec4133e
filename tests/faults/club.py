"""A club's service: processes of ``dawnrule serve`` on one database, each on its own port, and
forked from one that has imported all of it."""

from __future__ import annotations

import os
import random
import signal
import socket
import sys
import time
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

import psutil

from tests.warm import Forked, typed_apart

STARTED_WITHIN_SECONDS = 60.0
STOPPED_WITHIN_SECONDS = 60.0

_UNLIMITED = {
    "DAWNRULE_LOG": "off",
    "DAWNRULE_KEY_REQUESTS_PER_MINUTE": "0",
    "DAWNRULE_WRONG_GUESSES_PER_MINUTE": "0",
}
"""Nobody is refused for asking too much, and the log says only what went wrong."""


def command(*words: object) -> list[str]:
    """What runs ``dawnrule`` with these words."""
    return [sys.executable, "-m", "dawnrule", *map(str, words)]


def environment(**more: str) -> Mapping[str, str]:
    """Variables with which a process finds the same code as this one."""
    return os.environ | {"PYTHONPATH": os.pathsep.join(sys.path)} | more


def free_port() -> int:
    with socket.create_server(("127.0.0.1", 0)) as server:
        return int(server.getsockname()[1])


@dataclass(slots=True)
class Service:
    """One process of the service; another takes its place, and its port, when it was killed."""

    db: Path
    port: int
    log: Path
    process: Forked | None = None
    kills: int = 0
    is_up: bool = False

    def start(self) -> None:
        """Start, so that ``await_connections`` can follow."""
        words = ["serve", "--db", str(self.db), "--port", str(self.port)]
        self.process = typed_apart(words, self.log, environment(**_UNLIMITED))

    def await_connections(self) -> None:
        """Wait until connections are taken. Raises ``RuntimeError``."""
        assert self.process is not None
        give_up_at = time.monotonic() + STARTED_WITHIN_SECONDS
        while not self._takes_connections():
            if self.process.poll() is not None or time.monotonic() > give_up_at:
                raise RuntimeError(f"the service did not start; {self.log} says why")
            time.sleep(0.05)
        self.is_up = True

    def _takes_connections(self) -> bool:
        with suppress(OSError), socket.create_connection(("127.0.0.1", self.port), 1):
            return True
        return False

    def kill(self) -> None:
        """End it as a power cut does. What is under way is cut off, and so counted beforehand."""
        assert self.process is not None
        self.is_up = False
        self.kills += 1
        self.process.kill()
        self.process.wait()

    def stop(self) -> int:
        """End it as an administrator does; its exit code."""
        assert self.process is not None
        self.is_up = False
        self.process.send_signal(signal.SIGTERM)
        return self.process.wait(STOPPED_WITHIN_SECONDS)

    def resident_megabytes(self) -> float:
        """Its resident memory now."""
        assert self.process is not None
        return float(psutil.Process(self.process.pid).memory_info().rss) / 1e6


@dataclass(slots=True)
class Club:
    """The processes of one database."""

    services: list[Service]

    @classmethod
    def of(cls, db: Path, processes: int) -> Club:
        """So many processes, not started yet."""
        logs = (db.with_name(f"log-{number}") for number in range(processes))
        return cls([Service(db, free_port(), log) for log in logs])

    def any_up(self, chance: random.Random) -> Service:
        """One that is up; when none is, one that will be."""
        return chance.choice([one for one in self.services if one.is_up] or self.services)

    def __enter__(self) -> Club:
        for service in self.services:
            service.start()
        for service in self.services:
            service.await_connections()
        return self

    def __exit__(self, *_: object) -> None:
        for service in self.services:
            if service.process is not None and service.process.poll() is None:
                service.kill()
