"""Who may ask? Keys are made here and known by their hash alone.

A plain SHA-256 is enough for that: a key is 32 random bytes, so there is nothing to guess and
nothing for a salt or a slow hash to protect, as there is with a password that a person chose.
"""

from __future__ import annotations

import secrets
import sqlite3
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from hashlib import sha256

from dawnrule.store.values import utc_text, utc_time

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

_SELECT = "SELECT id, role, athlete_id, label, created_at, revoked_at FROM keys"
_RANDOM_BYTES = 32


class Role(StrEnum):
    """What a key may do; an athlete's key always names the athlete."""

    COACH = "coach"
    POSTER = "poster"
    ATHLETE = "athlete"


@dataclass(frozen=True, slots=True)
class Key:
    """What is known of a key: not the key itself."""

    id: str
    role: Role
    athlete_id: str | None
    label: str | None
    created_at: datetime
    revoked_at: datetime | None


def new_key() -> str:
    """A key that nobody can guess; it is shown once and never stored."""
    return f"dawn_{secrets.token_urlsafe(_RANDOM_BYTES)}"


def hash_key(key: str) -> str:
    """The hash by which a key is known, in hexadecimal."""
    return sha256(key.encode()).hexdigest()


@dataclass(frozen=True, slots=True)
class Keys:
    """The keys that were given out."""

    connection: sqlite3.Connection

    def add(
        self,
        key_id: str,
        key_hash: str,
        role: Role,
        athlete_id: str | None,
        label: str | None,
        created_at: datetime,
    ) -> None:
        """Remember a key by its hash."""
        self.connection.execute(
            """
            INSERT INTO keys (id, hash, role, athlete_id, label, created_at)
            VALUES (?, ?, ?, ?, ?, ?)
            """,
            (key_id, key_hash, role, athlete_id, label, utc_text(created_at)),
        )

    def by_hash(self, key_hash: str) -> Key | None:
        """The key of this hash; None if it is not known, or revoked."""
        row = self.connection.execute(
            f"{_SELECT} WHERE hash = ? AND revoked_at IS NULL", (key_hash,)
        ).fetchone()
        return _key(*row) if row else None

    def in_use(self, key_id: str) -> Key | None:
        """The key of this id; None if there is none, or it has been revoked."""
        row = self.connection.execute(
            f"{_SELECT} WHERE id = ? AND revoked_at IS NULL", (key_id,)
        ).fetchone()
        return _key(*row) if row else None

    def all(self) -> list[Key]:
        """Every key, revoked ones too, in the order in which they were made."""
        return [_key(*row) for row in self.connection.execute(f"{_SELECT} ORDER BY created_at, id")]

    def revoke(self, key_id: str, at: datetime) -> bool:
        """End a key; False if there is none of this id, or it has ended before."""
        revoked = self.connection.execute(
            "UPDATE keys SET revoked_at = ? WHERE id = ? AND revoked_at IS NULL",
            (utc_text(at), key_id),
        )
        return revoked.rowcount == 1


def _key(
    key_id: str,
    role: str,
    athlete_id: str | None,
    label: str | None,
    created_at: str,
    revoked_at: str | None,
) -> Key:
    return Key(
        key_id,
        Role(role),
        athlete_id,
        label,
        utc_time(created_at),
        utc_time(revoked_at) if revoked_at else None,
    )
