"""The morning peak: 5,000 athletes in ten minutes.

Run from the checkout: ``python -m tests.benchmarks.peak --speed 10``. Each of the athletes has two
weeks of mornings behind them, and checks in once, at a random moment of the ten minutes; the ten
minutes are replayed so many times as fast. A check-in is sent when its moment has come, whether
the ones before were answered or not, and how long it took counts from that moment, so that a
service that falls behind shows it.
"""

from __future__ import annotations

import argparse
import random
import sys
import time
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from dataclasses import dataclass
from datetime import date, timedelta
from functools import partial
from pathlib import Path
from queue import Empty, SimpleQueue
from statistics import quantiles
from tempfile import TemporaryDirectory
from typing import Any, Protocol

from dawnrule.advice.advisor import Advisor
from dawnrule.clock import now
from dawnrule.model.entities import Athlete, Block, CheckIn, Sleep
from dawnrule.model.serialization import to_json
from dawnrule.store import Store, StoredCheckIn, Transaction
from tests.faults.caller import NO_ANSWER, Asks, Caller
from tests.faults.serving import apart, make_squad, served

ATHLETES = 5_000
PEAK_SECONDS = 600
MORNINGS_BEFORE = 14
CLIENTS = 32
CREATED = 201
SEED = 1


@dataclass(frozen=True, slots=True)
class Arrived:
    """One check-in: when it was due and when it was answered, in seconds from the start, and what
    went wrong."""

    due: float
    answered: float
    error: str | None


class Calls(Asks, Protocol):
    """One client of the service."""

    def close(self) -> None: ...


def write_history(db: Path, today: date, athletes: Sequence[int]) -> None:
    """The mornings that everybody has behind them; advice on them is not needed."""
    chance = random.Random(SEED)

    def morning(transaction: Transaction, athlete: int, days: int) -> None:
        athlete_id, day = f"a-{athlete}", today - timedelta(days)
        sleep = Sleep(round(chance.uniform(5, 9), 1), chance.randrange(1, 6))
        check_in = CheckIn(athlete_id, day, (), sleep=sleep, fatigue=chance.randrange(8))
        number = f"c-{athlete}-{days}"
        transaction.check_ins.add(
            StoredCheckIn(number, athlete_id, day, to_json(check_in), now(), "k")
        )

    def mornings(transaction: Transaction, days: int) -> None:
        for athlete in athletes:
            morning(transaction, athlete, days)

    with Store.open(db) as store:
        for days in range(MORNINGS_BEFORE, 0, -1):
            store.write(partial(mornings, days=days))


def check_in(athlete: int, today: date, chance: random.Random) -> dict[str, Any]:
    """An ordinary morning with a plan of two blocks."""
    plan = (
        Block("hypertrophy", ("quadriceps", "glutes"), modality="free-weights", sets=4, reps=10),
        Block("steady-endurance", modality="cycling", minutes=30),
    )
    soreness = {"quadriceps": chance.randrange(8), "chest": chance.randrange(8)}
    sleep = Sleep(round(chance.uniform(5, 9), 1), 3)
    return to_json(
        CheckIn(f"a-{athlete}", today, plan, sleep=sleep, soreness=soreness, fatigue=4, stress=3)
    )


def replayed(client: Callable[[int], Calls], speed: float, today: date) -> list[Arrived]:
    """What became of each check-in; ``client`` makes one of those that send, by its number."""
    chance = random.Random(SEED)
    moments = sorted(chance.uniform(0, PEAK_SECONDS / speed) for _ in range(ATHLETES))
    coming: SimpleQueue[tuple[float, dict[str, Any]]] = SimpleQueue()
    for athlete, due in enumerate(moments):
        coming.put((due, check_in(athlete, today, chance)))
    started = time.perf_counter()

    def work(number: int) -> list[Arrived]:
        caller, arrived = client(number), []
        with suppress(Empty):
            while True:
                due, body = coming.get_nowait()
                time.sleep(max(0, started + due - time.perf_counter()))
                error = _error_of(caller, body)
                arrived.append(Arrived(due, time.perf_counter() - started, error))
        caller.close()
        return arrived

    with ThreadPoolExecutor(CLIENTS) as pool:
        return [one for some in pool.map(work, range(CLIENTS)) for one in some]


def _error_of(caller: Calls, body: dict[str, Any]) -> str | None:
    try:
        said = caller.ask("POST", "/v1/check-ins", body)
    except NO_ANSWER as error:
        return repr(error)
    return None if said.status == CREATED else str(said)


def main() -> None:
    """Print what rate was asked and held, how long answers took, and what went wrong."""
    parser = argparse.ArgumentParser(description="5,000 athletes check in within ten minutes.")
    parser.add_argument("--speed", type=float, default=10.0, help="times as fast")
    parser.add_argument("--processes", type=int, default=1)
    options = parser.parse_args()
    advisor, today = Advisor.bundled(), now().date()
    with TemporaryDirectory() as folder:
        db = Path(folder) / "squad.db"
        make_squad(db, [Athlete(f"a-{number}", "Kim", "UTC") for number in range(ATHLETES)])
        apart(partial(write_history, db, today, range(ATHLETES)))
        with served(db, options.processes, advisor) as services:
            ports = [port for _, port in services]
            arrived = replayed(
                lambda number: Caller(ports[number % len(ports)]), options.speed, today
            )
    print(f"{options.processes} process(es), {told(arrived, options.speed)}")
    sys.exit(1 if any(one.error for one in arrived) else 0)


def told(arrived: Sequence[Arrived], speed: float) -> str:
    """Say what rate was asked and held, how long answers took, and the first errors."""
    took_ms = quantiles([1000 * (one.answered - one.due) for one in arrived], n=100)
    errors = [one.error for one in arrived if one.error]
    said = (
        f"{speed:g} times as fast: asked {ATHLETES * speed / PEAK_SECONDS:.0f} check-ins/s, "
        f"held {ATHLETES / max(one.answered for one in arrived):.0f}; "
        f"p50 {took_ms[49]:.0f} ms, p99 {took_ms[98]:.0f} ms; {len(errors)} errors"
    )
    return "\n".join([said, *errors[:10]])


if __name__ == "__main__":
    main()
