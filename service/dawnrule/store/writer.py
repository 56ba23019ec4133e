"""The single writer: one thread that commits for all callers, in groups.

SQLite allows one writer. Jobs that arrive during a commit share the next one, so that they share
the wait for the disk. Each job has a savepoint of its own and is answered only after the commit.
A group ends after a while, so that those in front are answered while those behind are written.
"""

from __future__ import annotations

import sqlite3
import threading
from collections.abc import Callable
from concurrent.futures import Future
from time import monotonic
from typing import Any, TypeVar

from dawnrule.errors import StoreBusy, StoreUnusable
from dawnrule.store.connection import store_failure
from dawnrule.store.transaction import Transaction

T = TypeVar("T")

_GROUP_SECONDS = 0.02
"""The time after which a group takes no further job; many times that of a commit."""

_MOST_WAITING = 1000  # jobs; a longer queue would only make everyone wait in vain


class Writer:
    """The owner of the connection that writes."""

    def __init__(self, connection: sqlite3.Connection) -> None:
        self._connection = connection
        self._transaction = Transaction.over(connection)
        self._changed = threading.Condition()
        self._waiting: list[_Request] = []
        self._open = True
        self._thread = threading.Thread(target=self._run, name="dawnrule-writer", daemon=True)
        self._thread.start()

    @property
    def waiting(self) -> int:
        """The number of queued jobs."""
        return len(self._waiting)

    def write(self, job: Callable[[Transaction], T]) -> T:
        """Run a job and return its result once its writes are committed; if it raises, nothing is
        written.

        Raises ``StoreBusy`` for a lock or a full queue, ``StoreUnusable`` for an unusable file.
        """
        result: T = self._enqueue(job).result()
        return result

    def rehearse(self, job: Callable[[Transaction], object], within_seconds: float) -> None:
        """Run a job and roll it back. Raises as ``write`` does, and ``StoreBusy`` on a timeout."""

        def run_and_undo(transaction: Transaction) -> None:
            job(transaction)
            raise _Undone

        try:
            self._enqueue(run_and_undo).result(within_seconds)
        except _Undone:
            return
        except TimeoutError as error:
            raise StoreBusy(f"Nothing could be written in {within_seconds} seconds.") from error

    def _enqueue(self, job: Callable[[Transaction], Any]) -> Future[Any]:
        if threading.current_thread() is self._thread:
            raise RuntimeError("a job must not wait for another write: it would be for ever")
        request = _Request(job)
        with self._changed:
            if not self._open:
                raise StoreUnusable("The store is closed; nothing was stored.")
            if len(self._waiting) >= _MOST_WAITING:
                raise StoreBusy("Too many are waiting to write; nothing was stored.")
            self._waiting.append(request)
            self._changed.notify()
        return request.answer

    def close(self) -> None:
        """Finish queued jobs, accept no more, and close the connection."""
        with self._changed:
            self._open = False
            self._changed.notify()
        self._thread.join()
        self._connection.close()

    def _run(self) -> None:
        try:
            while self._wait_for_work():
                self._commit_group()
        finally:  # whatever ended the thread, nobody is left waiting for it
            with self._changed:
                self._open = False
            for request in self._take_waiting():
                request.fail(StoreUnusable("The writer has stopped; nothing was stored."))

    def _wait_for_work(self) -> bool:
        with self._changed:
            self._changed.wait_for(lambda: self._waiting or not self._open)
            return bool(self._waiting)

    def _take_waiting(self) -> list[_Request]:
        with self._changed:
            taken, self._waiting = self._waiting, []
        return taken

    def _put_back(self, requests: list[_Request]) -> None:
        with self._changed:
            self._waiting[:0] = requests

    def _commit_group(self) -> None:
        """Run the queued jobs in one transaction, as many as there is time for; the others stay in
        front of the queue.

        The group is taken once the lock is held: if the lock cannot be had, every job queued by
        then fails.
        """
        group: list[_Request] = []
        try:
            self._connection.execute("BEGIN IMMEDIATE")
            group = self._take_waiting()
            enough_at = monotonic() + _GROUP_SECONDS
            for place, request in enumerate(group, start=1):
                request.run(self._connection, self._transaction)
                if monotonic() > enough_at:
                    self._put_back(group[place:])
                    del group[place:]
            self._connection.execute("COMMIT")
        except BaseException as error:  # of any kind: this thread is all that can tell them
            for request in group or self._take_waiting():
                request.fail(error)
            self._connection.rollback()
        else:
            for request in group:
                request.succeed()


class _Undone(Exception):
    """Raised to roll back what a rehearsal wrote."""


class _Request:
    """A job and the future that its caller waits for."""

    def __init__(self, job: Callable[[Transaction], Any]) -> None:
        self._job = job
        self._result: Any = None
        self._error: BaseException | None = None
        self.answer: Future[Any] = Future()

    def run(self, connection: sqlite3.Connection, transaction: Transaction) -> None:
        """Run the job in a savepoint; raise only what ends the whole transaction."""
        connection.execute("SAVEPOINT job")
        try:
            self._result = self._job(transaction)
            transaction.vouched_rows.enter()
        except BaseException as error:  # of any kind: it is the caller's to handle
            if store_failure(error):
                raise
            connection.execute("ROLLBACK TO job")
            self._error = error
        connection.execute("RELEASE job")

    def succeed(self) -> None:
        """Pass on what the job returned or raised."""
        if self._error is None:
            self.answer.set_result(self._result)
        else:
            self.answer.set_exception(self._error)

    def fail(self, error: BaseException) -> None:
        """Tell the caller that the transaction failed."""
        failure = store_failure(error) or StoreUnusable(f"Nothing was stored: {error}")
        failure.__cause__ = error
        self.answer.set_exception(failure)
