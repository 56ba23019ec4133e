"""The real service, started again and again, each time in a fraction of a second.

A process that has imported everything forks. So it must have made no rule engine and no thread
before: whatever looks into a database does that in a fork too, by ``apart``.
"""

from __future__ import annotations

import os
import pickle
import select
import signal
import sys
import traceback
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any, TypeVar

from dawnrule.advice.advisor import Advisor
from dawnrule.clock import new_id, now
from dawnrule.model.entities import Athlete
from dawnrule.settings import LogForm, Settings
from dawnrule.store import Key, Role, Store, Transaction, hash_key
from dawnrule.web import create_app, serve, start_logging

T = TypeVar("T")

KEY = "dawn_of-everything-that-breaks"
STARTED_WITHIN_SECONDS = 60.0


def fork(job: Callable[[], object]) -> int:
    """Do a job in a process of its own, which ends with it; its id."""
    sys.stdout.flush()
    sys.stderr.flush()
    pid = os.fork()
    if pid:
        return pid
    code = 1
    try:
        job()
        code = 0
    except BaseException:  # of any kind: what follows belongs to the other process
        traceback.print_exc()
    finally:
        sys.stderr.flush()
        os._exit(code)


def apart(job: Callable[[], T]) -> T:
    """What a job gives that is done in a process of its own. Raises ``RuntimeError`` when that
    ends without an answer."""
    reading, writing = os.pipe()

    def answer() -> None:
        os.close(reading)
        with os.fdopen(writing, "wb") as pipe:
            pickle.dump(job(), pipe)

    pid = fork(answer)
    os.close(writing)
    with os.fdopen(reading, "rb") as pipe:
        said = pipe.read()
    os.waitpid(pid, 0)
    if not said:
        raise RuntimeError("a process ended without an answer; what it said stands above")
    result: T = pickle.loads(said)
    return result


@dataclass(frozen=True, slots=True)
class Launched:
    """A service on its way up; ``announced`` is the end of a pipe that will give the port."""

    pid: int
    announced: int

    def port(self) -> int:
        """The port, once it is bound. Raises ``RuntimeError`` when the service does not come up."""
        ready, _, _ = select.select([self.announced], [], [], STARTED_WITHIN_SECONDS)
        said = os.read(self.announced, 16) if ready else b""
        if not said:
            raise RuntimeError("the service did not start; what it said stands in its log")
        return int(said)

    def end(self, how: signal.Signals = signal.SIGKILL) -> None:
        """Send a signal and wait until the process is gone."""
        os.kill(self.pid, how)
        os.waitpid(self.pid, 0)
        os.close(self.announced)


def launch(settings: Settings, advisor: Advisor, log: Path) -> Launched:
    """Start the service on a free port, in a process of its own; what it logs is added to a
    file. ``advisor`` must not have decided anything yet."""
    reading, writing = os.pipe()

    def announce(host: str, port: int) -> None:
        os.write(writing, str(port).encode())

    def run() -> None:
        os.close(reading)
        with log.open("ab") as file:
            os.dup2(file.fileno(), sys.stderr.fileno())
        with Store.open(settings.db) as store:
            app = create_app(settings, store, advisor, now, new_id)
            start_logging(settings.log, settings.db)
            serve(app, settings, announce)

    pid = fork(run)
    os.close(writing)
    return Launched(pid, reading)


def settings_for(db: Path) -> Settings:
    """Settings under which nobody is refused for asking too much."""
    return Settings(db=db, port=0, key_requests_per_minute=0, log=LogForm.OFF)


@contextmanager
def served(db: Path, processes: int, advisor: Advisor) -> Iterator[Sequence[tuple[int, int]]]:
    """The process ids and the ports of so many processes of the service on one database."""
    log = db.with_name("log")
    launched = [launch(settings_for(db), advisor, log) for _ in range(processes)]
    try:
        yield [(one.pid, one.port()) for one in launched]
    finally:
        for one in launched:
            one.end()
        sys.stderr.write(log.read_text(encoding="utf-8"))


def make_squad(db: Path, athletes: Sequence[Athlete]) -> None:
    """A database with a squad and a coach's key, made in a process of its own."""
    apart(partial(_make_squad, db, athletes))


def _make_squad(db: Path, athletes: Sequence[Athlete]) -> None:
    def put(transaction: Transaction) -> Any:
        for athlete in athletes:
            transaction.athletes.put(athlete)
        transaction.keys.add(Key("k", Role.COACH, None, None, now()), hash_key(KEY))

    with Store.open(db) as store:
        store.write(put)
