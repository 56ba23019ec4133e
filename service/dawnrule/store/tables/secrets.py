"""Secrets of the service itself: random values that outlive a restart."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime

from dawnrule.store.values import utc_text

SCHEMA = (
    """
    CREATE TABLE service_secrets (
        name TEXT NOT NULL PRIMARY KEY,
        value BLOB NOT NULL,
        created_at TEXT NOT NULL
    ) STRICT, WITHOUT ROWID
    """,
)


@dataclass(frozen=True, slots=True)
class Secrets:
    """The service's own secrets, by name."""

    connection: sqlite3.Connection

    def get(self, name: str) -> bytes | None:
        """Read a secret by name; None if it was never made."""
        row = self.connection.execute(
            "SELECT value FROM service_secrets WHERE name = ?", (name,)
        ).fetchone()
        return row[0] if row else None

    def get_or_make(self, name: str, new: Callable[[], bytes], at: datetime) -> bytes:
        """Read a secret by name, or make it if there is none; for a job that may write."""
        known = self.get(name)
        if known is not None:
            return known
        made = new()
        self.put(name, made, at)
        return made

    def put(self, name: str, value: bytes, at: datetime) -> None:
        """Keep a secret, in place of any before of that name."""
        self.connection.execute(
            "INSERT OR REPLACE INTO service_secrets (name, value, created_at) VALUES (?, ?, ?)",
            (name, value, utc_text(at)),
        )
