"""The schema as it must be: tables, indexes and triggers of this version."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from dataclasses import dataclass
from functools import cache

from dawnrule.store.migrations import migrate


@dataclass(frozen=True, slots=True)
class Schema:
    """The schema of a database."""

    connection: sqlite3.Connection

    def differences(self) -> list[str]:
        """List what is not as this version makes it, such as ``trigger keys_stay``."""
        found, expected = dict(_parts(self.connection)), dict(_expected())
        names = sorted(found.keys() | expected.keys())
        return [f"{kind} {name}" for kind, name in names if _differ(found, expected, (kind, name))]


_Part = tuple[str, str]


def _differ(found: dict[_Part, str], expected: dict[_Part, str], part: _Part) -> bool:
    return found.get(part) != expected.get(part)


@cache
def _expected() -> tuple[tuple[_Part, str], ...]:
    with closing(sqlite3.connect(":memory:")) as connection:
        migrate(connection, 0)
        return _parts(connection)


def _parts(connection: sqlite3.Connection) -> tuple[tuple[_Part, str], ...]:
    """Read kind, name and SQL of each part, SQLite's own and those of the migrations left out."""
    rows = connection.execute(
        r"""
        SELECT type, name, sql FROM main.sqlite_master
        WHERE sql IS NOT NULL AND name NOT LIKE 'sqlite\_%' ESCAPE '\'
          AND tbl_name NOT LIKE '\_sqlite\_%' ESCAPE '\'
        """
    )
    return tuple(((kind, name), " ".join(sql.split())) for kind, name, sql in rows)
