"""Time to advise after ten years of history, beside none.

Run from the checkout: ``python -m tests.benchmarks.history``. A database holds three athletes,
one with ten years of daily check-ins, advice and sessions, one with the 120 days of them that
facts look back on at most, and one who is new. For each it prints

- read: today's advice, read from the ledger (``books.advice.latest``);
- consider: this morning's check-in considered: the history before it read through the store's
  windows, all facts derived, decided and composed;
- of which history: the windows read, alone.

The rounds alternate, so that a busy machine is as slow for one as for another.
"""

from __future__ import annotations

import argparse
import tempfile
import time
from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from functools import partial
from pathlib import Path
from statistics import median

from dawnrule.advice.advisor import AdvisedMorning, Advisor, Morning
from dawnrule.application.check_ins import history_before
from dawnrule.model.entities import Athlete, Block, CheckIn, History, Session, Sleep
from dawnrule.model.serialization import to_json
from dawnrule.store import Store, StoredAdvice, StoredCheckIn, StoredSession, Transaction

TODAY = date(2026, 3, 9)
NOW = datetime(2026, 3, 9, 6, 40, tzinfo=UTC)
TEN_YEARS = 3652
ALL_THAT_COUNTS = 120
NONE = 0
DAYS = {"a-ten-years": TEN_YEARS, "a-120-days": ALL_THAT_COUNTS, "a-new": NONE}
"""The athletes, and how many days of history each has."""

SQUATS = Block("hypertrophy", ("quadriceps", "glutes"), modality="free-weights", sets=4, reps=10)
PRESSES = Block("strength", pattern="horizontal-press", modality="free-weights", sets=5, reps=5)
PLAN = (replace(SQUATS, starts_at=NOW + timedelta(hours=11)), PRESSES)


def athlete(athlete_id: str) -> Athlete:
    """An athlete of the benchmark."""
    return Athlete(athlete_id, "Kim", "Europe/Berlin", date(1996, 3, 9), "trained")


def check_in(athlete_id: str, days_ago: int) -> CheckIn:
    """An ordinary morning."""
    return CheckIn(
        athlete_id,
        TODAY - timedelta(days=days_ago),
        PLAN if days_ago == 0 else (SQUATS,),
        reported_at=NOW - timedelta(days=days_ago),
        sleep=Sleep(7.0 + days_ago % 3 / 2, 3),
        soreness={"quadriceps": 4 - days_ago % 4, "chest": 1},
        fatigue=3 + days_ago % 3,
        stress=3,
        resting_hr_bpm=50 + days_ago % 5,
        hrv_rmssd_ms=60.0 + days_ago % 7,
        pain=(),
        illness="none",
        warning_signs=(),
    )


def session(athlete_id: str, days_ago: int) -> Session:
    """An evening's training, on some days with a run."""
    start = NOW - timedelta(days=days_ago, hours=-11)
    run = Block("steady-endurance", modality="flat-running", minutes=20.0)
    blocks = (SQUATS, PRESSES, run) if days_ago % 3 else (PRESSES,)
    return Session(athlete_id, start, 75.0, blocks, 5.0 + days_ago % 4, "held")


class Benchmark:
    """A filled store and an advisor."""

    def __init__(self, store: Store) -> None:
        self._store = store
        self._advisor = Advisor.bundled()
        self._rule_set = self._advisor.library.all()[-1]
        considered = self._consider(check_in("a-new", 0), History())
        record = considered.record(decided_at=NOW, posted_by=None, supersedes=None)
        self._record = record.to_canonical_json()
        for athlete_id, days in DAYS.items():
            store.write(partial(self._fill, athlete_id=athlete_id, days=days))

    def read(self, athlete_id: str) -> None:
        """Read today's advice."""
        self._store.read(lambda transaction: transaction.advice.latest(athlete_id, TODAY))

    def history(self, athlete_id: str) -> History:
        """Read the history before this morning."""
        this_morning = check_in(athlete_id, 0)
        return self._store.read(lambda transaction: history_before(transaction, this_morning, NOW))

    def consider(self, athlete_id: str) -> None:
        """Read the history before this morning and consider its check-in."""
        self._consider(check_in(athlete_id, 0), self.history(athlete_id))

    def _consider(self, this_morning: CheckIn, history: History) -> AdvisedMorning:
        morning = Morning(athlete(this_morning.athlete_id), this_morning, history, NOW)
        return self._advisor.consider(morning, self._rule_set, "advice-1")

    def _fill(self, transaction: Transaction, athlete_id: str, days: int) -> None:
        transaction.athletes.put(athlete(athlete_id))
        for days_ago in range(days, -1, -1):
            self._add_morning(transaction, athlete_id, days_ago)
            if days_ago:
                done = session(athlete_id, days_ago)
                session_id = f"{athlete_id}-s-{days_ago}"
                transaction.sessions.add(StoredSession(session_id, done, NOW, None))

    def _add_morning(self, transaction: Transaction, athlete_id: str, days_ago: int) -> None:
        morning = check_in(athlete_id, days_ago)
        check_in_id = f"{athlete_id}-c-{days_ago}"
        transaction.check_ins.add(
            StoredCheckIn(check_in_id, athlete_id, morning.date, to_json(morning), NOW, None)
        )
        transaction.advice.add(
            StoredAdvice(
                id=f"{athlete_id}-a-{days_ago}",
                check_in_id=check_in_id,
                athlete_id=athlete_id,
                date=morning.date,
                verdict="rest",
                rule_id=None,
                rule_set_digest=self._rule_set.digest,
                record=self._record,
                decided_at=NOW,
            )
        )


def microseconds(job: Callable[[str], object], rounds: int, times: int) -> dict[str, float]:
    """The median time of a job for each athlete, over rounds that alternate."""

    def one_round() -> Iterator[tuple[str, float]]:
        for athlete_id in DAYS:
            started = time.perf_counter()
            for _ in range(times):
                job(athlete_id)
            yield athlete_id, (time.perf_counter() - started) / times * 1e6

    figures = [dict(one_round()) for _ in range(rounds)]
    return {athlete_id: median(figure[athlete_id] for figure in figures) for athlete_id in DAYS}


def main() -> None:
    """Print one line for each thing measured."""
    parser = argparse.ArgumentParser(description="Ten years of history against none.")
    parser.add_argument("--rounds", type=int, default=9)
    parser.add_argument("--times", type=int, default=20, help="for each round and athlete")
    chosen = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder, Store.open(Path(folder) / "history.db") as store:
        benchmark = Benchmark(store)
        jobs = {
            "read": benchmark.read,
            "consider": benchmark.consider,
            "of which history": benchmark.history,
        }
        print("microseconds         none  120 days  ten years  ten/none  ten/120 days")
        for name, job in jobs.items():
            ten, counted, none = microseconds(job, chosen.rounds, chosen.times).values()
            ratios = f"{ten / none:8.2f}  {ten / counted:12.2f}"
            print(f"{name:17}{none:8,.0f}  {counted:8,.0f}  {ten:9,.0f}  {ratios}")


if __name__ == "__main__":
    main()
