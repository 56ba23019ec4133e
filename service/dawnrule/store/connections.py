"""How is a connection to the database set up?"""

from __future__ import annotations

import sqlite3
from pathlib import Path

from dawnrule.errors import StoreUnusable

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
    """A connection that refuses every write."""
    connection = connect(file, busy_timeout_seconds)
    connection.execute("PRAGMA query_only = ON")
    return connection


def _text(stored: bytes) -> str:
    """Text as it is read. Of text that is damaged nothing is repeated, as sqlite3 would do: it may
    be what somebody reported."""
    try:
        return stored.decode()
    except UnicodeDecodeError:
        raise StoreUnusable("The database is damaged: a text in it cannot be read.") from None
