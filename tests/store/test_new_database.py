"""A new database is made at once; it must be what the migrations would have made of it."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from typing import Any

from dawnrule.store.migrations import apply, migrate

_PARTS = "SELECT type, name, tbl_name, sql FROM sqlite_master ORDER BY rowid"
_APPLIED = "SELECT id, migration_set, name FROM _sqlite_migrations ORDER BY id"


def test_a_new_database_is_what_all_migrations_make() -> None:
    """If not, ``python -m tests.databases.newest`` writes the script anew."""
    with closing(sqlite3.connect(":memory:")) as made, closing(sqlite3.connect(":memory:")) as new:
        apply(made)
        migrate(new, 0)
        for query in (_PARTS, _APPLIED, "PRAGMA user_version"):
            assert new.execute(query).fetchall() == made.execute(query).fetchall()
        assert _rows(new) == _rows(made)


def _rows(connection: sqlite3.Connection) -> dict[str, list[Any]]:
    """The rows that the tables begin with, but for those of the migrations."""
    tables = connection.execute(
        "SELECT name FROM sqlite_master WHERE type = 'table' AND name <> '_sqlite_migrations'"
    ).fetchall()
    return {name: connection.execute(f"SELECT * FROM {name}").fetchall() for (name,) in tables}
