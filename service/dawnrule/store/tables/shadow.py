"""Which rule set runs in the shadow, and what would it have said?

It is kept beside the advice that was given, never in it. Rows leave only with their advice.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime

from dawnrule.store.values import utc_text, utc_time

SCHEMA = (
    """
    CREATE TABLE shadow_candidates (
        position INTEGER PRIMARY KEY AUTOINCREMENT,
        digest TEXT,
        at TEXT NOT NULL,
        by TEXT
    ) STRICT
    """,
    """
    CREATE TABLE shadow_verdicts (
        advice_id TEXT NOT NULL PRIMARY KEY REFERENCES advice (id) ON DELETE CASCADE,
        digest TEXT NOT NULL,
        verdict TEXT,
        rule_id TEXT
    ) STRICT, WITHOUT ROWID
    """,
    "CREATE INDEX shadow_verdicts_of_candidate ON shadow_verdicts (digest)",
    *(
        f"""
        CREATE TRIGGER {table}_stay_as_they_are BEFORE UPDATE ON {table}
        BEGIN SELECT RAISE(ABORT, 'what is known of the shadow is never changed'); END
        """
        for table in ("shadow_candidates", "shadow_verdicts")
    ),
    """
    CREATE TRIGGER shadow_candidates_stay BEFORE DELETE ON shadow_candidates
    BEGIN SELECT RAISE(ABORT, 'what is known of the shadow is never deleted'); END
    """,
)

_COMPARED = """
    FROM shadow_verdicts AS shadow JOIN advice ON advice.id = shadow.advice_id
    WHERE shadow.digest = ?
      AND NOT EXISTS (SELECT 1 FROM advice AS later WHERE later.supersedes = advice.id)
"""
"""The advice that holds and that a candidate was asked about too."""


@dataclass(frozen=True, slots=True)
class Candidate:
    """The rule set that runs in the shadow, since when, and by whose key."""

    digest: str
    since: datetime
    by: str | None


@dataclass(frozen=True, slots=True)
class ShadowDifference:
    """An advice, and what the candidate would have said; its verdict is None when it failed."""

    advice_id: str
    athlete_id: str
    date: date
    verdict: str
    rule_id: str | None
    shadow_verdict: str | None
    shadow_rule_id: str | None


@dataclass(frozen=True, slots=True)
class Shadow:
    """The candidate of now, and the verdicts of all there were."""

    connection: sqlite3.Connection

    def set(self, digest: str | None, at: datetime, by: str | None) -> None:
        """Let a rule set run in the shadow, in the place of another; None ends it."""
        self.connection.execute(
            "INSERT INTO shadow_candidates (digest, at, by) VALUES (?, ?, ?)",
            (digest, utc_text(at), by),
        )

    def candidate(self) -> Candidate | None:
        """The rule set that runs in the shadow now; None if none does."""
        row = self.connection.execute(
            "SELECT digest, at, by FROM shadow_candidates ORDER BY position DESC LIMIT 1"
        ).fetchone()
        return Candidate(row[0], utc_time(row[1]), row[2]) if row and row[0] else None

    def add(self, advice_id: str, digest: str, verdict: str | None, rule_id: str | None) -> None:
        """Keep what a candidate would have said; a verdict of None says that it failed."""
        self.connection.execute(
            "INSERT INTO shadow_verdicts (advice_id, digest, verdict, rule_id) VALUES (?, ?, ?, ?)",
            (advice_id, digest, verdict, rule_id),
        )

    def counts(self, digest: str) -> list[tuple[str, str | None, int]]:
        """Verdict given, the candidate's verdict (None: it failed), and on how many mornings."""
        return self.connection.execute(
            f"""
            SELECT advice.verdict, shadow.verdict, count(*) {_COMPARED}
            GROUP BY 1, 2 ORDER BY 3 DESC, 1, 2
            """,
            (digest,),
        ).fetchall()

    def differences(self, digest: str, limit: int) -> list[ShadowDifference]:
        """The newest mornings on which a candidate would have said otherwise, or failed."""
        rows = self.connection.execute(
            f"""
            SELECT advice.id, advice.athlete_id, advice.date, advice.verdict, advice.rule_id,
                   shadow.verdict, shadow.rule_id {_COMPARED}
              AND shadow.verdict IS NOT advice.verdict
            ORDER BY advice.date DESC, advice.position DESC LIMIT ?
            """,
            (digest, limit),
        )
        return [_difference(row) for row in rows]


def _difference(row: Sequence[str]) -> ShadowDifference:
    advice_id, athlete_id, day, *rest = row
    return ShadowDifference(advice_id, athlete_id, date.fromisoformat(day), *rest)
