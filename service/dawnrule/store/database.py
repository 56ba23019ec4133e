"""The database: open, read, write, close."""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager, suppress
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from tempfile import TemporaryDirectory
from types import TracebackType
from typing import Protocol, Self, TypeVar

from dawnrule.errors import StoreBusy, StoreUnusable
from dawnrule.store.backup import copy_database
from dawnrule.store.connection import (
    connect,
    connect_to_read,
    connect_without_writing,
    failures_named,
)
from dawnrule.store.drafts import asides_of, drafts_of
from dawnrule.store.migrations import is_up_to_date, migrate
from dawnrule.store.reader_pool import Readers
from dawnrule.store.tables.vouched_rows import note_writes
from dawnrule.store.traces import Traces
from dawnrule.store.transaction import Transaction
from dawnrule.store.writer import Writer

T = TypeVar("T")

_BUSY_TIMEOUT_SECONDS = 5.0
_OWNER_ONLY = 0o600
_FOR_OTHERS = 0o077


@dataclass(frozen=True, slots=True)
class _OpenedFile:
    """The path of a database, and the identity of the file that was opened there."""

    file: Path
    identity: tuple[int, int]

    @classmethod
    def of(cls, file: Path) -> Self:
        """Remember an existing file."""
        return cls(file, _identity(file.stat()))

    def check(self) -> None:
        """Raise ``StoreUnusable`` when another file is there now, or none: writes to the one that
        was opened would be lost."""
        with suppress(OSError):
            if _identity(self.file.stat()) == self.identity:
                return
        raise StoreUnusable(
            "The database file was moved, deleted or replaced; nothing was stored. Put it back, "
            "or start the service anew."
        )


def _identity(status: os.stat_result) -> tuple[int, int]:
    return status.st_dev, status.st_ino


class Readable(Protocol):
    """A database that is only read."""

    def read(self, job: Callable[[Transaction], T]) -> T:
        """Run a job that only reads, on one snapshot of the database."""


class Store:
    """The database of one service, safe to use from any thread; use ``Store.open``.

    ``file`` is the absolute path of the database. Every call raises ``StoreUnusable`` once the file
    that was opened is no longer there.
    """

    def __init__(
        self,
        opened: _OpenedFile,
        writer: Writer,
        readers: Readers,
        connect: Callable[[], sqlite3.Connection],
    ) -> None:
        self.file = opened.file
        self._opened = opened
        self._connect = connect
        self._writer = writer
        self._readers = readers

    @classmethod
    def open(
        cls,
        path: Path | str,
        *,
        must_exist: bool = False,
        busy_timeout_seconds: float = _BUSY_TIMEOUT_SECONDS,
    ) -> Self:
        """Open a database, bring it up to date, and make it readable by its owner only.

        Raises ``StoreUnusable`` for a file that is missing, newer, or not a Dawnrule database.
        """
        file = Path(path).absolute()
        _ensure_file(file, must_exist)
        with failures_named():
            connection = _connect_up_to_date(file, busy_timeout_seconds)
        readers = Readers(partial(connect_to_read, file, busy_timeout_seconds))
        reconnect = partial(connect, file, busy_timeout_seconds)
        return cls(_OpenedFile.of(file), Writer(connection), readers, reconnect)

    def write(self, job: Callable[[Transaction], T]) -> T:
        """Run a job in a transaction: committed when this returns, rolled back when it raises.

        The job runs in the writer's thread while all others wait, so it must be quick; it may share
        its transaction with others. On ``StoreBusy`` and ``StoreUnusable`` nothing was stored.
        """
        self._opened.check()
        return self._writer.write(job)

    def rehearse(self, job: Callable[[Transaction], object], within_seconds: float) -> None:
        """Run a job in a transaction and roll it back, to find out whether it could be done.

        Raises what the job raises, and ``StoreBusy`` after ``within_seconds``.
        """
        self._opened.check()
        self._writer.rehearse(job, within_seconds)

    @property
    def writes_waiting(self) -> int:
        """The number of writes in the queue."""
        return self._writer.waiting

    def read(self, job: Callable[[Transaction], T]) -> T:
        """Run a job that only reads, on one snapshot of the database."""
        self._opened.check()
        return self._readers.read(job)

    def ask(self, job: Callable[[Transaction], T]) -> T:
        """Run a job of a single query: each request begins with one, and is spared a
        transaction."""
        self._opened.check()
        return self._readers.ask(job)

    def wipe(self) -> bool:
        """Remove every byte of deleted rows from the files; return True if none is left.

        Deleted rows are overwritten with zeros, but SQLite leaves copies behind when it moves rows
        between pages, and the write-ahead log holds older pages: so the file is rewritten and the
        log emptied. Other writers wait meanwhile. This waits for writers, and for readers of an
        older snapshot, as long as for a lock; it returns False if they do not finish, or if the
        disk has no room for a second file. Until it returns True, ``traces`` knows that it is due.
        """
        try:
            self._opened.check()
            with failures_named(), closing(self._connect()) as connection:
                traces = Traces(connection)
                counted = traces.count()
                if not _write_anew(connection):
                    return False
                connection.execute("BEGIN IMMEDIATE")
                traces.clear(counted)
                connection.commit()
        except (StoreBusy, StoreUnusable):
            return False
        return True

    def close(self) -> None:
        """Finish queued writes and close the file. Calling it twice does no harm."""
        self._readers.close()
        self._writer.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        traceback: TracebackType | None,
    ) -> None:
        self.close()


@contextmanager
def opened_to_read(path: Path | str) -> Iterator[Readable]:
    """Open a database without changing a byte of it. One of an earlier version is carried over in a
    copy, which is gone afterwards.

    Raises ``StoreUnusable`` for a file that is missing, newer, or not a Dawnrule database.
    """
    file = Path(path).absolute()
    if not file.exists():
        raise StoreUnusable(f"There is no database at {file}.")
    reconnect = partial(connect_without_writing, file, _BUSY_TIMEOUT_SECONDS)
    with failures_named(), closing(reconnect()) as connection:
        is_current = is_up_to_date(connection)
    if is_current:
        with closing(Readers(reconnect)) as readers:
            yield readers
        return
    with TemporaryDirectory() as folder:
        copy = Path(folder) / file.name
        copy_database(file, copy)
        with Store.open(copy) as store:
            yield store


def _ensure_file(file: Path, must_exist: bool) -> None:
    _refuse_lost(file)
    if must_exist and not file.exists():
        raise StoreUnusable(f"There is no database at {file}.")
    try:
        os.close(os.open(file, os.O_CREAT | os.O_RDWR, _OWNER_ONLY))
    except OSError as error:
        raise StoreUnusable(f"{file} cannot be opened: {error.strerror}.") from error
    _restrict_to_owner(file)


def _refuse_lost(file: Path) -> None:
    """Raise ``StoreUnusable`` rather than make an empty database where there was one, as what a
    restore left beside it shows: nobody would notice before their keys are refused."""
    if file.exists():
        return
    left = [*asides_of(file), *drafts_of(file)]
    if left:
        raise StoreUnusable(
            f"There is no database at {file}, but {left[-1].name} is beside it, from a restore. "
            "Restore again, or move that away to begin with an empty database."
        )


def _restrict_to_owner(file: Path) -> None:
    """Remove the permissions of others: a copied database may have been left readable by everyone
    on the machine. Files of another owner are left alone."""
    for part in (file, *(file.with_name(file.name + ending) for ending in ("-wal", "-shm"))):
        with suppress(FileNotFoundError, PermissionError):
            if part.stat().st_mode & _FOR_OTHERS:
                part.chmod(_OWNER_ONLY)


def _write_anew(connection: sqlite3.Connection) -> bool:
    """Rewrite the file and empty the log; return False if somebody still reads the log."""
    connection.execute("VACUUM")
    [(is_blocked, *_)] = connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    return not is_blocked


def _connect_up_to_date(file: Path, busy_timeout_seconds: float) -> sqlite3.Connection:
    connection = connect(file, busy_timeout_seconds)
    try:
        migrate(connection, busy_timeout_seconds)
        note_writes(connection)
    except BaseException:
        connection.close()
        raise
    return connection
