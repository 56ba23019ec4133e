"""Shadow runs: the candidate rule set and its verdicts.

Verdicts are kept beside the advice that was given, never in it. Rows are deleted only with their
advice.
"""

from __future__ import annotations

import sqlite3
from dataclasses import dataclass
from datetime import date, datetime

from dawnrule.model import Verdict
from dawnrule.store.values import structure, utc_text

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
"""Source of a comparison: advice that holds and that the candidate decided too."""


@dataclass(frozen=True, slots=True)
class Candidate:
    """The rule set that runs in the shadow, since when, and started with which key."""

    digest: str
    since: datetime
    by: str | None


@dataclass(frozen=True, slots=True)
class ShadowCount:
    """The number of mornings with one verdict given and one of the candidate (None: it failed)."""

    verdict: Verdict
    shadow_verdict: Verdict | None
    count: int


@dataclass(frozen=True, slots=True)
class ShadowDifference:
    """An advice and the candidate's verdict on it, None when the candidate failed."""

    advice_id: str
    athlete_id: str
    date: date
    verdict: Verdict
    rule_id: str | None
    shadow_verdict: Verdict | None
    shadow_rule_id: str | None


@dataclass(frozen=True, slots=True)
class Shadow:
    """The current candidate, and the verdicts of all candidates."""

    connection: sqlite3.Connection

    def set(self, digest: str | None, at: datetime, by: str | None) -> None:
        """Run a rule set in the shadow instead of the present one; None ends the run."""
        self.connection.execute(
            "INSERT INTO shadow_candidates (digest, at, by) VALUES (?, ?, ?)",
            (digest, utc_text(at), by),
        )

    def candidate(self) -> Candidate | None:
        """Read the current candidate; None if none runs."""
        row = self.connection.execute(
            "SELECT digest, at, by FROM shadow_candidates ORDER BY position DESC LIMIT 1"
        ).fetchone()
        return structure(Candidate, row) if row and row[0] else None

    def add(self, advice_id: str, digest: str, verdict: str | None, rule_id: str | None) -> None:
        """Store a candidate's verdict on an advice; None means that it failed."""
        self.connection.execute(
            "INSERT INTO shadow_verdicts (advice_id, digest, verdict, rule_id) VALUES (?, ?, ?, ?)",
            (advice_id, digest, verdict, rule_id),
        )

    def counts(self, digest: str) -> list[ShadowCount]:
        """Count mornings by verdict given and verdict of the candidate."""
        rows = self.connection.execute(
            f"""
            SELECT advice.verdict, shadow.verdict, count(*) {_COMPARED}
            GROUP BY 1, 2 ORDER BY 3 DESC, 1, 2
            """,
            (digest,),
        )
        return [structure(ShadowCount, row) for row in rows]

    def differences(self, digest: str, limit: int) -> list[ShadowDifference]:
        """List the newest mornings on which a candidate differed or failed."""
        rows = self.connection.execute(
            f"""
            SELECT advice.id, advice.athlete_id, advice.date, advice.verdict, advice.rule_id,
                   shadow.verdict, shadow.rule_id {_COMPARED}
              AND shadow.verdict IS NOT advice.verdict
            ORDER BY advice.date DESC, advice.position DESC LIMIT ?
            """,
            (digest, limit),
        )
        return [structure(ShadowDifference, row) for row in rows]
