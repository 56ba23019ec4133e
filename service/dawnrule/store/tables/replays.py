"""Replays: requests, progress and results.

A replay goes through dates in steps, and each step's result is a row of its own, so that finished
work is kept. Replays can be computed again from the ledger: all are deleted when a person is
erased, because any may name them, and only the newest are kept.
"""

from __future__ import annotations

import sqlite3
from dataclasses import dataclass
from datetime import date, datetime
from enum import StrEnum

from dawnrule.store.values import columns, structure, utc_text

SCHEMA = (
    """
    CREATE TABLE replays (
        id TEXT NOT NULL UNIQUE,
        rule_set TEXT NOT NULL,
        rule_set_digest TEXT NOT NULL,
        first_date TEXT CHECK (length(first_date) = 10),
        last_date TEXT CHECK (length(last_date) = 10),
        state TEXT NOT NULL,
        run INTEGER NOT NULL DEFAULT 0,
        problem TEXT,
        mornings INTEGER,
        asked_at TEXT NOT NULL,
        changed_at TEXT NOT NULL,
        asked_by TEXT
    ) STRICT
    """,
    """
    CREATE TABLE replay_steps (
        replay_id TEXT NOT NULL REFERENCES replays (id) ON DELETE CASCADE,
        first_date TEXT NOT NULL CHECK (length(first_date) = 10),
        last_date TEXT NOT NULL CHECK (length(last_date) = 10),
        mornings INTEGER NOT NULL,
        result TEXT NOT NULL,
        PRIMARY KEY (replay_id, first_date)
    ) STRICT, WITHOUT ROWID
    """,
    """
    CREATE TRIGGER replays_leave_with_any_athlete AFTER DELETE ON athletes
    BEGIN DELETE FROM replays; END
    """,
)

KEPT_AT_MOST = 100

_SELECT = """
    SELECT id, rule_set, rule_set_digest, first_date, last_date, asked_at, changed_at, asked_by,
           state, problem, mornings,
           (SELECT coalesce(sum(mornings), 0) FROM replay_steps WHERE replay_id = id),
           (SELECT max(last_date) FROM replay_steps WHERE replay_id = id)
    FROM replays
"""


class ReplayState(StrEnum):
    """The state of a replay. A stopped or failed one can be resumed where it was; so can one that
    says it is running after its process has died."""

    WAITING = "waiting"
    RUNNING = "running"
    STOPPED = "stopped"
    FAILED = "failed"
    DONE = "done"


@dataclass(frozen=True, slots=True)
class StoredReplay:
    """A requested replay; ``rule_set`` is name@version.

    ``first`` and ``last`` limit the dates, None for no limit; ``mornings`` is the number of
    mornings between them, None until counted; ``done_through`` is the last date that is done.
    ``problem`` says why it failed; ``asked_by`` is the id of a key.
    """

    id: str
    rule_set: str
    rule_set_digest: str
    first: date | None
    last: date | None
    asked_at: datetime
    changed_at: datetime
    asked_by: str | None = None
    state: ReplayState = ReplayState.WAITING
    problem: str | None = None
    mornings: int | None = None
    mornings_done: int = 0
    done_through: date | None = None


@dataclass(frozen=True, slots=True)
class ReplayStep:
    """The result of a replay for some dates, as JSON text."""

    first: date
    last: date
    mornings: int
    result: str


@dataclass(frozen=True, slots=True)
class Replays:
    """Replays by id, the newest first."""

    connection: sqlite3.Connection

    def add(self, replay: StoredReplay) -> None:
        """Store a new replay; all but the newest ``KEPT_AT_MOST`` are deleted."""
        self.connection.execute(
            """
            INSERT INTO replays (id, rule_set, rule_set_digest, first_date, last_date, state,
                                 asked_at, changed_at, asked_by)
            VALUES (:id, :rule_set, :rule_set_digest, :first, :last, :state, :asked_at, :changed_at,
                    :asked_by)
            """,
            columns(replay),
        )
        self.connection.execute(
            """
            DELETE FROM replays
            WHERE rowid IN (SELECT rowid FROM replays ORDER BY rowid DESC LIMIT -1 OFFSET ?)
            """,
            (KEPT_AT_MOST,),
        )

    def get(self, replay_id: str) -> StoredReplay | None:
        """Read a replay by id; None if there is none."""
        row = self.connection.execute(f"{_SELECT} WHERE id = ?", (replay_id,)).fetchone()
        return structure(StoredReplay, row) if row else None

    def newest(self) -> list[StoredReplay]:
        """List the replays that are kept, newest first."""
        rows = self.connection.execute(f"{_SELECT} ORDER BY rowid DESC")
        return [structure(StoredReplay, row) for row in rows]

    def unfinished(
        self, rule_set_digest: str, first: date | None, last: date | None
    ) -> StoredReplay | None:
        """Find the newest unfinished replay by this rule set of exactly these dates."""
        row = self.connection.execute(
            f"""
            {_SELECT}
            WHERE rule_set_digest = ? AND first_date IS ? AND last_date IS ? AND state <> ?
            ORDER BY rowid DESC LIMIT 1
            """,
            (rule_set_digest, _text(first), _text(last), ReplayState.DONE),
        ).fetchone()
        return structure(StoredReplay, row) if row else None

    def requeue(self, replay_id: str, at: datetime) -> bool:
        """Queue a replay again; return False if it is done or unknown."""
        return self._changed(
            "UPDATE replays SET (state, problem, changed_at) = (?, NULL, ?) "
            "WHERE id = ? AND state <> ?",
            (ReplayState.WAITING, utc_text(at), replay_id, ReplayState.DONE),
        )

    def take(self, replay_id: str, at: datetime) -> int | None:
        """Start a waiting replay; return the number of this run, or None if it does not wait.

        Earlier runs can no longer add to it.
        """
        row = self.connection.execute(
            """
            UPDATE replays SET (state, run, changed_at) = (?, run + 1, ?)
            WHERE id = ? AND state = ? RETURNING run
            """,
            (ReplayState.RUNNING, utc_text(at), replay_id, ReplayState.WAITING),
        ).fetchone()
        return int(row[0]) if row else None

    def is_running(self, replay_id: str, run: int) -> bool:
        """Whether a run is still the current one."""
        row = self.connection.execute(
            "SELECT 1 FROM replays WHERE id = ? AND run = ? AND state = ?",
            (replay_id, run, ReplayState.RUNNING),
        ).fetchone()
        return row is not None

    def set_total(self, replay_id: str, run: int, mornings: int) -> bool:
        """Store the total number of mornings; return False if this run is over."""
        return self._changed(
            "UPDATE replays SET mornings = ? WHERE id = ? AND run = ? AND state = ?",
            (mornings, replay_id, run, ReplayState.RUNNING),
        )

    def add_step(self, replay_id: str, run: int, step: ReplayStep, at: datetime) -> bool:
        """Store the result of a step; return False, and store nothing, if this run is over."""
        is_current = self._changed(
            "UPDATE replays SET changed_at = ? WHERE id = ? AND run = ? AND state = ?",
            (utc_text(at), replay_id, run, ReplayState.RUNNING),
        )
        if is_current:
            self.connection.execute(
                """
                INSERT INTO replay_steps (replay_id, first_date, last_date, mornings, result)
                VALUES (?, ?, ?, ?, ?)
                """,
                (
                    replay_id,
                    step.first.isoformat(),
                    step.last.isoformat(),
                    step.mornings,
                    step.result,
                ),
            )
        return is_current

    def results(self, replay_id: str) -> list[str]:
        """Read the result of each step, as JSON text, in order of date."""
        rows = self.connection.execute(
            "SELECT result FROM replay_steps WHERE replay_id = ? ORDER BY first_date",
            (replay_id,),
        )
        return [result for (result,) in rows]

    def stop(self, replay_id: str, at: datetime) -> bool:
        """Stop a waiting or running replay; return False if it is neither."""
        return self._changed(
            "UPDATE replays SET (state, changed_at) = (?, ?) WHERE id = ? AND state IN (?, ?)",
            (
                ReplayState.STOPPED,
                utc_text(at),
                replay_id,
                ReplayState.WAITING,
                ReplayState.RUNNING,
            ),
        )

    def end(
        self,
        replay_id: str,
        run: int,
        state: ReplayState,
        at: datetime,
        problem: str | None = None,
    ) -> bool:
        """Store how a run ended; return False if it was over before."""
        return self._changed(
            "UPDATE replays SET (state, problem, changed_at) = (?, ?, ?) "
            "WHERE id = ? AND run = ? AND state = ?",
            (state, problem, utc_text(at), replay_id, run, ReplayState.RUNNING),
        )

    def _changed(self, statement: str, values: tuple[object, ...]) -> bool:
        return self.connection.execute(statement, values).rowcount == 1


def _text(day: date | None) -> str | None:
    return day.isoformat() if day else None
