"""Resident memory of the service over many check-ins.

Run from the checkout: ``python -m tests.benchmarks.memory``. Four clients post one check-in after
the other to one process of the service, each for the next of 10,000 athletes, so that everybody's
is corrected again and again; after every 10,000 check-ins the memory that the process keeps
resident is read. Ends with 1 when it grows after the first fifth, while caches are filled, by more
than 1 MB for 10,000 check-ins, or when a request failed.
"""

from __future__ import annotations

import argparse
import sys
import time
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from functools import partial
from itertools import count, islice
from pathlib import Path
from statistics import linear_regression
from tempfile import TemporaryDirectory

import psutil

from dawnrule.advice.advisor import Advisor
from dawnrule.clock import now
from dawnrule.model.entities import Athlete
from tests.faults.caller import Caller
from tests.faults.serving import make_squad, served

ATHLETES = 10_000
CLIENTS = 4
EACH = 10_000
FEWEST = 50_000
WARM_UP = 0.2
GROWTH_AT_MOST_MB = 1.0
CREATED = 201
MEGABYTE = 1_000_000
HOURS_OF_A_NIGHT = 12


def post(port: int, day: str, numbers: Sequence[int]) -> None:
    """Post the check-ins of some numbers; each says something that none before it said."""
    caller = Caller(port)
    for number in numbers:
        hours = number / 100_000 % HOURS_OF_A_NIGHT
        body = {
            "athlete_id": f"a-{number % ATHLETES}",
            "date": day,
            "sleep": {"hours": hours},
            "fatigue": number % 11,
            "plan": [{"goal": "hypertrophy", "muscle_groups": ["quadriceps"]}],
        }
        said = caller.ask("POST", "/v1/check-ins", body)
        if said.status != CREATED:
            raise RuntimeError(f"check-in {number}: {said}")
    caller.close()


def measure(check_ins: int, advisor: Advisor) -> list[float]:
    """The resident memory (MB) after each 10,000 check-ins."""
    day, numbers, kept = now().date().isoformat(), count(), []
    with TemporaryDirectory() as folder, ThreadPoolExecutor(CLIENTS) as pool:
        db = Path(folder) / "squad.db"
        make_squad(db, [Athlete(f"a-{number}", "Kim", "UTC") for number in range(ATHLETES)])
        with served(db, 1, advisor) as [(pid, port)]:
            process = psutil.Process(pid)
            for done in range(EACH, check_ins + 1, EACH):
                began = time.perf_counter()
                some = list(islice(numbers, EACH))
                shares = [some[client::CLIENTS] for client in range(CLIENTS)]
                list(pool.map(partial(post, port, day), shares))
                kept.append(process.memory_info().rss / MEGABYTE)
                rate = EACH / (time.perf_counter() - began)
                print(f"{done:8,} check-ins  {kept[-1]:7.1f} MB  {rate:5,.0f}/s", flush=True)
    return kept


def main() -> None:
    """Print the memory after each 10,000, and by how much it grew after the warm-up."""
    parser = argparse.ArgumentParser(description="The memory of one process of the service.")
    parser.add_argument("--count", type=int, default=200_000, help="a multiple of 10,000")
    options = parser.parse_args()
    if options.count < FEWEST:
        parser.error(f"a trend takes at least {FEWEST:,} check-ins")
    kept = measure(options.count, Advisor.bundled())
    after = kept[int(len(kept) * WARM_UP) :]
    growth = linear_regression(range(len(after)), after).slope
    print(f"after the warm-up {growth:+.2f} MB for each 10,000 check-ins")
    sys.exit(1 if growth > GROWTH_AT_MOST_MB else 0)


if __name__ == "__main__":
    main()
