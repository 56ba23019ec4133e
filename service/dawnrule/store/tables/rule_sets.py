"""Published rule sets and their activations.

Rows are only added. An activation is rolled back by a further row that names it; then the one
before it holds again. Texts and digests are kept as they came: the store does not read them.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import date, datetime

from dawnrule.store.values import columns, structure, utc_text

SCHEMA = (
    """
    CREATE TABLE rule_sets (
        position INTEGER PRIMARY KEY AUTOINCREMENT,
        name TEXT NOT NULL,
        version TEXT NOT NULL,
        digest TEXT NOT NULL UNIQUE,
        summary TEXT NOT NULL,
        text TEXT NOT NULL,
        findings TEXT NOT NULL,
        published_at TEXT NOT NULL,
        published_by TEXT,
        UNIQUE (name, version)
    ) STRICT
    """,
    """
    CREATE TRIGGER rule_sets_stay_as_they_are BEFORE UPDATE ON rule_sets
    BEGIN SELECT RAISE(ABORT, 'a published rule set is never changed'); END
    """,
    """
    CREATE TRIGGER rule_sets_stay BEFORE DELETE ON rule_sets
    BEGIN SELECT RAISE(ABORT, 'a published rule set is never deleted'); END
    """,
    """
    CREATE TABLE activations (
        position INTEGER PRIMARY KEY AUTOINCREMENT,
        digest TEXT,
        from_date TEXT CHECK (length(from_date) = 10),
        athlete_id TEXT REFERENCES athletes (id) ON DELETE CASCADE,
        takes_back INTEGER UNIQUE REFERENCES activations (position),
        at TEXT NOT NULL,
        by TEXT,
        CHECK (digest IS NOT NULL OR athlete_id IS NOT NULL OR takes_back IS NOT NULL)
    ) STRICT
    """,
    "CREATE INDEX activations_of_athlete ON activations (athlete_id, position)",
    """
    CREATE TRIGGER activations_stay_as_they_are BEFORE UPDATE ON activations
    BEGIN SELECT RAISE(ABORT, 'an activation is never changed, only taken back'); END
    """,
    """
    CREATE TRIGGER activations_leave_with_their_athlete BEFORE DELETE ON activations
    WHEN OLD.athlete_id IS NULL OR EXISTS (SELECT 1 FROM athletes WHERE id = OLD.athlete_id)
    BEGIN SELECT RAISE(ABORT, 'an activation is never deleted, except with its athlete'); END
    """,
)

_RULE_SET = "SELECT name, version, digest, summary, published_at, published_by FROM rule_sets"

_STANDS = """
    takes_back IS NULL AND NOT EXISTS (
        SELECT 1 FROM activations AS later WHERE later.takes_back = activations.position
    )
"""
"""Condition: the row is an activation and was not rolled back."""


@dataclass(frozen=True, slots=True)
class StoredRuleSet:
    """A published rule set without its text; ``published_by`` is the id of a key."""

    name: str
    version: str
    digest: str
    summary: str
    published_at: datetime
    published_by: str | None


@dataclass(frozen=True, slots=True)
class Activation:
    """A rule set that holds from a date on (None: at once, for every date), for one athlete or for
    all (None). A ``digest`` of None returns an athlete to the rule set of all. ``by`` is the id of
    a key.

    ``taken_back_at`` and ``taken_back_by`` are None until it is rolled back.
    """

    number: int
    digest: str | None
    from_date: date | None
    athlete_id: str | None
    at: datetime
    by: str | None
    taken_back_at: datetime | None
    taken_back_by: str | None


def in_precedence(come: Iterable[tuple[str | None, str | None]]) -> Iterator[str]:
    """Yield the digests that hold, from the athlete and the digest of the activations whose date
    has come, an athlete's own before those for all, the newest first: none of their own holds
    behind one by which they go with all again."""
    goes_with_all = False
    for athlete_id, digest in come:
        if digest is None:
            goes_with_all = True
        elif athlete_id is None or not goes_with_all:
            yield digest


@dataclass(frozen=True, slots=True)
class RuleSets:
    """Published rule sets, in order of publication."""

    connection: sqlite3.Connection

    def add(self, rule_set: StoredRuleSet, text: str, findings: str) -> None:
        """Store a published rule set; ``findings`` is the JSON text of its check."""
        self.connection.execute(
            """
            INSERT INTO rule_sets (name, version, digest, summary, text, findings,
                                   published_at, published_by)
            VALUES (:name, :version, :digest, :summary, :text, :findings, :published_at,
                    :published_by)
            """,
            columns(rule_set) | {"text": text, "findings": findings},
        )

    def get(self, name: str, version: str) -> StoredRuleSet | None:
        """Find a published rule set by name and version; None if there is none."""
        row = self.connection.execute(
            f"{_RULE_SET} WHERE name = ? AND version = ?", (name, version)
        ).fetchone()
        return structure(StoredRuleSet, row) if row else None

    def all(self) -> list[StoredRuleSet]:
        """List all published rule sets."""
        rows = self.connection.execute(f"{_RULE_SET} ORDER BY position")
        return [structure(StoredRuleSet, row) for row in rows]

    def full_names(self) -> list[tuple[str, str]]:
        """List the digest and name@version of each published rule set, unconverted, as somebody may
        have changed the rest."""
        query = "SELECT digest, name || '@' || version FROM rule_sets ORDER BY position"
        return self.connection.execute(query).fetchall()

    def texts(self) -> dict[tuple[str, str], str]:
        """Read the texts of all rule sets, by name and version."""
        rows = self.connection.execute("SELECT name, version, text FROM rule_sets")
        return {(name, version): text for name, version, text in rows}

    def text_of(self, digest: str) -> str | None:
        """Read the text of a rule set; None if none of this digest was published."""
        return self._only("text", digest)

    def findings_on(self, digest: str) -> str | None:
        """Read the findings of a rule set's check, as JSON text; None if it is unknown."""
        return self._only("findings", digest)

    def _only(self, column: str, digest: str) -> str | None:
        row = self.connection.execute(
            f"SELECT {column} FROM rule_sets WHERE digest = ?", (digest,)
        ).fetchone()
        return row[0] if row else None


@dataclass(frozen=True, slots=True)
class Activations:
    """Activations: which rule set holds for whom, and from when. Rows never change.

    Of the activations that were not rolled back, the newest whose date has come holds; an
    athlete's own come before those for all.
    """

    connection: sqlite3.Connection

    def add(
        self,
        digest: str | None,
        from_date: date | None,
        athlete_id: str | None,
        at: datetime,
        by: str | None,
    ) -> int:
        """Activate a rule set; return the number of the activation."""
        added = self.connection.execute(
            """
            INSERT INTO activations (digest, from_date, athlete_id, at, by)
            VALUES (?, ?, ?, ?, ?)
            """,
            (digest, from_date and from_date.isoformat(), athlete_id, utc_text(at), by),
        )
        assert added.lastrowid is not None, "an INSERT always has one"
        return added.lastrowid

    def take_back(self, athlete_id: str | None, at: datetime, by: str | None) -> int | None:
        """Roll back the newest activation for one athlete, or for all (None), whether its date has
        come or not; return its number, or None if there is none left."""
        row = self.connection.execute(
            f"""
            INSERT INTO activations (athlete_id, takes_back, at, by)
            SELECT athlete_id, position, ?, ? FROM activations
            WHERE athlete_id IS ? AND {_STANDS} ORDER BY position DESC LIMIT 1
            RETURNING takes_back
            """,
            (utc_text(at), by, athlete_id),
        ).fetchone()
        return int(row[0]) if row else None

    def holding(self, athlete_id: str | None, on: date) -> Iterator[str]:
        """Read the digests that hold for an athlete, or for all (None), on a date, in order of
        precedence: each holds if those before it cannot be used."""
        rows = self.connection.execute(
            f"""
            SELECT athlete_id, digest FROM activations
            WHERE (athlete_id IS NULL OR athlete_id = :athlete_id)
              AND (from_date IS NULL OR from_date <= :date) AND {_STANDS}
            ORDER BY athlete_id IS NULL, position DESC
            """,
            {"athlete_id": athlete_id, "date": on.isoformat()},
        )
        return in_precedence(rows)

    def all(self) -> list[Activation]:
        """List every activation, newest first, those that were rolled back too."""
        rows = self.connection.execute(
            """
            SELECT one.position, one.digest, one.from_date, one.athlete_id, one.at, one.by,
                   back.at, back.by
            FROM activations AS one LEFT JOIN activations AS back ON back.takes_back = one.position
            WHERE one.takes_back IS NULL ORDER BY one.position DESC
            """
        )
        return [structure(Activation, row) for row in rows]
