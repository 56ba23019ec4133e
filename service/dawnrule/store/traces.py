"""Traces: whether bytes of deleted rows may still be in the files of the database.

A number in the header of the database (``PRAGMA user_version``) counts the deletions of personal
data since the files were last written anew. It changes in the transaction that deletes, so a
process that is killed right after that transaction leaves the number for the next one to find.
"""

from __future__ import annotations

import sqlite3
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Traces:
    """The deletions whose bytes may be left."""

    connection: sqlite3.Connection

    def note(self) -> None:
        """Note a deletion, in its transaction."""
        self._set(self.count() + 1)

    def count(self) -> int:
        """Count the deletions that were noted; 0 when nothing is left."""
        [count] = self.connection.execute("PRAGMA user_version").fetchone()
        return int(count)

    def clear(self, counted: int) -> None:
        """Forget the deletions that were counted before the files were written anew. Where others
        came in meanwhile, all stay."""
        if self.count() == counted:
            self._set(0)

    def _set(self, count: int) -> None:
        self.connection.execute(f"PRAGMA user_version = {count:d}")
