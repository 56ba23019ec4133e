"""Sign-ins to the coach's pages, stored by the hash of the cookie's token.

They are stored, and not in the cookie alone, so that they can be ended for every copy of the
cookie and in every process. A stolen database, or back-up, holds the secret that signs cookies
too, but no cookie can be made from a hash.
"""

from __future__ import annotations

import sqlite3
from dataclasses import dataclass
from datetime import datetime

from dawnrule.store.values import utc_text

SCHEMA = (
    """
    CREATE TABLE sign_ins (
        hash TEXT NOT NULL PRIMARY KEY,
        key_id TEXT NOT NULL REFERENCES keys (id) ON DELETE CASCADE,
        began_at TEXT NOT NULL,
        ends_at TEXT NOT NULL
    ) STRICT, WITHOUT ROWID
    """,
    "CREATE INDEX sign_ins_with_key ON sign_ins (key_id)",
    "CREATE INDEX sign_ins_by_end ON sign_ins (ends_at)",
)


@dataclass(frozen=True, slots=True)
class SignIns:
    """Current sign-ins."""

    connection: sqlite3.Connection

    def begin(self, sign_in_hash: str, key_id: str, began_at: datetime, ends_at: datetime) -> None:
        """Store a sign-in with a key, and delete all that have ended."""
        self.connection.execute("DELETE FROM sign_ins WHERE ends_at <= ?", (utc_text(began_at),))
        self.connection.execute(
            "INSERT INTO sign_ins (hash, key_id, began_at, ends_at) VALUES (?, ?, ?, ?)",
            (sign_in_hash, key_id, utc_text(began_at), utc_text(ends_at)),
        )

    def end(self, sign_in_hash: str) -> None:
        """Delete a sign-in, if it is known."""
        self.connection.execute("DELETE FROM sign_ins WHERE hash = ?", (sign_in_hash,))

    def key_id(self, sign_in_hash: str, at: datetime) -> str | None:
        """Find the key of a sign-in that is valid at a time; None if it is not."""
        row = self.connection.execute(
            "SELECT key_id FROM sign_ins WHERE hash = :hash AND began_at <= :at AND ends_at > :at",
            {"hash": sign_in_hash, "at": utc_text(at)},
        ).fetchone()
        return str(row[0]) if row else None
