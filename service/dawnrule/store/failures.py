"""Which of SQLite's errors say that the database is busy or broken, and what are they called here?

All others (a constraint that does not hold, a slip in the SQL) are about one job and stay as
they are.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager

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


def store_failure(error: BaseException) -> StoreBusy | StoreUnusable | None:
    """The failure of the whole database that an error tells of; None if it is about one job."""
    code = getattr(error, "sqlite_errorcode", sqlite3.SQLITE_OK) & _PRIMARY_CODE
    if code in _BUSY:
        return StoreBusy("The database did not answer in time; nothing was stored.")
    if code in _BROKEN:
        return StoreUnusable(f"The database cannot be used; nothing was stored: {error}")
    return None


@contextmanager
def failures_named() -> Iterator[None]:
    """Raise StoreBusy or StoreUnusable in place of the errors of SQLite that mean it."""
    try:
        yield
    except UnicodeDecodeError:  # of SQLite's own words, which repeat what is damaged
        raise StoreUnusable("The database is damaged: it cannot be read.") from None
    except sqlite3.Error as error:
        failure = store_failure(error)
        if failure is None:
            raise
        raise failure from error
