"""A new database: all tables of this version at once, from ``new_database.sql``.

The file has what the migrations make of an empty database one after the other.
``python -m tests.databases.newest`` writes it, and ``tests/store/test_new_database.py`` compares.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from pathlib import Path

SCRIPT = Path(__file__).with_suffix(".sql")


def create_tables(connection: sqlite3.Connection) -> None:
    """Create all tables, indexes and triggers in the transaction that the connection is in."""
    for statement in _statements(SCRIPT.read_text(encoding="utf-8")):
        connection.execute(statement)


def script_of(connection: sqlite3.Connection) -> str:
    """Write the statements that make a schema, in the order in which it was made; without the
    tables that SQLite makes itself."""
    found = connection.execute(
        r"""
        SELECT sql FROM sqlite_master
        WHERE sql IS NOT NULL AND name NOT LIKE 'sqlite\_%' ESCAPE '\' ORDER BY rowid
        """
    )
    return "".join(f"{statement};\n" for (statement,) in found)


def _statements(script: str) -> Iterator[str]:
    """Yield the statements of a script. A semicolon within a trigger ends none."""
    statement = ""
    for line in script.splitlines(keepends=True):
        statement += line
        if sqlite3.complete_statement(statement):
            yield statement
            statement = ""
