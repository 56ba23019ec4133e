"""Replay jobs: request, run, stop, resume and read.

Progress is kept in the store, step by step, so that a replay can be requested in one process and
watched or stopped in another. A stopped one resumes after its last finished date; finished dates
are not read again, even if their advice has been superseded since.
"""

from __future__ import annotations

import json
import logging
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from time import sleep
from typing import TypeVar

from dawnrule.analytics.archive import Archive, Progress, ignore_progress
from dawnrule.analytics.replay import Replayed, dates_in_steps
from dawnrule.errors import Conflict, DawnruleError, InvalidInput, NotFound, StoreBusy
from dawnrule.model import FactDictionary
from dawnrule.model.serialization import from_json_text, to_json
from dawnrule.rules import columnar
from dawnrule.rules.registry import RuleSetLibrary
from dawnrule.rules.rule_set import RuleSet
from dawnrule.store import ReplayState, ReplayStep, Store, StoredReplay, Transaction
from dawnrule.store.activity_log import COMMAND_LINE, record_act

T = TypeVar("T")

_TRIES_WHILE_BUSY = 12
"""Each waits as long as a request does, 5 s: together longer than files are rewritten."""
_PAUSE_SECONDS = 0.2

_log = logging.getLogger("dawnrule.replays")


@dataclass(frozen=True, slots=True)
class Listener:
    """Progress callbacks: ``reading`` for records added to the archive, if it lacks any, and then
    ``deciding`` for mornings decided."""

    reading: Progress = ignore_progress
    deciding: Progress = ignore_progress


SILENCE = Listener()


class _Stopped(Exception):
    """The replay was stopped while the archive was being updated."""


@dataclass(frozen=True, slots=True)
class ReplayRunner:
    """A runner of replays in the caller's thread; ``clock`` gives aware times."""

    store: Store
    archive: Archive
    clock: Callable[[], datetime]

    def request(
        self,
        replay_id: str,
        rule_set: RuleSet,
        first: date | None,
        last: date | None,
        asked_by: str | None = None,
    ) -> None:
        """Queue a replay of the mornings between two dates, both included; None leaves an end open.
        An ``asked_by`` of None is the command line. Raises ``InvalidInput`` for dates in the wrong
        order."""
        if first and last and first > last:
            raise InvalidInput(f"The replay would end on {last}, before it begins on {first}.")
        at, about = self.clock(), _about(replay_id, rule_set, first, last)

        def add(transaction: Transaction) -> None:
            named = rule_set.full_name, rule_set.digest
            transaction.replays.add(StoredReplay(replay_id, *named, first, last, at, at, asked_by))
            record_act(
                transaction, "replay-started", by=asked_by or COMMAND_LINE, at=at, about=about
            )

        self.store.write(add)

    def requeue_unfinished(
        self, rule_set: RuleSet, first: date | None, last: date | None
    ) -> StoredReplay | None:
        """Queue again the newest unfinished replay by a rule set of exactly these dates; None if
        there is none."""

        def requeue(transaction: Transaction) -> StoredReplay | None:
            replay = transaction.replays.unfinished(rule_set.digest, first, last)
            if replay is not None:
                transaction.replays.requeue(replay.id, self.clock())
            return replay

        return self.store.write(requeue)

    def run(self, replay_id: str, rule_set: RuleSet, listener: Listener = SILENCE) -> None:
        """Run the rest of a waiting replay; return when it is done or was stopped.

        ``rule_set`` is the one that it was requested with. Ctrl-C leaves it stopped; any other
        error is stored as its problem; both are raised.
        """
        run = self._write(lambda transaction: transaction.replays.take(replay_id, self.clock()))
        if run is None:
            return
        try:
            self._run_steps(replay_id, run, rule_set, listener)
        except _Stopped:
            self._end(replay_id, run, ReplayState.STOPPED)
        except BaseException as error:  # of any kind: whoever asks must not wait for ever
            self._end(replay_id, run, *_outcome_of(error))
            raise

    def _run_steps(self, replay_id: str, run: int, rule_set: RuleSet, listener: Listener) -> None:
        def reading(done: int, of: int) -> None:
            if not self.store.read(
                lambda transaction: transaction.replays.is_running(replay_id, run)
            ):
                raise _Stopped
            listener.reading(done, of)

        replay = self.store.read(lambda transaction: transaction.replays.get(replay_id))
        if replay is None:  # deleted meanwhile, as all are when a person is erased
            return
        left = self.archive.mornings(reading).between(_next_date(replay), replay.last)
        steps = list(dates_in_steps(left))
        done = replay.mornings_done
        of = done + sum(dates.mornings for dates in steps)
        self._write(lambda transaction: transaction.replays.set_total(replay_id, run, of))
        decider = columnar.ColumnDecider(rule_set, FactDictionary.bundled())
        for dates in steps:
            decided = decider.decide(left.between(dates.first, dates.last))
            if not self._keep(replay_id, run, dates.first, dates.last, Replayed.of(decided)):
                return
            done += dates.mornings
            listener.deciding(done, of)
        self._end(replay_id, run, ReplayState.DONE)

    def _keep(self, replay_id: str, run: int, first: date, last: date, result: Replayed) -> bool:
        """Store the result of a step; return False if the replay was stopped or deleted."""
        step = ReplayStep(first, last, result.mornings, json.dumps(to_json(result)))
        return self._write(
            lambda transaction: transaction.replays.add_step(replay_id, run, step, self.clock())
        )

    def _end(
        self, replay_id: str, run: int, state: ReplayState, problem: str | None = None
    ) -> None:
        self._write(
            lambda transaction: transaction.replays.end(
                replay_id, run, state, self.clock(), problem
            )
        )

    def _write(self, job: Callable[[Transaction], T]) -> T:
        """Write as the store does, and wait for longer than a request would: a replay that is not
        ended where it stands would be running for ever, though nobody runs it."""
        for _ in range(_TRIES_WHILE_BUSY - 1):
            with suppress(StoreBusy):
                return self.store.write(job)
            sleep(_PAUSE_SECONDS)
        return self.store.write(job)


class ReplayJobs:
    """A background thread that runs replays one after another.

    Its creator must close it before the store.
    """

    def __init__(
        self, runner: ReplayRunner, library: RuleSetLibrary, new_id: Callable[[], str]
    ) -> None:
        """``library`` has the rule sets of resumed replays; ``new_id`` gives unique ids."""
        self._runner = runner
        self._store = runner.store
        self._library = library
        self._new_id = new_id
        self._ours: set[str] = set()
        self._thread = ThreadPoolExecutor(1, thread_name_prefix="dawnrule-replay")

    def start(
        self,
        rule_set: RuleSet,
        first: date | None = None,
        last: date | None = None,
        asked_by: str | None = None,
    ) -> str:
        """Queue a replay and return its id at once. Raises ``InvalidInput`` for dates in the wrong
        order."""
        replay_id = self._new_id()
        self._runner.request(replay_id, rule_set, first, last, asked_by)
        self._submit(replay_id, rule_set)
        return replay_id

    def status(self, replay_id: str) -> StoredReplay:
        """Read the state of a replay. Raises ``NotFound``."""
        return self._store.read(lambda transaction: known_replay(transaction, replay_id))

    def newest(self) -> list[StoredReplay]:
        """List the replays that are kept, newest first."""
        return self._store.read(lambda transaction: transaction.replays.newest())

    def cancel(self, replay_id: str) -> StoredReplay:
        """Stop a replay, in whichever process it runs; finished steps stay. Raises ``NotFound``."""
        self._stop(replay_id)
        return self.status(replay_id)

    def resume(self, replay_id: str) -> StoredReplay:
        """Resume a replay that was stopped, failed, or lost its process. Raises ``NotFound``, and
        ``Conflict`` when it is done."""
        rule_set = self._library.by_digest(self.status(replay_id).rule_set_digest)
        clock = self._runner.clock
        if not self._store.write(
            lambda transaction: transaction.replays.requeue(replay_id, clock())
        ):
            raise Conflict(f"The replay {replay_id} is done.")
        self._submit(replay_id, rule_set)
        return self.status(replay_id)

    def result(self, replay_id: str) -> Replayed:
        """Read the results of a replay so far. Raises ``NotFound``."""
        return self._store.read(lambda transaction: result_of(transaction, replay_id))

    def close(self) -> None:
        """Stop the replays of this process; they can be resumed later."""
        for replay_id in tuple(self._ours):
            self._stop(replay_id)
        self._thread.shutdown()

    def _submit(self, replay_id: str, rule_set: RuleSet) -> None:
        self._ours.add(replay_id)
        self._thread.submit(self._run, replay_id, rule_set)

    def _run(self, replay_id: str, rule_set: RuleSet) -> None:
        try:
            self._runner.run(replay_id, rule_set)
        except BaseException:  # the edge of the thread: the replay itself says what went wrong
            _log.exception("the replay %s by %s failed", replay_id, rule_set.digest)
        finally:
            self._ours.discard(replay_id)

    def _stop(self, replay_id: str) -> None:
        self._store.write(
            lambda transaction: transaction.replays.stop(replay_id, self._runner.clock())
        )


def known_replay(transaction: Transaction, replay_id: str) -> StoredReplay:
    """Find a replay by id. Raises ``NotFound``."""
    replay = transaction.replays.get(replay_id)
    if replay is None:
        raise NotFound(f"There is no replay {replay_id!r}; when a person is erased, all are.")
    return replay


def result_of(transaction: Transaction, replay_id: str) -> Replayed:
    """Read the results of a replay so far. Raises ``NotFound``."""
    known_replay(transaction, replay_id)
    results = transaction.replays.results(replay_id)
    return Replayed.sum(from_json_text(Replayed, result) for result in results)


def _about(
    replay_id: str, rule_set: RuleSet, first: date | None, last: date | None
) -> dict[str, str]:
    """Describe a replay for its act."""
    ends = {"from": _text(first), "to": _text(last)}
    named = {"rule_set": rule_set.full_name, "digest": rule_set.digest, "replay_id": replay_id}
    return named | {end: day for end, day in ends.items() if day}


def _next_date(replay: StoredReplay) -> date | None:
    return replay.done_through + timedelta(days=1) if replay.done_through else replay.first


def _text(day: date | None) -> str | None:
    return day.isoformat() if day else None


def _outcome_of(error: BaseException) -> tuple[ReplayState, str | None]:
    if isinstance(error, KeyboardInterrupt):
        return ReplayState.STOPPED, None
    if isinstance(error, DawnruleError):
        return ReplayState.FAILED, error.detail
    return ReplayState.FAILED, "An unexpected error ended it; the service's log says more."
