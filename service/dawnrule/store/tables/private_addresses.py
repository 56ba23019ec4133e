"""Which private addresses were given out? Each is known by the hash of its token alone.

Who has the address needs no key, as spreadsheets, calendars and phones send none. So an address
is for one athlete and one purpose, and is ended or changed for another without touching a key.
A plain SHA-256 is enough, for the reason that ``keys`` gives.
"""

from __future__ import annotations

import secrets
import sqlite3
from dataclasses import dataclass
from datetime import date, datetime
from enum import StrEnum
from hashlib import sha256

from dawnrule.store.values import utc_text, utc_time

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
    """The one thing that an address may do: read today's advice, or post today's check-in."""

    READ = "read"
    CHECK_IN = "check-in"


@dataclass(frozen=True, slots=True)
class PrivateAddress:
    """What is known of a private address: not its token. ``created_by`` is the id of a key, and
    ``last_used_on`` a date and no more, so that nobody is watched."""

    id: str
    purpose: Purpose
    athlete_id: str
    label: str | None
    created_at: datetime
    created_by: str | None
    revoked_at: datetime | None = None
    last_used_on: date | None = None


def new_token() -> str:
    """A token that nobody can guess, of letters, digits, ``-`` and ``_``; shown once and never
    stored."""
    return secrets.token_urlsafe(_RANDOM_BYTES)


def hash_token(token: str) -> str:
    """The hash by which a token is known, in hexadecimal; also of text that cannot be one."""
    return sha256(token.encode("utf-8", "surrogatepass")).hexdigest()


@dataclass(frozen=True, slots=True)
class PrivateAddresses:
    """The private addresses of the squad."""

    connection: sqlite3.Connection

    def add(self, address: PrivateAddress, token_hash: str) -> None:
        """Remember an address by the hash of its token."""
        self.connection.execute(
            """
            INSERT INTO private_addresses
                (id, hash, purpose, athlete_id, label, created_at, created_by)
            VALUES (?, ?, ?, ?, ?, ?, ?)
            """,
            (
                address.id,
                token_hash,
                address.purpose,
                address.athlete_id,
                address.label,
                utc_text(address.created_at),
                address.created_by,
            ),
        )

    def by_hash(self, token_hash: str) -> PrivateAddress | None:
        """The address of this hash; None if it is not known, or revoked."""
        row = self.connection.execute(
            f"{_SELECT} WHERE hash = ? AND revoked_at IS NULL", (token_hash,)
        ).fetchone()
        return _address(*row) if row else None

    def get(self, address_id: str) -> PrivateAddress | None:
        """The address of an id, revoked or not; None if there is none."""
        row = self.connection.execute(f"{_SELECT} WHERE id = ?", (address_id,)).fetchone()
        return _address(*row) if row else None

    def of_athlete(self, athlete_id: str) -> list[PrivateAddress]:
        """Every address of an athlete, revoked ones too, in the order in which they were made."""
        rows = self.connection.execute(
            f"{_SELECT} WHERE athlete_id = ? ORDER BY created_at, id", (athlete_id,)
        )
        return [_address(*row) for row in rows]

    def all(self) -> list[PrivateAddress]:
        """Everybody's, by athlete."""
        rows = self.connection.execute(f"{_SELECT} ORDER BY athlete_id, created_at, id")
        return [_address(*row) for row in rows]

    def revoke(self, address_id: str, at: datetime) -> bool:
        """End an address; False if there is none of this id, or it has ended before."""
        revoked = self.connection.execute(
            "UPDATE private_addresses SET revoked_at = ? WHERE id = ? AND revoked_at IS NULL",
            (utc_text(at), address_id),
        )
        return revoked.rowcount == 1

    def note_use(self, address_id: str, on: date) -> None:
        """Remember that an address was used on a date."""
        self.connection.execute(
            "UPDATE private_addresses SET last_used_on = ? WHERE id = ?",
            (on.isoformat(), address_id),
        )


def _address(
    address_id: str,
    purpose: str,
    athlete_id: str,
    label: str | None,
    created_at: str,
    created_by: str | None,
    revoked_at: str | None,
    last_used_on: str | None,
) -> PrivateAddress:
    return PrivateAddress(
        address_id,
        Purpose(purpose),
        athlete_id,
        label,
        utc_time(created_at),
        created_by,
        utc_time(revoked_at) if revoked_at else None,
        date.fromisoformat(last_used_on) if last_used_on else None,
    )
