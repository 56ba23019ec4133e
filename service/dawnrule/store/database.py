"""How is the database reached? Through one door."""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Callable
from contextlib import closing, suppress
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from types import TracebackType
from typing import Self, TypeVar

from dawnrule.errors import StoreBusy, StoreUnusable
from dawnrule.store.connection import connect, connect_to_read, failures_named
from dawnrule.store.migrations import migrate
from dawnrule.store.reader_pool import Readers
from dawnrule.store.transaction import Transaction
from dawnrule.store.writer import Writer

T = TypeVar("T")

_BUSY_TIMEOUT_SECONDS = 5.0
_OWNER_ONLY = 0o600
_FOR_OTHERS = 0o077


@dataclass(frozen=True, slots=True)
class _Place:
    """Where a database lies, and which file it was that was opened there."""

    file: Path
    identity: tuple[int, int]

    @classmethod
    def of(cls, file: Path) -> Self:
        """The place of a file that is there."""
        return cls(file, _identity(file.stat()))

    def check(self) -> None:
        """Raises ``StoreUnusable`` when another file lies there, or none: what was written to the
        one that was opened would be lost."""
        with suppress(OSError):
            if _identity(self.file.stat()) == self.identity:
                return
        raise StoreUnusable(
            "The database file was moved, deleted or replaced; nothing was stored. Put it back, "
            "or start the service anew."
        )


def _identity(status: os.stat_result) -> tuple[int, int]:
    return status.st_dev, status.st_ino


class Store:
    """The database of one service, safe to use from any thread; use ``Store.open``.

    ``file`` is the absolute path of the database. Whatever is asked for when the file that was
    opened does not lie there any more is refused with ``StoreUnusable``.
    """

    def __init__(
        self,
        place: _Place,
        writer: Writer,
        readers: Readers,
        connect: Callable[[], sqlite3.Connection],
    ) -> None:
        self.file = place.file
        self._place = place
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
        """Open a database and bring it up to date; it is readable by its owner only from then on.

        StoreUnusable says why a file cannot be used: it is not there, newer, or not ours.
        """
        file = Path(path).absolute()
        _make_sure_of(file, must_exist)
        with failures_named():
            connection = _connect_up_to_date(file, busy_timeout_seconds)
        readers = Readers(partial(connect_to_read, file, busy_timeout_seconds))
        again = partial(connect, file, busy_timeout_seconds)
        return cls(_Place.of(file), Writer(connection), readers, again)

    def write(self, job: Callable[[Transaction], T]) -> T:
        """Do a job in a transaction; it is committed when this returns, undone when it raises.

        The job runs in the writer's thread, with everyone else's waiting: it must be quick, and
        may be one of several in the transaction. StoreBusy and StoreUnusable: nothing is stored.
        """
        self._place.check()
        return self._writer.write(job)

    def rehearse(self, job: Callable[[Transaction], object], within_seconds: float) -> None:
        """Do a job in a transaction and undo it: it raises what keeps the job from being done.

        StoreBusy also when that takes longer than ``within_seconds``.
        """
        self._place.check()
        self._writer.rehearse(job, within_seconds)

    @property
    def writes_waiting(self) -> int:
        """How many writes wait for their turn."""
        return self._writer.waiting

    def read(self, job: Callable[[Transaction], T]) -> T:
        """Do a job that only reads, all of it from one state of the database."""
        self._place.check()
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
            self._place.check()
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
    _shut_others_out(file)


def _shut_others_out(file: Path) -> None:
    """Who copies a database may leave it open to all who share the machine. Files of another owner
    stay as they are: that is not ours to say."""
    for own in (file, *(file.with_name(file.name + ending) for ending in ("-wal", "-shm"))):
        with suppress(FileNotFoundError, PermissionError):
            if own.stat().st_mode & _FOR_OTHERS:
                own.chmod(_OWNER_ONLY)


def _connect_up_to_date(file: Path, busy_timeout_seconds: float) -> sqlite3.Connection:
    connection = connect(file, busy_timeout_seconds)
    try:
        migrate(connection, busy_timeout_seconds)
    except BaseException:
        connection.close()
        raise
    return connection
