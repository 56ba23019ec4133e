"""Which training was done, and when?"""

from __future__ import annotations

import json
import sqlite3
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from dawnrule.model.entities import Session
from dawnrule.model.serialization import from_json
from dawnrule.store.values import json_text, utc_text, utc_time

FIRST_SCHEMA = (
    """
    CREATE TABLE sessions (
        id TEXT NOT NULL UNIQUE,
        athlete_id TEXT NOT NULL REFERENCES athletes (id) ON DELETE CASCADE,
        starts_at TEXT NOT NULL,
        body TEXT NOT NULL,
        received_at TEXT NOT NULL,
        posted_by TEXT
    ) STRICT
    """,
    "CREATE INDEX sessions_of_athlete ON sessions (athlete_id, starts_at, id)",
)


@dataclass(frozen=True, slots=True)
class StoredSession:
    """A session as it was last posted; ``posted_by`` is the id of a key."""

    id: str
    session: Session
    received_at: datetime
    posted_by: str | None


@dataclass(frozen=True, slots=True)
class Sessions:
    """Training that was done, by athlete and start; may be corrected and deleted."""

    connection: sqlite3.Connection

    def add(
        self,
        session_id: str,
        athlete_id: str,
        starts_at: datetime,
        body: dict[str, Any],
        received_at: datetime,
        posted_by: str | None,
    ) -> None:
        """Store a session; ``starts_at`` is that of the body."""
        self.connection.execute(
            """
            INSERT INTO sessions (id, athlete_id, starts_at, body, received_at, posted_by)
            VALUES (?, ?, ?, ?, ?, ?)
            """,
            (
                session_id,
                athlete_id,
                utc_text(starts_at),
                json_text(body),
                utc_text(received_at),
                posted_by,
            ),
        )

    def replace(
        self,
        session_id: str,
        starts_at: datetime,
        body: dict[str, Any],
        received_at: datetime,
        posted_by: str | None,
    ) -> bool:
        """Correct a session of the same athlete; False if there is none of this id."""
        replaced = self.connection.execute(
            """
            UPDATE sessions SET (starts_at, body, received_at, posted_by) = (?, ?, ?, ?)
            WHERE id = ?
            """,
            (utc_text(starts_at), json_text(body), utc_text(received_at), posted_by, session_id),
        )
        return replaced.rowcount == 1

    def delete(self, session_id: str) -> bool:
        """Remove a session; False if there is none of this id."""
        deleted = self.connection.execute("DELETE FROM sessions WHERE id = ?", (session_id,))
        return deleted.rowcount == 1

    def get(self, session_id: str) -> StoredSession | None:
        """The session; None if there is none of this id."""
        row = self.connection.execute(
            "SELECT body, received_at, posted_by FROM sessions WHERE id = ?", (session_id,)
        ).fetchone()
        if row is None:
            return None
        body, received_at, posted_by = row
        return StoredSession(session_id, _session(body), utc_time(received_at), posted_by)

    def same_as(self, session: Session) -> str | None:
        """The id of a session that was stored and says the same, in whatever offset from UTC its
        times were written; None if there is none."""
        rows = self.connection.execute(
            "SELECT id, body FROM sessions WHERE athlete_id = ? AND starts_at = ? ORDER BY id",
            (session.athlete_id, utc_text(session.starts_at)),
        )
        return next((session_id for session_id, body in rows if _session(body) == session), None)

    def window(
        self, athlete_id: str, from_utc: datetime, to_utc: datetime
    ) -> list[tuple[str, Session]]:
        """Ids and sessions that started from one time on and before another, in their order."""
        rows = self.connection.execute(
            """
            SELECT id, body FROM sessions
            WHERE athlete_id = ? AND starts_at >= ? AND starts_at < ? ORDER BY starts_at, id
            """,
            (athlete_id, utc_text(from_utc), utc_text(to_utc)),
        )
        return [(session_id, _session(body)) for session_id, body in rows]

    def newest_first(
        self,
        athlete_id: str,
        from_utc: datetime,
        to_utc: datetime,
        limit: int,
        after: tuple[datetime, str] | None = None,
    ) -> list[tuple[str, Session]]:
        """Up to ``limit`` ids and sessions that started from one time on and before another, the
        newest first; ``after`` is the start and the id of the one that stands before them."""
        end = (to_utc, "")
        start, session_id = min(after or end, end)
        rows = self.connection.execute(
            """
            SELECT id, body FROM sessions
            WHERE athlete_id = ? AND starts_at >= ? AND (starts_at, id) < (?, ?)
            ORDER BY starts_at DESC, id DESC LIMIT ?
            """,
            (athlete_id, utc_text(from_utc), utc_text(start), session_id, limit),
        )
        return [(session_id, _session(body)) for session_id, body in rows]

    def of_everybody(self, from_utc: datetime, to_utc: datetime) -> list[Session]:
        """The sessions of all athletes that started from one time on and before another."""
        rows = self.connection.execute(
            """
            SELECT body FROM sessions
            WHERE starts_at >= ? AND starts_at < ? ORDER BY athlete_id, starts_at, id
            """,
            (utc_text(from_utc), utc_text(to_utc)),
        )
        return [_session(body) for (body,) in rows]

    def first_starts(self) -> dict[str, datetime]:
        """When the first session of each athlete who has any started (UTC), by athlete."""
        rows = self.connection.execute(
            "SELECT athlete_id, min(starts_at) FROM sessions GROUP BY athlete_id"
        )
        return {athlete_id: utc_time(first) for athlete_id, first in rows}

    def first_start(self, athlete_id: str) -> datetime | None:
        """When the athlete's first session started (UTC); None if there is none."""
        [(first,)] = self.connection.execute(
            "SELECT min(starts_at) FROM sessions WHERE athlete_id = ?", (athlete_id,)
        )
        return utc_time(first) if first else None


def _session(body: str) -> Session:
    return from_json(Session, json.loads(body))
