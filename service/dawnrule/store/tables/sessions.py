"""Training sessions that were done, by athlete and start."""

from __future__ import annotations

import json
import sqlite3
from dataclasses import dataclass
from datetime import datetime

from dawnrule.model.entities import Session
from dawnrule.model.serialization import all_of_json, from_json, to_json
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
    """The training log of the squad; sessions may be corrected and deleted."""

    connection: sqlite3.Connection

    def add(self, stored: StoredSession) -> None:
        """Store a session."""
        self.connection.execute(
            """
            INSERT INTO sessions (id, athlete_id, starts_at, body, received_at, posted_by)
            VALUES (:id, :athlete_id, :starts_at, :body, :received_at, :posted_by)
            """,
            _columns(stored),
        )

    def replace(self, stored: StoredSession) -> bool:
        """Correct a session of the same athlete; return False if there is none of this id."""
        replaced = self.connection.execute(
            """
            UPDATE sessions SET (starts_at, body, received_at, posted_by)
                              = (:starts_at, :body, :received_at, :posted_by)
            WHERE id = :id
            """,
            _columns(stored),
        )
        return replaced.rowcount == 1

    def delete(self, session_id: str) -> bool:
        """Delete a session; return False if there is none of this id."""
        deleted = self.connection.execute("DELETE FROM sessions WHERE id = ?", (session_id,))
        return deleted.rowcount == 1

    def get(self, session_id: str) -> StoredSession | None:
        """Read a session by id; None if there is none."""
        row = self.connection.execute(
            "SELECT body, received_at, posted_by FROM sessions WHERE id = ?", (session_id,)
        ).fetchone()
        if row is None:
            return None
        body, received_at, posted_by = row
        return StoredSession(session_id, _session(body), utc_time(received_at), posted_by)

    def same_as(self, session: Session) -> str | None:
        """Find a stored session equal to this one, whatever UTC offset its times were written
        with; return its id, or None."""
        rows = self.connection.execute(
            "SELECT id, body FROM sessions WHERE athlete_id = ? AND starts_at = ? ORDER BY id",
            (session.athlete_id, utc_text(session.starts_at)),
        )
        return next((session_id for session_id, body in rows if _session(body) == session), None)

    def window(
        self, athlete_id: str, from_utc: datetime, to_utc: datetime
    ) -> list[tuple[str, Session]]:
        """Read ids and sessions that started in ``[from_utc, to_utc)``, in order of start."""
        rows = self.connection.execute(
            """
            SELECT id, body FROM sessions
            WHERE athlete_id = ? AND starts_at >= ? AND starts_at < ? ORDER BY starts_at, id
            """,
            (athlete_id, utc_text(from_utc), utc_text(to_utc)),
        ).fetchall()
        sessions = all_of_json(Session, [body for _, body in rows])
        return [(row[0], session) for row, session in zip(rows, sessions, strict=True)]

    def newest_first(
        self,
        athlete_id: str,
        from_utc: datetime,
        to_utc: datetime,
        limit: int,
        after: tuple[datetime, str] | None = None,
    ) -> list[tuple[str, Session]]:
        """Read up to ``limit`` ids and sessions that started in ``[from_utc, to_utc)``, newest
        first; ``after`` is the start and id of the last session of the previous page."""
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
        """Read the sessions of all athletes that started in ``[from_utc, to_utc)``."""
        rows = self.connection.execute(
            """
            SELECT body FROM sessions
            WHERE starts_at >= ? AND starts_at < ? ORDER BY athlete_id, starts_at, id
            """,
            (utc_text(from_utc), utc_text(to_utc)),
        )
        return [_session(body) for (body,) in rows]

    def first_starts(self) -> dict[str, datetime]:
        """Read the start (UTC) of each athlete's first session, by athlete id."""
        rows = self.connection.execute(
            "SELECT athlete_id, min(starts_at) FROM sessions GROUP BY athlete_id"
        )
        return {athlete_id: utc_time(first) for athlete_id, first in rows}

    def first_start(self, athlete_id: str) -> datetime | None:
        """Read the start (UTC) of the athlete's first session; None if there is none."""
        [(first,)] = self.connection.execute(
            "SELECT min(starts_at) FROM sessions WHERE athlete_id = ?", (athlete_id,)
        )
        return utc_time(first) if first else None


def _columns(stored: StoredSession) -> dict[str, str | None]:
    return {
        "id": stored.id,
        "athlete_id": stored.session.athlete_id,
        "starts_at": utc_text(stored.session.starts_at),
        "body": json_text(to_json(stored.session)),
        "received_at": utc_text(stored.received_at),
        "posted_by": stored.posted_by,
    }


def _session(body: str) -> Session:
    return from_json(Session, json.loads(body))
