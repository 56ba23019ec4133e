"""Private addresses, stored by the hash of their token alone.

An address works without a key, because spreadsheets, calendars and phones send none. So each is
for one athlete and one purpose, and can be revoked or replaced without touching a key. A plain
SHA-256 is enough, for the reason given in ``keys``.
"""

from __future__ import annotations

import secrets
import sqlite3
from dataclasses import dataclass
from datetime import date, datetime
from enum import StrEnum
from hashlib import sha256

from dawnrule.store.values import columns, structure, utc_text

SCHEMA = (
    """
    CREATE TABLE private_addresses (
        id TEXT NOT NULL PRIMARY KEY,
        hash TEXT NOT NULL UNIQUE,
        purpose TEXT NOT NULL CHECK (purpose IN ('read', 'check-in')),
        athlete_id TEXT NOT NULL REFERENCES athletes (id) ON DELETE CASCADE,
        label TEXT,
        created_at TEXT NOT NULL,
        created_by TEXT,
        revoked_at TEXT,
        last_used_on TEXT CHECK (length(last_used_on) = 10)
    ) STRICT
    """,
    "CREATE INDEX private_addresses_of_athlete ON private_addresses (athlete_id)",
)

_SELECT = """
    SELECT id, purpose, athlete_id, label, created_at, created_by, revoked_at, last_used_on
    FROM private_addresses
"""
_RANDOM_BYTES = 32


class Purpose(StrEnum):
    """The purpose of an address: to read today's advice, or to post today's check-in."""

    READ = "read"
    CHECK_IN = "check-in"


@dataclass(frozen=True, slots=True)
class PrivateAddress:
    """A private address as it is stored: without its token. ``created_by`` is the id of a key;
    ``last_used_on`` is a date only, so that nobody is watched."""

    id: str
    purpose: Purpose
    athlete_id: str
    label: str | None
    created_at: datetime
    created_by: str | None
    revoked_at: datetime | None = None
    last_used_on: date | None = None


def new_token() -> str:
    """Make a token that nobody can guess, of letters, digits, ``-`` and ``_``; it is shown once
    and never stored."""
    return secrets.token_urlsafe(_RANDOM_BYTES)


def hash_token(token: str) -> str:
    """Hash a token for storage, in hexadecimal; any text is accepted."""
    return sha256(token.encode("utf-8", "surrogatepass")).hexdigest()


@dataclass(frozen=True, slots=True)
class PrivateAddresses:
    """The private addresses of the squad."""

    connection: sqlite3.Connection

    def add(self, address: PrivateAddress, token_hash: str) -> None:
        """Store an address under the hash of its token."""
        self.connection.execute(
            """
            INSERT INTO private_addresses
                (id, hash, purpose, athlete_id, label, created_at, created_by)
            VALUES (:id, :hash, :purpose, :athlete_id, :label, :created_at, :created_by)
            """,
            columns(address) | {"hash": token_hash},
        )

    def by_hash(self, token_hash: str) -> PrivateAddress | None:
        """Find an address by the hash of its token; None if it is unknown or revoked."""
        row = self.connection.execute(
            f"{_SELECT} WHERE hash = ? AND revoked_at IS NULL", (token_hash,)
        ).fetchone()
        return structure(PrivateAddress, row) if row else None

    def get(self, address_id: str) -> PrivateAddress | None:
        """Find an address by its id, revoked or not; None if it is unknown."""
        row = self.connection.execute(f"{_SELECT} WHERE id = ?", (address_id,)).fetchone()
        return structure(PrivateAddress, row) if row else None

    def of_athlete(self, athlete_id: str) -> list[PrivateAddress]:
        """List an athlete's addresses, revoked ones too, in order of creation."""
        rows = self.connection.execute(
            f"{_SELECT} WHERE athlete_id = ? ORDER BY created_at, id", (athlete_id,)
        )
        return [structure(PrivateAddress, row) for row in rows]

    def all(self) -> list[PrivateAddress]:
        """List all addresses, by athlete."""
        rows = self.connection.execute(f"{_SELECT} ORDER BY athlete_id, created_at, id")
        return [structure(PrivateAddress, row) for row in rows]

    def revoke(self, address_id: str, at: datetime) -> bool:
        """Revoke an address; return False if it is unknown or already revoked."""
        revoked = self.connection.execute(
            "UPDATE private_addresses SET revoked_at = ? WHERE id = ? AND revoked_at IS NULL",
            (utc_text(at), address_id),
        )
        return revoked.rowcount == 1

    def note_use(self, address_id: str, on: date) -> None:
        """Record that an address was used on a date."""
        self.connection.execute(
            "UPDATE private_addresses SET last_used_on = ? WHERE id = ?",
            (on.isoformat(), address_id),
        )
