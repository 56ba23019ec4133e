"""Advice on the rows of a file in a temporary database; on many rows by several processes.

Athletes have nothing to do with each other, so each process takes the rows of some athletes, in a
database of its own: the answers are those of one process. Processes are forked, so that each has
the rules compiled; where that cannot be done, one process does it all.
"""

from __future__ import annotations

import gc
import multiprocessing
import os
import signal
import sys
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Future, ProcessPoolExecutor, as_completed
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from tempfile import TemporaryDirectory
from threading import Thread
from typing import Any, TypeAlias

from dawnrule.advice.composer import Composer
from dawnrule.application.amendments import Told, submit_told
from dawnrule.application.batches import Row, RowOutcome, submit_each
from dawnrule.application.check_ins import CheckIns, Submitted
from dawnrule.errors import DawnruleError
from dawnrule.i18n.catalog import Texts
from dawnrule.i18n.lazy import lazy, render_error
from dawnrule.model.entities import Athlete
from dawnrule.store import Store, Transaction

Show: TypeAlias = Callable[[RowOutcome[Told, Submitted], Composer], Any]
"""Makes what an answer shows of a row."""

Progress: TypeAlias = Callable[[int], None]
"""Told how many further rows are done."""

ROWS_OF_A_TRANSACTION = 1000
ROWS_WORTH_A_PROCESS = 250
"""Fewer are advised on before another process has begun."""


def cores() -> int:
    """Return how many processes can run at once; 1 where none can be forked."""
    return len(os.sched_getaffinity(0)) if sys.platform == "linux" else 1


@dataclass(frozen=True, slots=True)
class Answered:
    """The numbers of a row, what is shown of it, and the error that stands against it or its
    rest."""

    numbers: tuple[int, ...]
    shown: Any
    problem: DawnruleError | None


@dataclass(frozen=True, slots=True)
class RowAdvice:
    """Advises on rows, those of an athlete in their order; ``athletes`` are all that the rows are
    about."""

    rows: Sequence[Row[Told]]
    athletes: Sequence[Athlete]
    check_ins: CheckIns
    show: Show

    def by(self, processes: int, progress: Progress) -> list[Answered]:
        """Return what is answered to each row, in their order, by as many processes at the most.
        Raises ``DawnruleError`` when one of them ends before it is done."""
        gc.freeze()  # the rows stay until the end, so no process looks for rubbish among them
        if min(processes, cores(), len(self.rows) // ROWS_WORTH_A_PROCESS) <= 1:
            with TemporaryDirectory(prefix="dawnrule-") as folder:
                return self._in_one(Path(folder), progress)
        with TemporaryDirectory(prefix="dawnrule-") as folder:
            return self._in_several(Path(folder), min(processes, cores()), progress)

    def _in_one(self, folder: Path, progress: Progress) -> list[Answered]:
        answered: list[Answered] = []
        with Store.open(folder / "dawnrule.db") as store:
            while some := self.rows[len(answered) :][:ROWS_OF_A_TRANSACTION]:
                answered += self.submit(store, some)
                progress(len(some))
        return answered

    def _in_several(self, folder: Path, processes: int, progress: Progress) -> list[Answered]:
        answered: dict[int, Answered] = {}
        with _forked(processes, _begin, (self, folder)) as pool:
            for places, some in pool(_advise, self._shares(processes)):
                answered |= dict(zip(places, some, strict=True))
                progress(len(places))
        return [answered[place] for place in range(len(self.rows))]

    def _shares(self, processes: int) -> list[list[int]]:
        """Divide the places of the rows, those of an athlete together: several shares for each
        process, as some take longer than others."""
        by_athlete: dict[str, list[int]] = {}
        for place, row in enumerate(self.rows):
            who = "" if isinstance(row.entry, DawnruleError) else row.entry.athlete_id
            by_athlete.setdefault(who, []).append(place)
        enough = min(ROWS_OF_A_TRANSACTION, -(-len(self.rows) // (4 * processes)))
        shares: list[list[int]] = [[]]
        for places in by_athlete.values():
            if len(shares[-1]) >= enough:
                shares.append([])
            shares[-1] += places
        return [sorted(share) for share in shares]

    def submit(self, store: Store, rows: Sequence[Row[Told]]) -> list[Answered]:
        """Submit some rows to a database in one transaction, with whom they are about."""
        about = {row.entry.athlete_id for row in rows if not isinstance(row.entry, DawnruleError)}
        known = [athlete for athlete in self.athletes if athlete.id in about]
        store.write(lambda transaction: [transaction.athletes.put(one) for one in known])
        composer = self.check_ins.advisor.composer
        return [
            Answered(one.row.numbers, self.show(one, composer), one.problem)
            for one in submit_each(store, rows, self._begin, alone=True)
        ]

    def _begin(self, told: Told) -> Callable[[Transaction], Submitted]:
        submission = self.check_ins.submission(None)
        return lambda transaction: submit_told(transaction, self.check_ins, told, submission)


# ---- processes

_Shares: TypeAlias = Iterator[tuple[list[int], list[Answered]]]


@contextmanager
def _forked(
    processes: int, begin: Callable[..., None], given: tuple[RowAdvice, Path]
) -> Iterator[Callable[..., _Shares]]:
    """Fork processes that begin with what is given, which they inherit; all have ended when this
    returns, whatever has happened."""
    before = set(multiprocessing.active_children())
    fork = multiprocessing.get_context("fork")
    pool = ProcessPoolExecutor(processes, fork, begin, given)

    def as_done(job: Callable[[list[int]], list[Answered]], shares: Sequence[list[int]]) -> _Shares:
        doing: dict[Future[list[Answered]], list[int]] = {
            pool.submit(job, share): share for share in shares
        }
        for done in as_completed(doing):
            yield doing[done], done.result()

    try:
        yield as_done
    except BrokenProcessPool as error:
        raise DawnruleError(lazy("sheet.process_ended")) from error
    finally:
        pool.shutdown(wait=False, cancel_futures=True)
        for process in set(multiprocessing.active_children()) - before:
            process.terminate()
            process.join()


@dataclass(frozen=True, slots=True)
class _Worker:
    """What a forked process works with."""

    advice: RowAdvice
    store: Store
    texts: Texts


_worker: _Worker | None = None


def _begin(advice: RowAdvice, folder: Path) -> None:
    """Begin as a forked process. Ctrl-C is left to the one that forked it, which ends all; should
    that be killed, this ends too."""
    global _worker  # the one place for what a process of a pool inherits
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    Thread(target=_end_with, args=(multiprocessing.parent_process(),), daemon=True).start()
    store = Store.open(folder / f"{os.getpid()}.db")
    _worker = _Worker(advice, store, advice.check_ins.advisor.composer.texts)


def _end_with(parent: multiprocessing.process.BaseProcess | None) -> None:
    if parent is not None:
        parent.join()
        os._exit(1)


def _advise(places: list[int]) -> list[Answered]:
    """Advise on the rows of some places, as a forked process; errors are worded, as how they are
    said cannot leave the process."""
    assert _worker is not None, "the process has begun"
    advice, texts = _worker.advice, _worker.texts
    answered = advice.submit(_worker.store, [advice.rows[place] for place in places])
    return [
        replace(one, problem=render_error(one.problem, texts)) if one.problem else one
        for one in answered
    ]
