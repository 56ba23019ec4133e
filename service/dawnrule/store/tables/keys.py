"""API keys, stored by their hash alone.

A plain SHA-256 is enough: a key is 32 random bytes, so it cannot be guessed, and a salt or a slow
hash would protect nothing, as they do for a password that a person chose.
"""

from __future__ import annotations

import secrets
import sqlite3
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from hashlib import sha256

from dawnrule.store.tables import sign_ins
from dawnrule.store.values import columns, structure, utc_text

FIRST_SCHEMA = (
    """
    CREATE TABLE keys (
        id TEXT NOT NULL PRIMARY KEY,
        hash TEXT NOT NULL UNIQUE,
        role TEXT NOT NULL CHECK (role IN ('coach', 'poster', 'athlete')),
        athlete_id TEXT REFERENCES athletes (id) ON DELETE CASCADE,
        label TEXT,
        created_at TEXT NOT NULL,
        revoked_at TEXT,
        CHECK (role <> 'athlete' OR athlete_id IS NOT NULL)
    ) STRICT
    """,
    "CREATE INDEX keys_of_athlete ON keys (athlete_id)",
)

REBUILT_WITH_CLINICIANS = (
    """
    CREATE TABLE keys_rebuilt (
        id TEXT NOT NULL PRIMARY KEY,
        hash TEXT NOT NULL UNIQUE,
        role TEXT NOT NULL CHECK (role IN ('coach', 'clinician', 'poster', 'athlete')),
        athlete_id TEXT REFERENCES athletes (id) ON DELETE CASCADE,
        label TEXT,
        created_at TEXT NOT NULL,
        revoked_at TEXT,
        CHECK (role <> 'athlete' OR athlete_id IS NOT NULL)
    ) STRICT
    """,
    """
    INSERT INTO keys_rebuilt (id, hash, role, athlete_id, label, created_at, revoked_at)
    SELECT id, hash, role, athlete_id, label, created_at, revoked_at FROM keys
    """,
    # Dropping keys would delete the sign-ins that refer to them, so these are put aside meanwhile.
    "CREATE TABLE sign_ins_kept AS SELECT hash, key_id, began_at, ends_at FROM sign_ins",
    "DROP TABLE sign_ins",
    "DROP TABLE keys",
    "ALTER TABLE keys_rebuilt RENAME TO keys",
    "CREATE INDEX keys_of_athlete ON keys (athlete_id)",
    *sign_ins.SCHEMA,
    """
    INSERT INTO sign_ins (hash, key_id, began_at, ends_at)
    SELECT hash, key_id, began_at, ends_at FROM sign_ins_kept
    """,
    "DROP TABLE sign_ins_kept",
)
"""SQLite cannot change a CHECK, so the table is made anew with the role of clinicians."""

_SELECT = "SELECT id, role, athlete_id, label, created_at, revoked_at FROM keys"
_RANDOM_BYTES = 32


class Role(StrEnum):
    """The role of a key; an athlete's key always names the athlete."""

    COACH = "coach"
    CLINICIAN = "clinician"
    POSTER = "poster"
    ATHLETE = "athlete"


@dataclass(frozen=True, slots=True)
class Key:
    """A key as it is stored: without the secret."""

    id: str
    role: Role
    athlete_id: str | None
    label: str | None
    created_at: datetime
    revoked_at: datetime | None = None


def new_key() -> str:
    """Make a key that nobody can guess; it is shown once and never stored."""
    return f"dawn_{secrets.token_urlsafe(_RANDOM_BYTES)}"


def hash_key(key: str) -> str:
    """Hash a key for storage, in hexadecimal."""
    return sha256(key.encode()).hexdigest()


@dataclass(frozen=True, slots=True)
class Keys:
    """All keys that were given out."""

    connection: sqlite3.Connection

    def add(self, key: Key, key_hash: str) -> None:
        """Store a key under its hash."""
        self.connection.execute(
            """
            INSERT INTO keys (id, hash, role, athlete_id, label, created_at)
            VALUES (:id, :hash, :role, :athlete_id, :label, :created_at)
            """,
            columns(key) | {"hash": key_hash},
        )

    def by_hash(self, key_hash: str) -> Key | None:
        """Find a key by its hash; None if it is unknown or revoked."""
        row = self.connection.execute(
            f"{_SELECT} WHERE hash = ? AND revoked_at IS NULL", (key_hash,)
        ).fetchone()
        return structure(Key, row) if row else None

    def in_use(self, key_id: str) -> Key | None:
        """Find a key by its id; None if it is unknown or revoked."""
        row = self.connection.execute(
            f"{_SELECT} WHERE id = ? AND revoked_at IS NULL", (key_id,)
        ).fetchone()
        return structure(Key, row) if row else None

    def all(self) -> list[Key]:
        """List every key, revoked ones too, in order of creation."""
        rows = self.connection.execute(f"{_SELECT} ORDER BY created_at, id")
        return [structure(Key, row) for row in rows]

    def revoke(self, key_id: str, at: datetime) -> bool:
        """Revoke a key; return False if it is unknown or already revoked."""
        revoked = self.connection.execute(
            "UPDATE keys SET revoked_at = ? WHERE id = ? AND revoked_at IS NULL",
            (utc_text(at), key_id),
        )
        return revoked.rowcount == 1
