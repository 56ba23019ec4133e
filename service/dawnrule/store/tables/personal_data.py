"""Personal data: the rows about one person, and deletion of old rows.

Hashes of keys and of private addresses are left out of exports: only a thief could use them.
"""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime, time
from typing import Any

from dawnrule.store.tables.concerns import ENDED_BEFORE, OLDEST_ENDED
from dawnrule.store.tables.ledger import ROWS_WRITTEN
from dawnrule.store.traces import Traces
from dawnrule.store.values import utc_text

SCHEMA = (
    """
    CREATE TABLE retention (
        position INTEGER PRIMARY KEY AUTOINCREMENT,
        before TEXT NOT NULL CHECK (length(before) = 10),
        at TEXT NOT NULL
    ) STRICT
    """,
    """
    CREATE TRIGGER retention_stays_as_it_is BEFORE UPDATE ON retention
    BEGIN SELECT RAISE(ABORT, 'until when was forgotten is never changed'); END
    """,
    """
    CREATE TRIGGER retention_stays BEFORE DELETE ON retention
    BEGIN SELECT RAISE(ABORT, 'until when was forgotten is never deleted'); END
    """,
    "DROP TRIGGER check_ins_leave_with_their_athlete",
    "DROP TRIGGER advice_leaves_with_its_athlete",
    *(
        f"""
        CREATE TRIGGER {table}_leaves_with_its_athlete_or_its_time BEFORE DELETE ON {table}
        WHEN EXISTS (SELECT 1 FROM athletes WHERE id = OLD.athlete_id)
         AND OLD.date >= coalesce((SELECT max(before) FROM retention), '')
        BEGIN
            SELECT RAISE(ABORT, '{what} is never deleted before its time, but with its athlete');
        END
        """
        for table, what in (("check_ins", "a check-in"), ("advice", "advice"))
    ),
)


@dataclass(frozen=True, slots=True)
class Retention:
    """Deletion of rows of old dates."""

    connection: sqlite3.Connection

    def delete_before(self, day: date, at: datetime) -> dict[str, int]:
        """Delete check-ins, advice, sessions and plans of dates before ``day``, and concerns that
        ended before; return how many rows went, by table. Replays go too, as any may tell of those
        mornings. A concern that has not ended stays, whatever its check-ins."""
        self.connection.execute(
            "INSERT INTO retention (before, at) VALUES (?, ?)", (day.isoformat(), utc_text(at))
        )
        Traces(self.connection).note()
        midnight = utc_text(datetime.combine(day, time.min, UTC))
        return {
            "advice": self._delete("advice WHERE date < ?", day.isoformat()),
            "check_ins": self._delete("check_ins WHERE date < ?", day.isoformat()),
            "sessions": self._delete("sessions WHERE starts_at < ?", midnight),
            "plans": self._delete("plans WHERE date < ?", day.isoformat()),
            "replays": self._delete("replays WHERE ? IS NOT NULL", midnight),
            "concerns": self._delete(f"concerns WHERE {ENDED_BEFORE}", day.isoformat()),
        }

    def oldest_date(self) -> date | None:
        """Find the earliest date (UTC) of a check-in, advice, session or plan, or on which a
        concern ended; None if there is none."""
        [(oldest,)] = self.connection.execute(
            f"""
            SELECT min(date) FROM (
                SELECT min(date) AS date FROM check_ins
                UNION ALL SELECT min(date) FROM advice
                UNION ALL SELECT min(date) FROM plans
                UNION ALL SELECT substr(min(starts_at), 1, 10) FROM sessions
                UNION ALL {OLDEST_ENDED}
            )
            """
        )
        return date.fromisoformat(oldest) if oldest else None

    def _delete(self, which: str, value: str) -> int:
        return self.connection.execute(f"DELETE FROM {which}", (value,)).rowcount


KINDS: Mapping[str, str] = {
    "athlete": """
        SELECT id AS athlete_id, name, time_zone, date_of_birth, training_status, language,
               coalesce(calendar, '{}') AS calendar
        FROM athletes WHERE id = ?
    """,
    "groups": """
        SELECT group_id, name FROM group_members JOIN groups ON groups.id = group_id
        WHERE athlete_id = ? ORDER BY group_id
    """,
    "check-ins": """
        SELECT id AS check_in_id, date, revision, received_at, posted_by, body AS check_in
        FROM check_ins WHERE athlete_id = ? ORDER BY date, revision
    """,
    "advice": """
        SELECT id AS advice_id, check_in_id, date, verdict, rule_id, rule_set_digest, decided_at,
               supersedes, advice_entries.position, salt, record
        FROM advice JOIN advice_entries ON advice_position = advice.position
        WHERE athlete_id = ? ORDER BY advice.position
    """,
    "shadow": """
        SELECT advice_id, digest AS rule_set_digest, shadow.verdict, shadow.rule_id
        FROM shadow_verdicts AS shadow JOIN advice ON advice.id = advice_id
        WHERE athlete_id = ? ORDER BY advice.position
    """,
    "replays": """
        SELECT replay_id, rule_set, rule_set_digest, asked_at, told.value AS found
        FROM replays JOIN replay_steps ON replay_id = replays.id, json_tree(result) AS told
        WHERE told.type = 'object' AND json_extract(told.value, '$.athlete_id') = ?
        ORDER BY asked_at, replay_id, replay_steps.first_date, told.id
    """,
    "concerns": """
        SELECT concern_id, kind, number, state, on_date AS date, position, salt, body AS concern
        FROM concern_events JOIN concerns ON concerns.id = concern_id
        WHERE athlete_id = ? ORDER BY position
    """,
    "sessions": """
        SELECT id AS session_id, starts_at, received_at, posted_by, body AS session
        FROM sessions WHERE athlete_id = ? ORDER BY starts_at, id
    """,
    "plans": """
        SELECT date, posted_at, posted_by, plan FROM plans WHERE athlete_id = ? ORDER BY date
    """,
    "rule-sets": """
        SELECT digest AS rule_set_digest, from_date, at, by, position, takes_back
        FROM activations WHERE athlete_id = ? ORDER BY position
    """,
    "keys": """
        SELECT id AS key_id, role, label, created_at, revoked_at
        FROM keys WHERE athlete_id = ? ORDER BY created_at, id
    """,
    "addresses": """
        SELECT id AS address_id, purpose, label, created_at, created_by, revoked_at, last_used_on
        FROM private_addresses WHERE athlete_id = ? ORDER BY created_at, id
    """,
    "acts": f"""
        SELECT position, body AS act FROM ledger
        WHERE act IS NOT NULL AND act <> '{ROWS_WRITTEN}'
          AND json_extract(body, '$.about.athlete_id') = ? ORDER BY position
    """,
}
"""Query of each kind of personal data."""

_JSON = frozenset({"calendar", "check_in", "concern", "record", "session", "plan", "act", "found"})


@dataclass(frozen=True, slots=True)
class Person:
    """All rows about a person."""

    connection: sqlite3.Connection

    def rows(self, kind: str, athlete_id: str) -> Iterator[dict[str, Any]]:
        """Read the rows about an athlete of one of ``KINDS``, as plain JSON values by column."""
        cursor = self.connection.execute(KINDS[kind], (athlete_id,))
        names = [column[0] for column in cursor.description]
        for row in cursor:
            yield {
                name: json.loads(value) if name in _JSON else value
                for name, value in zip(names, row, strict=True)
            }
