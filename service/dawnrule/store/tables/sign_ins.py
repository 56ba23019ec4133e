"""Who is signed in to the coach's pages, and until when? Known by the hash of what a cookie holds.

It stands here, and not in the cookie alone, so that it can be ended: for every copy of the cookie
and in every process. Whoever has the database, or a back-up of it, has the secret that signs
cookies too; a cookie cannot be made of a hash all the same.
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
    """The sign-ins that go on."""

    connection: sqlite3.Connection

    def begin(self, sign_in_hash: str, key_id: str, began_at: datetime, ends_at: datetime) -> None:
        """Remember a sign-in with a key, and forget all that are over by then."""
        self.connection.execute("DELETE FROM sign_ins WHERE ends_at <= ?", (utc_text(began_at),))
        self.connection.execute(
            "INSERT INTO sign_ins (hash, key_id, began_at, ends_at) VALUES (?, ?, ?, ?)",
            (sign_in_hash, key_id, utc_text(began_at), utc_text(ends_at)),
        )

    def end(self, sign_in_hash: str) -> None:
        """Forget a sign-in, if it is known."""
        self.connection.execute("DELETE FROM sign_ins WHERE hash = ?", (sign_in_hash,))

    def key_id(self, sign_in_hash: str, at: datetime) -> str | None:
        """The id of the key of a sign-in that goes on at a time; None if it does not."""
        row = self.connection.execute(
            "SELECT key_id FROM sign_ins WHERE hash = :hash AND began_at <= :at AND ends_at > :at",
            {"hash": sign_in_hash, "at": utc_text(at)},
        ).fetchone()
        return str(row[0]) if row else None
