"""Commits per second through the store, beside SQLite alone.

Run from the checkout: ``python -m tests.benchmarks.store``. Each commits the check-in of an
ordinary morning, with ``synchronous = FULL`` and the write-ahead log:

- store: through ``Store.write``, one writer for all threads;
- each alone: the same SQL, each thread in transactions of its own over its own connection;
- bare: the same text by one prepared INSERT into a table without any index or reference, each
  thread over its own connection.

The rounds alternate, so that a busy machine is as slow for one as for the other.
"""

from __future__ import annotations

import argparse
import itertools
import sqlite3
import tempfile
import threading
import time
from collections.abc import Callable
from contextlib import ExitStack, closing
from datetime import UTC, date, datetime
from functools import partial
from pathlib import Path
from statistics import median

from dawnrule.model.entities import Athlete, Block, CheckIn, Sleep
from dawnrule.model.serialization import to_json
from dawnrule.store import Store, StoredCheckIn, Transaction
from dawnrule.store.connection import connect
from dawnrule.store.values import json_text

DAY = date(2026, 3, 9)
NOW = datetime(2026, 3, 9, 6, 40, tzinfo=UTC)
PATIENT_SECONDS = 60.0
BODY = to_json(
    CheckIn(
        "a-01",
        DAY,
        plan=(Block("hypertrophy", ("quadriceps",), modality="free-weights", sets=5, reps=10),),
        reported_at=NOW,
        sleep=Sleep(6.5, 3),
        soreness={"quadriceps": 4, "chest": 1},
        fatigue=4,
        stress=3,
    )
)

Write = Callable[[], object]
numbers = itertools.count()


def check_ins(athlete: str) -> Callable[[Transaction], int]:
    """A job that adds the next day's check-in each time."""
    days = itertools.count(DAY.toordinal())

    def job(transaction: Transaction) -> int:
        day = date.fromordinal(next(days))
        return transaction.check_ins.add(
            StoredCheckIn(f"c-{next(numbers)}", athlete, day, BODY, NOW, "k-01")
        )

    return job


def through_the_store(folder: Path, threads: int, opened: ExitStack) -> list[Write]:
    """For each thread, a write through the one store."""
    store = opened.enter_context(Store.open(folder / "store.db"))
    return [partial(store.write, job) for job in _squad(store, threads)]


def each_alone(folder: Path, threads: int, opened: ExitStack) -> list[Write]:
    """For each thread, the same write over a connection of its own."""
    with Store.open(folder / "alone.db") as store:
        jobs = _squad(store, threads)

    def alone(job: Callable[[Transaction], int]) -> Write:
        connection = opened.enter_context(closing(connect(folder / "alone.db", PATIENT_SECONDS)))

        def write() -> None:
            connection.execute("BEGIN IMMEDIATE")
            job(Transaction.over(connection))
            connection.execute("COMMIT")

        return write

    return [alone(job) for job in jobs]


def bare(folder: Path, threads: int, opened: ExitStack) -> list[Write]:
    """For each thread, an INSERT over a connection of its own."""
    text = json_text(BODY)

    def inserting() -> Write:
        connection = opened.enter_context(closing(connect(folder / "bare.db", PATIENT_SECONDS)))
        connection.isolation_level = None
        connection.execute("PRAGMA journal_mode = WAL")
        connection.execute("CREATE TABLE IF NOT EXISTS bare (body TEXT NOT NULL) STRICT")
        return lambda: connection.execute("INSERT INTO bare VALUES (?)", (text,))

    return [inserting() for _ in range(threads)]


def _squad(store: Store, threads: int) -> list[Callable[[Transaction], int]]:
    athletes = [Athlete(f"a-{number:02}", "Kim", "UTC") for number in range(threads)]
    store.write(lambda transaction: [transaction.athletes.put(athlete) for athlete in athletes])
    return [check_ins(athlete.id) for athlete in athletes]


def commits_a_second(writes: list[Write], seconds: float) -> float:
    """Commits that were acknowledged, by one thread for each write, for each second."""
    counts = [0] * len(writes)
    stop_at = time.perf_counter() + seconds

    def work(thread: int) -> None:
        while time.perf_counter() < stop_at:
            writes[thread]()
            counts[thread] += 1

    started = time.perf_counter()
    workers = [threading.Thread(target=work, args=(number,)) for number in range(len(writes))]
    for worker in workers:
        worker.start()
    for worker in workers:
        worker.join()
    return sum(counts) / (time.perf_counter() - started)


def measure(threads: int, rounds: int, seconds: float) -> list[float]:
    """Median commits a second of alternating rounds: through the store, each alone, bare."""
    with tempfile.TemporaryDirectory() as folder, ExitStack() as opened:
        ways = [way(Path(folder), threads, opened) for way in (through_the_store, each_alone, bare)]
        figures = [[commits_a_second(writes, seconds) for writes in ways] for _ in range(rounds)]
    return [median(of_one_way) for of_one_way in zip(*figures, strict=True)]


def main() -> None:
    """Print one line for 1 thread and one for 8."""
    parser = argparse.ArgumentParser(description="Commits a second: the store, and without it.")
    parser.add_argument("--rounds", type=int, default=3)
    parser.add_argument("--seconds", type=float, default=0.8, help="for each round and way")
    chosen = parser.parse_args()
    print(f"SQLite {sqlite3.sqlite_version}, commits a second (synchronous = FULL)")
    print("threads   store  each alone    bare  store/alone  store/bare")
    for threads in (1, 8):
        store, alone, inserts = measure(threads, chosen.rounds, chosen.seconds)
        ratios = f"{store / alone:11.2f}  {store / inserts:10.2f}"
        print(f"{threads:7}  {store:6,.0f}  {alone:10,.0f}  {inserts:6,.0f}  {ratios}")


if __name__ == "__main__":
    main()
