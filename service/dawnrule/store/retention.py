"""How long is what people reported kept? What is older may leave, and says so.

Rows stay as long as their athlete does, unless they are of dates before the newest of the marks
here. Marks are only added.
"""

from __future__ import annotations

import sqlite3
from dataclasses import dataclass
from datetime import UTC, date, datetime, time

from dawnrule.store.columns import utc_text

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
    """Lets what is old leave."""

    connection: sqlite3.Connection

    def forget_before(self, day: date, at: datetime) -> dict[str, int]:
        """Delete check-ins, advice, sessions and plans of dates before one; how many rows went, by
        table. Replays go too, as any may tell of those mornings."""
        self.connection.execute(
            "INSERT INTO retention (before, at) VALUES (?, ?)", (day.isoformat(), utc_text(at))
        )
        midnight = utc_text(datetime.combine(day, time.min, UTC))
        return {
            "advice": self._delete("advice WHERE date < ?", day.isoformat()),
            "check_ins": self._delete("check_ins WHERE date < ?", day.isoformat()),
            "sessions": self._delete("sessions WHERE starts_at < ?", midnight),
            "plans": self._delete("plans WHERE date < ?", day.isoformat()),
            "replays": self._delete("replays WHERE ? IS NOT NULL", midnight),
        }

    def has_any_before(self, day: date) -> bool:
        """Whether there is anything of a date before one."""
        midnight = utc_text(datetime.combine(day, time.min, UTC))
        [(found,)] = self.connection.execute(
            """
            SELECT EXISTS (SELECT 1 FROM check_ins WHERE date < :day)
                OR EXISTS (SELECT 1 FROM advice WHERE date < :day)
                OR EXISTS (SELECT 1 FROM sessions WHERE starts_at < :midnight)
                OR EXISTS (SELECT 1 FROM plans WHERE date < :day)
            """,
            {"day": day.isoformat(), "midnight": midnight},
        )
        return bool(found)

    def oldest_report_from(self, day: date) -> date | None:
        """The earliest date, from one on, of a check-in or a session (UTC); None if there is none.
        What is only planned counts for nothing: it may be of any date."""
        midnight = utc_text(datetime.combine(day, time.min, UTC))
        [(oldest,)] = self.connection.execute(
            """
            SELECT min(date) FROM (
                SELECT min(date) AS date FROM check_ins WHERE date >= :day
                UNION ALL
                SELECT substr(min(starts_at), 1, length(:day)) FROM sessions
                WHERE starts_at >= :midnight
            )
            """,
            {"day": day.isoformat(), "midnight": midnight},
        )
        return date.fromisoformat(oldest) if oldest else None

    def _delete(self, which: str, value: str) -> int:
        return self.connection.execute(f"DELETE FROM {which}", (value,)).rowcount
