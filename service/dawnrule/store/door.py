"""How is the database reached? Through one door."""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Callable
from contextlib import closing
from functools import partial
from pathlib import Path
from types import TracebackType
from typing import Self, TypeVar

from dawnrule.errors import StoreBusy, StoreUnusable
from dawnrule.store.books import Books
from dawnrule.store.connections import connect, connect_to_read
from dawnrule.store.failures import failures_named
from dawnrule.store.migrations import migrate
from dawnrule.store.readers import Readers
from dawnrule.store.writer import Writer

T = TypeVar("T")

_BUSY_TIMEOUT_SECONDS = 5.0
_OWNER_ONLY = 0o600


class Store:
    """The database of one service, safe to use from any thread; use ``Store.open``.

    ``file`` is the absolute path of the database.
    """

    def __init__(
        self,
        file: Path,
        writer: Writer,
        readers: Readers,
        connect: Callable[[], sqlite3.Connection],
    ) -> None:
        self.file = file
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
        """Open a database and bring it up to date; a new one is readable by its owner only.

        StoreUnusable says why a file cannot be used: it is not there, newer, or not ours.
        """
        file = Path(path).absolute()
        _make_sure_of(file, must_exist)
        with failures_named():
            connection = _connect_up_to_date(file, busy_timeout_seconds)
        readers = Readers(partial(connect_to_read, file, busy_timeout_seconds))
        return cls(file, Writer(connection), readers, partial(connect, file, busy_timeout_seconds))

    def write(self, job: Callable[[Books], T]) -> T:
        """Do a job in a transaction; it is committed when this returns, undone when it raises.

        The job runs in the writer's thread, with everyone else's waiting: it must be quick, and
        may be one of several in the transaction. StoreBusy and StoreUnusable: nothing is stored.
        """
        return self._writer.write(job)

    def rehearse(self, job: Callable[[Books], object], within_seconds: float) -> None:
        """Do a job in a transaction and undo it: it raises what keeps the job from being done.

        StoreBusy also when that takes longer than ``within_seconds``.
        """
        self._writer.rehearse(job, within_seconds)

    @property
    def writes_waiting(self) -> int:
        """How many writes wait for their turn."""
        return self._writer.waiting

    def read(self, job: Callable[[Books], T]) -> T:
        """Do a job that only reads, all of it from one state of the database."""
        return self._readers.read(job)

    def wipe(self) -> bool:
        """Let no byte of what was deleted stay in the files; True if none does.

        Deleted rows are overwritten with zeros. But SQLite leaves copies behind when it moves rows
        between pages, and the write-ahead log has pages of before: so the file is written anew,
        and the log emptied. Others wait to write meanwhile. This waits, as long as for a lock, for
        those who write and those who look at an older state; False if they do not come to an end,
        or there is no room for a second file.
        """
        try:
            with failures_named(), closing(self._connect()) as connection:
                connection.execute("VACUUM")
                [(is_blocked, *_)] = connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        except (StoreBusy, StoreUnusable):
            return False
        return not is_blocked

    def close(self) -> None:
        """Finish the writes that are waiting, and let go of the file. May be called again."""
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


def _make_sure_of(file: Path, must_exist: bool) -> None:
    if must_exist and not file.exists():
        raise StoreUnusable(f"There is no database at {file}.")
    try:
        os.close(os.open(file, os.O_CREAT | os.O_RDWR, _OWNER_ONLY))
    except OSError as error:
        raise StoreUnusable(f"{file} cannot be opened: {error.strerror}.") from error


def _connect_up_to_date(file: Path, busy_timeout_seconds: float) -> sqlite3.Connection:
    connection = connect(file, busy_timeout_seconds)
    try:
        migrate(connection, busy_timeout_seconds)
    except BaseException:
        connection.close()
        raise
    return connection
