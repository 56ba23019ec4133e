"""How do many write at once, when SQLite has one writer?

One thread commits for all, in groups: what was asked for while a commit was under way is done
in the next one, so that a wait for the disk is shared. Each job has a savepoint of its own and
is answered only after the commit.
"""

from __future__ import annotations

import sqlite3
import threading
from collections.abc import Callable
from concurrent.futures import Future
from typing import Any, TypeVar

from dawnrule.errors import StoreBusy, StoreUnusable
from dawnrule.store.connection import store_failure
from dawnrule.store.transaction import Transaction

T = TypeVar("T")

_MOST_WAITING = 1000  # jobs; a longer queue would only make everyone wait in vain


class Writer:
    """Owns the connection that writes."""

    def __init__(self, connection: sqlite3.Connection) -> None:
        self._connection = connection
        self._changed = threading.Condition()
        self._waiting: list[_Request] = []
        self._open = True
        self._thread = threading.Thread(target=self._run, name="dawnrule-writer", daemon=True)
        self._thread.start()

    @property
    def waiting(self) -> int:
        """How many jobs wait for their turn."""
        return len(self._waiting)

    def write(self, job: Callable[[Transaction], T]) -> T:
        """The job's result, once what it wrote is committed; its error, with nothing written.

        StoreBusy when a lock or the queue is in the way, StoreUnusable when the file is.
        """
        result: T = self._asked(job).result()
        return result

    def rehearse(self, job: Callable[[Transaction], object], within_seconds: float) -> None:
        """Do a job and undo it. Raises as ``write`` does, and StoreBusy when it takes longer."""

        def done_and_undone(transaction: Transaction) -> None:
            job(transaction)
            raise _Undone

        try:
            self._asked(done_and_undone).result(within_seconds)
        except _Undone:
            return
        except TimeoutError as error:
            raise StoreBusy(f"Nothing could be written in {within_seconds} seconds.") from error

    def _asked(self, job: Callable[[Transaction], Any]) -> Future[Any]:
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
        """Do what is waiting, take no more, and close the connection."""
        with self._changed:
            self._open = False
            self._changed.notify()
        self._thread.join()
        self._connection.close()

    def _run(self) -> None:
        try:
            while self._work_comes():
                self._commit_group()
        finally:  # whatever ended the thread, nobody is left waiting for it
            with self._changed:
                self._open = False
            for request in self._take_waiting():
                request.fail(StoreUnusable("The writer has stopped; nothing was stored."))

    def _work_comes(self) -> bool:
        with self._changed:
            self._changed.wait_for(lambda: self._waiting or not self._open)
            return bool(self._waiting)

    def _take_waiting(self) -> list[_Request]:
        with self._changed:
            taken, self._waiting = self._waiting, []
        return taken

    def _commit_group(self) -> None:
        """Do all that is waiting in one transaction.

        The group is taken once the lock is held: if it cannot be had, all who came meanwhile
        are told, and nobody waits for it a second time.
        """
        group: list[_Request] = []
        try:
            self._connection.execute("BEGIN IMMEDIATE")
            group = self._take_waiting()
            transaction = Transaction.over(self._connection)
            for request in group:
                request.run(self._connection, transaction)
            self._connection.execute("COMMIT")
        except BaseException as error:  # of any kind: this thread is all that can tell them
            for request in group or self._take_waiting():
                request.fail(error)
            self._connection.rollback()
        else:
            for request in group:
                request.succeed()


class _Undone(Exception):
    """Takes back what a rehearsal has written."""


class _Request:
    """A job, and where its caller waits for the answer."""

    def __init__(self, job: Callable[[Transaction], Any]) -> None:
        self._job = job
        self._result: Any = None
        self._error: BaseException | None = None
        self.answer: Future[Any] = Future()

    def run(self, connection: sqlite3.Connection, transaction: Transaction) -> None:
        """Do the job in a savepoint; raise only if it takes the whole transaction with it."""
        connection.execute("SAVEPOINT job")
        try:
            self._result = self._job(transaction)
        except BaseException as error:  # of any kind: it is the caller's to handle
            if store_failure(error):
                raise
            connection.execute("ROLLBACK TO job")
            self._error = error
        connection.execute("RELEASE job")

    def succeed(self) -> None:
        """Give the caller what the job returned or raised."""
        if self._error is None:
            self.answer.set_result(self._result)
        else:
            self.answer.set_exception(self._error)

    def fail(self, error: BaseException) -> None:
        """Tell the caller that the transaction came to nothing."""
        failure = store_failure(error) or StoreUnusable(f"Nothing was stored: {error}")
        failure.__cause__ = error
        self.answer.set_exception(failure)
