"""A pool of read-only connections, each job on one snapshot of the database."""

from __future__ import annotations

import sqlite3
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import TypeVar

from dawnrule.errors import StoreUnusable
from dawnrule.store.connection import failures_named
from dawnrule.store.transaction import Transaction

T = TypeVar("T")


class Readers:
    """Read-only connections, as many as were ever needed at once, one job on each at a time."""

    def __init__(self, connect: Callable[[], sqlite3.Connection]) -> None:
        self._connect = connect
        self._lock = threading.Lock()
        self._idle: list[sqlite3.Connection] = []
        self._open = True

    def read(self, job: Callable[[Transaction], T]) -> T:
        """Run a job on the snapshot of its first read, and return its result."""
        with failures_named(), self._borrowed() as connection:
            connection.execute("BEGIN")
            try:
                return job(Transaction.over(connection))
            finally:
                connection.rollback()

    def ask(self, job: Callable[[Transaction], T]) -> T:
        """Run a job of a single query, which sees one snapshot without a transaction."""
        with failures_named(), self._borrowed() as connection:
            return job(Transaction.over(connection))

    def close(self) -> None:
        """Accept no more jobs; borrowed connections are closed when they are returned."""
        with self._lock:
            self._open = False
            while self._idle:
                self._idle.pop().close()

    @contextmanager
    def _borrowed(self) -> Iterator[sqlite3.Connection]:
        connection = self._borrow()
        try:
            yield connection
        finally:
            self._give_back(connection)

    def _borrow(self) -> sqlite3.Connection:
        with self._lock:
            if not self._open:
                raise StoreUnusable("The store is closed.")
            if self._idle:
                return self._idle.pop()
        return self._connect()

    def _give_back(self, connection: sqlite3.Connection) -> None:
        with self._lock:
            if self._open:
                self._idle.append(connection)
                return
        connection.close()
