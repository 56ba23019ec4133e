"""Connections: their settings, and names for SQLite's errors."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from dawnrule.errors import StoreBusy, StoreUnusable

_PRIMARY_CODE = 0xFF  # an extended result code keeps its primary code in the lowest byte
_BUSY = frozenset({sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED, sqlite3.SQLITE_PROTOCOL})
_BROKEN = frozenset(
    {
        sqlite3.SQLITE_CANTOPEN,
        sqlite3.SQLITE_CORRUPT,
        sqlite3.SQLITE_FULL,
        sqlite3.SQLITE_IOERR,
        sqlite3.SQLITE_NOTADB,
        sqlite3.SQLITE_PERM,
        sqlite3.SQLITE_READONLY,
    }
)

_NOT_TO_BE_WRITTEN = frozenset({sqlite3.SQLITE_CANTOPEN, sqlite3.SQLITE_READONLY})


def store_failure(error: BaseException) -> StoreBusy | StoreUnusable | None:
    """Translate an error that concerns the whole database; None if it concerns one job."""
    code = getattr(error, "sqlite_errorcode", sqlite3.SQLITE_OK) & _PRIMARY_CODE
    if code in _BUSY:
        return StoreBusy("The database did not answer in time; nothing was stored.")
    if code in _BROKEN:
        return StoreUnusable(f"The database cannot be used; nothing was stored: {error}")
    return None


@contextmanager
def failures_named() -> Iterator[None]:
    """Raise ``StoreBusy`` or ``StoreUnusable`` in place of the SQLite errors that mean it."""
    try:
        yield
    except UnicodeDecodeError:  # of SQLite's own words, which repeat what is damaged
        raise StoreUnusable("The database is damaged: it cannot be read.") from None
    except sqlite3.Error as error:
        failure = store_failure(error)
        if failure is None:
            raise
        raise failure from error


_PRAGMAS = (
    "PRAGMA foreign_keys = ON",
    "PRAGMA recursive_triggers = ON",  # or INSERT OR REPLACE deletes past the triggers
    "PRAGMA secure_delete = ON",  # a person who was erased leaves no bytes in free pages
    "PRAGMA synchronous = FULL",  # what was acknowledged survives a loss of power too
)


def connect(file: Path, busy_timeout_seconds: float) -> sqlite3.Connection:
    """A connection that any one thread at a time may use; a lock is waited for that long.

    Python's implicit BEGIN stays on: were SQLite to drop a transaction on a disk error, what a
    job writes after it would still be in a transaction, and never be committed.
    """
    connection = sqlite3.connect(file, timeout=busy_timeout_seconds, check_same_thread=False)
    connection.text_factory = _text
    for pragma in _PRAGMAS:
        connection.execute(pragma)
    return connection


def connect_to_read(file: Path, busy_timeout_seconds: float) -> sqlite3.Connection:
    """Open a connection that refuses every write."""
    connection = connect(file, busy_timeout_seconds)
    connection.execute("PRAGMA query_only = ON")
    return connection


def connect_without_writing(file: Path, busy_timeout_seconds: float) -> sqlite3.Connection:
    """Open a connection that leaves every byte of the file as it is, also where nothing can be
    written. SQLite reads a write-ahead log only with an index beside it, so where that cannot be
    made the file is read alone, unless there is such a log."""
    try:
        return _opened_to_read(file, "mode=ro", busy_timeout_seconds)
    except sqlite3.OperationalError as error:
        log = file.with_name(f"{file.name}-wal")
        has_log = log.exists() and log.stat().st_size > 0
        if has_log or error.sqlite_errorcode & _PRIMARY_CODE not in _NOT_TO_BE_WRITTEN:
            raise
        return _opened_to_read(file, "immutable=1", busy_timeout_seconds)


def _opened_to_read(file: Path, how: str, busy_timeout_seconds: float) -> sqlite3.Connection:
    place = f"{file.absolute().as_uri()}?{how}"
    connection = sqlite3.connect(
        place, timeout=busy_timeout_seconds, check_same_thread=False, uri=True
    )
    connection.text_factory = _text
    try:
        connection.execute("SELECT 1 FROM sqlite_master").fetchone()
    except BaseException:
        connection.close()
        raise
    return connection


def _text(stored: bytes) -> str:
    """Decode text. Unlike sqlite3, the error repeats nothing of damaged text, which may be what
    somebody reported."""
    try:
        return stored.decode()
    except UnicodeDecodeError:
        raise StoreUnusable("The database is damaged: a text in it cannot be read.") from None
