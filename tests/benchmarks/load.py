"""Do several processes of the service on one database lose nothing under load, and how long does
an answer take?

Run from the checkout: ``python -m tests.benchmarks.load``. For one process, for two, and so on, 64
clients check in for the same few athletes for a bounded time, each time through any of the
processes, so that nearly every check-in corrects one that another process has just stored; in
between they read what they were told. Afterwards every check-in that was acknowledged must be
there as a revision, the advice of each athlete must be a single line, each superseding the one
before, and the ledger must verify. Ends with 1 when a request failed, timed out or was hung up on,
or an update was lost.
"""

from __future__ import annotations

import argparse
import json
import random
import sqlite3
import sys
import time
from collections import Counter
from collections.abc import Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing
from dataclasses import dataclass, field
from pathlib import Path
from statistics import quantiles
from tempfile import TemporaryDirectory

from dawnrule.advice.advisor import Advisor
from dawnrule.clock import now
from dawnrule.model.entities import Athlete
from tests.faults.caller import NO_ANSWER, Caller
from tests.faults.killing import unverified
from tests.faults.serving import apart, make_squad, served
from tests.warm import read_ahead

ATHLETES = 16
READS = 0.3
OK, CREATED = 200, 201
LONGEST_NIGHT_HOURS = 24

Update = tuple[str, str, float]
"""An acknowledged check-in: whose, the advice's id, and the hours of sleep, which no other has."""


@dataclass(slots=True)
class Client:
    """One of many who send at once; what took how long (seconds), and what went wrong."""

    number: int
    of: int
    day: str
    took: list[float] = field(default_factory=list)
    reads: int = 0
    updates: list[Update] = field(default_factory=list)
    errors: list[str] = field(default_factory=list)

    def work(self, ports: Sequence[int], until: float) -> None:
        """Send until the time has come, through any of the processes."""
        chance = random.Random(self.number)
        callers = [Caller(port) for port in ports]
        while time.perf_counter() < until:
            caller = chance.choice(callers)
            began = time.perf_counter()
            try:
                self._send(caller, chance)
            except NO_ANSWER as error:
                self.errors.append(repr(error))
                caller.close()
            self.took.append(time.perf_counter() - began)
        for caller in callers:
            caller.close()

    def _send(self, caller: Caller, chance: random.Random) -> None:
        if self.updates and chance.random() < READS:
            self._read(caller)
        else:
            self._check_in(caller, f"a-{chance.randrange(ATHLETES)}", chance.randrange(11))

    def _read(self, caller: Caller) -> None:
        """What was acknowledged just now must be there for every process."""
        athlete_id, advice_id, _ = self.updates[-1]
        said = caller.ask("GET", f"/v1/advice/{advice_id}")
        if said.status != OK or said.body["advice"]["athlete_id"] != athlete_id:
            self.errors.append(f"read: {said}")
        self.reads += 1

    def _check_in(self, caller: Caller, athlete_id: str, fatigue: int) -> None:
        hours = (len(self.updates) * self.of + self.number) / 1_000_000
        body = {
            "athlete_id": athlete_id,
            "date": self.day,
            "sleep": {"hours": hours % LONGEST_NIGHT_HOURS},
            "fatigue": fatigue,
            "soreness": {"quadriceps": fatigue},
            "plan": [{"goal": "hypertrophy", "muscle_groups": ["quadriceps", "chest"]}],
        }
        said = caller.ask("POST", "/v1/check-ins", body)
        if said.status == CREATED:
            self.updates.append((athlete_id, said.body["advice_id"], hours))
        else:
            self.errors.append(f"check-in: {said}")


def lost(db: Path, day: str, updates: Sequence[Update]) -> Iterator[str]:
    """The acknowledged updates of a date that are not there, those that nobody was told of, and
    the lines of advice that are not one."""
    with closing(sqlite3.connect(db)) as connection:
        rows = connection.execute(
            """
            SELECT advice.athlete_id, advice.id, body, revision, supersedes
            FROM advice JOIN check_ins ON check_ins.id = check_in_id
            WHERE advice.date = ? ORDER BY position
            """,
            (day,),
        ).fetchall()
    kept = Counter((who, one, json.loads(body)["sleep"]["hours"]) for who, one, body, *_ in rows)
    told = Counter(updates)
    yield from (f"lost: {update}" for update in told - kept)
    yield from (f"not told: {update}" for update in kept - told)
    newest: dict[str, tuple[str | None, int]] = {}
    for athlete_id, advice_id, _, revision, supersedes in rows:
        before, number = newest.get(athlete_id, (None, 0))
        if (supersedes, revision) != (before, number + 1):
            yield f"{advice_id}, revision {revision} of {athlete_id}, supersedes {supersedes}"
        newest[athlete_id] = (advice_id, revision)


@dataclass(frozen=True, slots=True)
class Figures:
    """What one number of processes came to."""

    processes: int
    updates: int
    reads: int
    rate: float
    p50_ms: float
    p99_ms: float
    longest_ms: float
    errors: Sequence[str]
    lost: Sequence[str]


def measure(processes: int, clients: int, seconds: float, advisor: Advisor) -> Figures:
    """Put load on so many processes, and look what is there afterwards."""
    squad = [Athlete(f"a-{number}", "Kim", "UTC") for number in range(ATHLETES)]
    day = now().date().isoformat()
    all_clients = [Client(number, clients, day) for number in range(clients)]
    with TemporaryDirectory() as folder:
        db = Path(folder) / "squad.db"
        make_squad(db, squad)
        with served(db, processes, advisor) as services:
            began = time.perf_counter()
            _work(all_clients, [port for _, port in services], began + seconds)
            took_in_all = time.perf_counter() - began
        updates = [update for client in all_clients for update in client.updates]
        gone = apart(lambda: [*lost(db, day, updates), *unverified(db)])
    took_ms = [1000 * one for client in all_clients for one in client.took]
    hundredths = quantiles(took_ms, n=100)
    return Figures(
        processes,
        len(updates),
        sum(client.reads for client in all_clients),
        len(took_ms) / took_in_all,
        hundredths[49],
        hundredths[98],
        max(took_ms),
        [error for client in all_clients for error in client.errors],
        gone,
    )


def _work(clients: Sequence[Client], ports: Sequence[int], until: float) -> None:
    with ThreadPoolExecutor(len(clients)) as pool:
        for _ in pool.map(lambda client: client.work(ports, until), clients):
            pass


def main() -> None:
    """Print a line for each number of processes."""
    parser = argparse.ArgumentParser(description="Several processes on one database under load.")
    parser.add_argument("--seconds", type=float, default=30.0, help="for each number of processes")
    parser.add_argument("--clients", type=int, default=64)
    parser.add_argument("--processes", type=int, nargs="+", default=[1, 2, 3])
    options = parser.parse_args()
    read_ahead()
    advisor = Advisor.bundled()
    print("processes  check-ins   reads  answers/s  p50 ms  p99 ms  longest ms  errors  lost")
    wrong: list[str] = []
    for processes in options.processes:
        found = measure(processes, options.clients, options.seconds, advisor)
        print(
            f"{found.processes:9}  {found.updates:9,}  {found.reads:6,}  {found.rate:9,.0f}  "
            f"{found.p50_ms:6,.0f}  {found.p99_ms:6,.0f}  {found.longest_ms:10,.0f}  "
            f"{len(found.errors):6}  {len(found.lost):4}",
            flush=True,
        )
        wrong += [*found.errors, *found.lost]
    print("\n".join(wrong[:20]))
    sys.exit(1 if wrong else 0)


if __name__ == "__main__":
    main()
