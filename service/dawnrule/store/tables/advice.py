"""The table of advice, in the order in which it was given.

Advice is never changed, only superseded, and at most once. ``position`` is the order in which
it was given and is never used twice; the latest for an athlete and a date has the greatest.
Each has an entry in the ledger. Rows leave only with their athlete, or when their time is over.
"""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from dawnrule.model.record import Record
from dawnrule.store.tables.ledger import Ledger
from dawnrule.store.values import utc_text, utc_time

FIRST_SCHEMA = (
    """
    CREATE TABLE advice (
        position INTEGER PRIMARY KEY AUTOINCREMENT,
        id TEXT NOT NULL UNIQUE,
        check_in_id TEXT NOT NULL REFERENCES check_ins (id),
        athlete_id TEXT NOT NULL REFERENCES athletes (id) ON DELETE CASCADE,
        date TEXT NOT NULL CHECK (length(date) = 10),
        verdict TEXT NOT NULL,
        rule_id TEXT,
        rule_set_digest TEXT NOT NULL,
        record TEXT NOT NULL,
        decided_at TEXT NOT NULL,
        supersedes TEXT REFERENCES advice (id)
    ) STRICT
    """,
    "CREATE INDEX advice_of_athlete ON advice (athlete_id, date)",
    "CREATE INDEX advice_of_date ON advice (date, athlete_id)",
    "CREATE INDEX advice_of_check_in ON advice (check_in_id)",
    """
    CREATE UNIQUE INDEX advice_superseded_once ON advice (supersedes)
    WHERE supersedes IS NOT NULL
    """,
    """
    CREATE TRIGGER advice_stays_as_it_is BEFORE UPDATE ON advice
    BEGIN SELECT RAISE(ABORT, 'advice is never changed, only superseded'); END
    """,
    """
    CREATE TRIGGER advice_leaves_with_its_athlete BEFORE DELETE ON advice
    WHEN EXISTS (SELECT 1 FROM athletes WHERE id = OLD.athlete_id)
    BEGIN SELECT RAISE(ABORT, 'advice is never deleted, except with its athlete'); END
    """,
)

_COLUMNS = (
    "id, check_in_id, athlete_id, date, verdict, rule_id, rule_set_digest, record, decided_at, "
    "supersedes"
)
_SELECT = f"SELECT {_COLUMNS} FROM advice"


@dataclass(frozen=True, slots=True)
class StoredAdvice:
    """Advice as it was given. ``record`` is canonical JSON text, kept byte for byte; ``rule_id`` is
    None when no rule fired; ``supersedes`` is the id of the advice before it."""

    id: str
    check_in_id: str
    athlete_id: str
    date: date
    verdict: str
    rule_id: str | None
    rule_set_digest: str
    record: str
    decided_at: datetime
    supersedes: str | None = None

    def read_record(self) -> Record:
        """Parse the record; the text is parsed at each call."""
        return Record.from_text(self.record)


@dataclass(frozen=True, slots=True)
class Advice:
    """All advice: added to and read, never changed."""

    connection: sqlite3.Connection

    def add(self, advice: StoredAdvice) -> int:
        """Give advice, with its entry in the ledger; return the entry's position."""
        at = utc_text(advice.decided_at)
        added = self.connection.execute(
            f"INSERT INTO advice ({_COLUMNS}) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
            (
                advice.id,
                advice.check_in_id,
                advice.athlete_id,
                advice.date.isoformat(),
                advice.verdict,
                advice.rule_id,
                advice.rule_set_digest,
                advice.record,
                at,
                advice.supersedes,
            ),
        )
        assert added.lastrowid is not None, "an INSERT always has one"
        return Ledger(self.connection).add_advice(added.lastrowid, advice.record, at)

    def get(self, advice_id: str) -> StoredAdvice | None:
        """One advice, superseded or not; None if there is none of this id."""
        return self._one("WHERE id = ?", advice_id)

    def latest(self, athlete_id: str, date: date) -> StoredAdvice | None:
        """The advice that holds for an athlete and a date; None before the first."""
        return self._one(
            "WHERE athlete_id = ? AND date = ? ORDER BY position DESC LIMIT 1",
            athlete_id,
            date.isoformat(),
        )

    def for_date(self, date: date) -> list[StoredAdvice]:
        """The advice that holds for a date, of each athlete who has any, in the order of ids.

        With one ``max()``, SQLite takes the other columns from the row that has it.
        """
        rows = self.connection.execute(
            f"""
            SELECT {_COLUMNS}, max(position) FROM advice
            WHERE date = ? GROUP BY athlete_id ORDER BY athlete_id
            """,
            (date.isoformat(),),
        )
        return [_advice(row[:-1]) for row in rows]

    def verdicts_at(self, date: date, at: datetime) -> dict[str, str]:
        """The verdicts that held for a date at a time (aware), by athlete; one ``max()`` as
        above."""
        rows = self.connection.execute(
            """
            SELECT athlete_id, verdict, max(position) FROM advice
            WHERE date = ? AND decided_at <= ? GROUP BY athlete_id
            """,
            (date.isoformat(), utc_text(at)),
        )
        return {athlete_id: verdict for athlete_id, verdict, _ in rows}

    def verdicts(self, athlete_id: str, first: date, last: date) -> dict[date, tuple[str, str]]:
        """The id and the verdict of the advice that holds for each date from one to another, both
        included."""
        held = self._held("id, verdict", athlete_id, first, last)
        return {date.fromisoformat(on): (advice_id, verdict) for on, advice_id, verdict, _ in held}

    def records(self, athlete_id: str, first: date, last: date) -> dict[date, str]:
        """The records of the advice that holds for each date from one to another, both included."""
        held = self._held("record", athlete_id, first, last)
        return {date.fromisoformat(on): record for on, record, _ in held}

    def notes(self, athlete_id: str, first: date, last: date) -> dict[date, list[dict[str, Any]]]:
        """The notes in the advice that holds for each date from one to another, both included, as
        the records have them: SQLite finds these in a tenth of the time that a record takes to
        parse."""
        held = self._held("json_extract(record, '$.advice.notes')", athlete_id, first, last)
        return {date.fromisoformat(on): json.loads(notes) for on, notes, _ in held}

    def _held(self, what: str, athlete_id: str, first: date, last: date) -> sqlite3.Cursor:
        """Read each date with something of the advice that holds for it; one ``max()`` as
        above."""
        return self.connection.execute(
            f"""
            SELECT date, {what}, max(position) FROM advice
            WHERE athlete_id = ? AND date BETWEEN ? AND ? GROUP BY date
            """,
            (athlete_id, first.isoformat(), last.isoformat()),
        )

    def page(
        self, athlete_id: str, first: date, last: date, *, limit: int, after: str | None = None
    ) -> list[StoredAdvice]:
        """All advice for the dates from ``first`` to ``last``, superseded too, newest first.

        ``after`` is the id of the last advice of the page before.
        """
        rows = self.connection.execute(
            f"""
            {_SELECT}
            WHERE athlete_id = :athlete_id AND date BETWEEN :first AND :last
              AND (:after IS NULL
                   OR (date, position) < (SELECT date, position FROM advice WHERE id = :after))
            ORDER BY date DESC, position DESC LIMIT :limit
            """,
            {
                "athlete_id": athlete_id,
                "first": first.isoformat(),
                "last": last.isoformat(),
                "after": after,
                "limit": limit,
            },
        )
        return [_advice(row) for row in rows]

    def after(self, position: int, limit: int) -> list[tuple[int, StoredAdvice]]:
        """The advice that comes next in the ledger, superseded or not, each with its position."""
        rows = self.connection.execute(
            f"SELECT position, {_COLUMNS} FROM advice WHERE position > ? ORDER BY position LIMIT ?",
            (position, limit),
        )
        return [(position, _advice(row)) for position, *row in rows]

    def last_position(self) -> int:
        """The position of the newest advice; 0 before the first."""
        [(position,)] = self.connection.execute("SELECT max(position) FROM advice")
        return position or 0

    def is_unbroken(self, position: int, advice_id: str, count: int) -> bool:
        """Whether there still are just ``count`` advice up to a position, and this one stands
        there: False once anybody of them was erased, and in another database.

        The plus makes SQLite count in an index, rather than in the rows with their long records.
        """
        [(unbroken,)] = self.connection.execute(
            """
            SELECT (SELECT count(*) FROM advice WHERE +position <= :position) = :count
               AND EXISTS (SELECT 1 FROM advice WHERE position = :position AND id = :id)
            """,
            {"position": position, "id": advice_id, "count": count},
        )
        return bool(unbroken)

    def _one(self, where: str, *values: str) -> StoredAdvice | None:
        row = self.connection.execute(f"{_SELECT} {where}", values).fetchone()
        return _advice(row) if row else None


def _advice(row: Sequence[Any]) -> StoredAdvice:
    advice_id, check_in_id, athlete_id, day, verdict, rule_id, digest, record, at, supersedes = row
    return StoredAdvice(
        advice_id,
        check_in_id,
        athlete_id,
        date.fromisoformat(day),
        verdict,
        rule_id,
        digest,
        record,
        utc_time(at),
        supersedes,
    )
