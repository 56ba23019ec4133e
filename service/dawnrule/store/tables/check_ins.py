"""Check-ins by athlete and local date, in revisions.

A changed check-in is a further revision; nothing is overwritten. Rows leave only with their
athlete: the rows of an athlete who is still there cannot be deleted.
"""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any

from dawnrule.model.entities import CheckIn
from dawnrule.model.serialization import all_of_json, from_json
from dawnrule.store.values import json_text, structure, utc_text, utc_time

FIRST_SCHEMA = (
    """
    CREATE TABLE check_ins (
        id TEXT NOT NULL UNIQUE,
        athlete_id TEXT NOT NULL REFERENCES athletes (id) ON DELETE CASCADE,
        date TEXT NOT NULL CHECK (length(date) = 10),
        revision INTEGER NOT NULL,
        body TEXT NOT NULL,
        received_at TEXT NOT NULL,
        posted_by TEXT,
        UNIQUE (athlete_id, date, revision)
    ) STRICT
    """,
    """
    CREATE TRIGGER check_ins_stay_as_they_are BEFORE UPDATE ON check_ins
    BEGIN SELECT RAISE(ABORT, 'a check-in is never changed, only followed by a revision'); END
    """,
    """
    CREATE TRIGGER check_ins_leave_with_their_athlete BEFORE DELETE ON check_ins
    WHEN EXISTS (SELECT 1 FROM athletes WHERE id = OLD.athlete_id)
    BEGIN SELECT RAISE(ABORT, 'a check-in is never deleted, except with its athlete'); END
    """,
)


@dataclass(frozen=True, slots=True)
class StoredCheckIn:
    """One revision of a check-in; ``body`` is its JSON form, ``posted_by`` the id of a key.

    The store counts revisions from 1; ``revision`` is 0 before it is stored.
    """

    id: str
    athlete_id: str
    date: date
    body: dict[str, Any]
    received_at: datetime
    posted_by: str | None
    revision: int = 0

    @property
    def check_in(self) -> CheckIn:
        """The check-in that the body describes."""
        return from_json(CheckIn, self.body)


@dataclass(frozen=True, slots=True)
class RecoveryAnswers:
    """What a check-in says of recovery: soreness 0 to 10 by muscle group, and illness.
    ``reported_at`` (aware) may be left out; ``received_at`` is when it came in."""

    athlete_id: str
    date: date
    reported_at: datetime | None
    received_at: datetime
    soreness: Mapping[str, float]
    illness: str | None
    temperature_c: float | None


@dataclass(frozen=True, slots=True)
class CheckIns:
    """The check-ins of the squad, in revisions that count from 1."""

    connection: sqlite3.Connection

    def latest(self, athlete_id: str, date: date) -> StoredCheckIn | None:
        """Read the newest revision for a date; None before the first."""
        row = self.connection.execute(
            """
            SELECT id, athlete_id, date, body, received_at, posted_by, revision FROM check_ins
            WHERE athlete_id = ? AND date = ? ORDER BY revision DESC LIMIT 1
            """,
            (athlete_id, date.isoformat()),
        ).fetchone()
        return _stored(row) if row else None

    def add(self, check_in: StoredCheckIn) -> int:
        """Store a check-in as the next revision for its date; return the revision."""
        [(revision,)] = self.connection.execute(
            """
            INSERT INTO check_ins (id, athlete_id, date, revision, body, received_at, posted_by)
            SELECT :id, :athlete_id, :date, coalesce(max(revision), 0) + 1, :body, :received_at,
                   :posted_by
            FROM check_ins WHERE athlete_id = :athlete_id AND date = :date
            RETURNING revision
            """,
            {
                "id": check_in.id,
                "athlete_id": check_in.athlete_id,
                "date": check_in.date.isoformat(),
                "body": json_text(check_in.body),
                "received_at": utc_text(check_in.received_at),
                "posted_by": check_in.posted_by,
            },
        )
        return int(revision)

    def before(self, athlete_id: str, date: date, days: int) -> list[CheckIn]:
        """Read the newest revision for each of the ``days`` dates before a date, in their order.

        With one ``max()``, SQLite takes the other columns from the row that has it.
        """
        rows = self.connection.execute(
            """
            SELECT body, max(revision) FROM check_ins
            WHERE athlete_id = ? AND date >= ? AND date < ? GROUP BY date ORDER BY date
            """,
            (athlete_id, (date - timedelta(days)).isoformat(), date.isoformat()),
        )
        return all_of_json(CheckIn, [body for body, _ in rows])

    def last_answers(self, athlete_id: str, date: date, days: int) -> list[CheckIn]:
        """Read the newest revisions, from ``days`` days before a date up to it, that answer the
        questions on warning signs, illness and pain, in the order of arrival; one may answer
        several. Each search stops at the first match."""
        rows = self.connection.execute(
            """
            WITH sent AS (
                SELECT date, revision, body FROM check_ins
                WHERE athlete_id = :athlete_id AND date BETWEEN :first AND :last
                ORDER BY date DESC, revision DESC
            )
            SELECT * FROM (
                SELECT * FROM sent WHERE json_extract(body, '$.warning_signs') NOT NULL LIMIT 1
            )
            UNION SELECT * FROM (
                SELECT * FROM sent WHERE json_extract(body, '$.illness') NOT NULL LIMIT 1
            )
            UNION SELECT * FROM (
                SELECT * FROM sent WHERE json_extract(body, '$.pain') NOT NULL LIMIT 1
            )
            ORDER BY date, revision
            """,
            {
                "athlete_id": athlete_id,
                "first": (date - timedelta(days)).isoformat(),
                "last": date.isoformat(),
            },
        )
        return [from_json(CheckIn, json.loads(body)) for *_, body in rows]

    def recovery_answers(self, first: date, before: date) -> Iterator[RecoveryAnswers]:
        """Read what everybody's newest revisions from ``first`` on and before a date say of
        recovery, by athlete and date; one ``max()`` as above."""
        yield from self._recovery_answers("date >= ? AND date < ?", first, before)

    def own_recovery_answers(
        self, athlete_id: str, first: date, before: date
    ) -> Iterator[RecoveryAnswers]:
        """Read the same of one athlete."""
        where = "athlete_id = ? AND date >= ? AND date < ?"
        yield from self._recovery_answers(where, athlete_id, first, before)

    def _recovery_answers(self, where: str, *values: str | date) -> Iterator[RecoveryAnswers]:
        rows = self.connection.execute(
            f"""
            SELECT athlete_id, date, json_extract(body, '$.reported_at'), received_at,
                   json_extract(body, '$.soreness'), json_extract(body, '$.illness'),
                   json_extract(body, '$.temperature_c'), max(revision)
            FROM check_ins WHERE {where} GROUP BY athlete_id, date ORDER BY athlete_id, date
            """,
            [value.isoformat() if isinstance(value, date) else value for value in values],
        )
        for athlete_id, day, reported_at, received_at, soreness, *others, _ in rows:
            yield RecoveryAnswers(
                athlete_id,
                date.fromisoformat(day),
                datetime.fromisoformat(reported_at) if reported_at else None,
                utc_time(received_at),
                json.loads(soreness) if soreness else {},
                *others,
            )

    def without_advice(self, limit: int) -> list[str]:
        """Find check-ins without advice, by id; a sound database has none."""
        rows = self.connection.execute(
            """
            SELECT id FROM check_ins WHERE id NOT IN (SELECT check_in_id FROM advice)
            ORDER BY id LIMIT ?
            """,
            (limit,),
        )
        return [check_in_id for (check_in_id,) in rows]

    def last_dates(self, before: date) -> dict[str, date]:
        """Read the date of each athlete's last check-in before a date; others are left out."""
        rows = self.connection.execute(
            """
            SELECT id, (SELECT max(date) FROM check_ins WHERE athlete_id = athletes.id AND date < ?)
                AS last
            FROM athletes WHERE last IS NOT NULL
            """,
            (before.isoformat(),),
        )
        return {athlete_id: date.fromisoformat(last) for athlete_id, last in rows}

    def of_everybody(self, first: date, last: date) -> list[CheckIn]:
        """Read the newest revision for each athlete and date between two dates, both included; one
        ``max()`` as above."""
        rows = self.connection.execute(
            """
            SELECT body, max(revision) FROM check_ins
            WHERE date BETWEEN ? AND ? GROUP BY athlete_id, date ORDER BY athlete_id, date
            """,
            (first.isoformat(), last.isoformat()),
        )
        return [from_json(CheckIn, json.loads(body)) for body, _ in rows]


def _stored(row: Sequence[Any]) -> StoredCheckIn:
    check_in_id, athlete_id, day, body, *rest = row
    return structure(StoredCheckIn, (check_in_id, athlete_id, day, json.loads(body), *rest))
