"""Which replays were asked for, how far have they come, and what did they find?

A replay goes forward through dates in steps, and each step's result is a row of its own, so that
what is done stays done. All can be had again from the ledger: when a person is erased, every
replay goes, because any may name them; and only the newest are kept.
"""

from __future__ import annotations

import sqlite3
from dataclasses import dataclass
from datetime import date, datetime
from enum import StrEnum

from dawnrule.store.values import utc_text, utc_time

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
    SELECT id, rule_set, rule_set_digest, first_date, last_date, state, problem, mornings,
           (SELECT coalesce(sum(mornings), 0) FROM replay_steps WHERE replay_id = id),
           (SELECT max(last_date) FROM replay_steps WHERE replay_id = id),
           asked_at, changed_at, asked_by
    FROM replays
"""


class ReplayState(StrEnum):
    """Where a replay stands. One that is stopped or failed can be asked for again, and goes on
    from where it was; so can one that says it is running when whoever ran it is gone."""

    WAITING = "waiting"
    RUNNING = "running"
    STOPPED = "stopped"
    FAILED = "failed"
    DONE = "done"


@dataclass(frozen=True, slots=True)
class StoredReplay:
    """A replay that was asked for; ``rule_set`` is its name@version.

    ``first`` and ``last`` are the dates asked for, None for no limit; ``mornings`` how many there
    are between them, None until they have been counted; ``done_through`` the last date that is
    done. ``problem`` says why it failed; ``asked_by`` is the id of a key.
    """

    id: str
    rule_set: str
    rule_set_digest: str
    first: date | None
    last: date | None
    state: ReplayState
    problem: str | None
    mornings: int | None
    mornings_done: int
    done_through: date | None
    asked_at: datetime
    changed_at: datetime
    asked_by: str | None


@dataclass(frozen=True, slots=True)
class ReplayStep:
    """The mornings of some dates, and what was found on them, as JSON text."""

    first: date
    last: date
    mornings: int
    result: str


@dataclass(frozen=True, slots=True)
class Replays:
    """Replays by id, the newest first."""

    connection: sqlite3.Connection

    def add(
        self,
        replay_id: str,
        rule_set: str,
        rule_set_digest: str,
        first: date | None,
        last: date | None,
        at: datetime,
        asked_by: str | None,
    ) -> None:
        """Ask for a replay; it waits to be taken. The oldest make room."""
        self.connection.execute(
            """
            INSERT INTO replays (id, rule_set, rule_set_digest, first_date, last_date, state,
                                 asked_at, changed_at, asked_by)
            VALUES (:id, :rule_set, :digest, :first, :last, :waiting, :at, :at, :by)
            """,
            {
                "id": replay_id,
                "rule_set": rule_set,
                "digest": rule_set_digest,
                "first": _text(first),
                "last": _text(last),
                "waiting": ReplayState.WAITING,
                "at": utc_text(at),
                "by": asked_by,
            },
        )
        self.connection.execute(
            """
            DELETE FROM replays
            WHERE rowid IN (SELECT rowid FROM replays ORDER BY rowid DESC LIMIT -1 OFFSET ?)
            """,
            (KEPT_AT_MOST,),
        )

    def get(self, replay_id: str) -> StoredReplay | None:
        """The replay; None if there is none of this id."""
        row = self.connection.execute(f"{_SELECT} WHERE id = ?", (replay_id,)).fetchone()
        return _replay(*row) if row else None

    def newest(self) -> list[StoredReplay]:
        """All that are kept, the newest first."""
        rows = self.connection.execute(f"{_SELECT} ORDER BY rowid DESC")
        return [_replay(*row) for row in rows]

    def unfinished(
        self, rule_set_digest: str, first: date | None, last: date | None
    ) -> StoredReplay | None:
        """The newest replay by this rule set of just these dates that is not done."""
        row = self.connection.execute(
            f"""
            {_SELECT}
            WHERE rule_set_digest = ? AND first_date IS ? AND last_date IS ? AND state <> ?
            ORDER BY rowid DESC LIMIT 1
            """,
            (rule_set_digest, _text(first), _text(last), ReplayState.DONE),
        ).fetchone()
        return _replay(*row) if row else None

    def ask_again(self, replay_id: str, at: datetime) -> bool:
        """Let a replay wait to be taken once more; False if it is done, or not there."""
        return self._changed(
            "UPDATE replays SET (state, problem, changed_at) = (?, NULL, ?) "
            "WHERE id = ? AND state <> ?",
            (ReplayState.WAITING, utc_text(at), replay_id, ReplayState.DONE),
        )

    def take(self, replay_id: str, at: datetime) -> int | None:
        """Start to run a replay that waits: the number of this run; None if it does not wait.

        Whoever ran it before cannot add to it any more.
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
        """Whether a run goes on."""
        row = self.connection.execute(
            "SELECT 1 FROM replays WHERE id = ? AND run = ? AND state = ?",
            (replay_id, run, ReplayState.RUNNING),
        ).fetchone()
        return row is not None

    def count(self, replay_id: str, run: int, mornings: int) -> bool:
        """Say how many mornings there are in all; False if this run is over."""
        return self._changed(
            "UPDATE replays SET mornings = ? WHERE id = ? AND run = ? AND state = ?",
            (mornings, replay_id, run, ReplayState.RUNNING),
        )

    def add_step(self, replay_id: str, run: int, step: ReplayStep, at: datetime) -> bool:
        """Keep the result of a step; False, and nothing is kept, if this run is over."""
        going_on = self._changed(
            "UPDATE replays SET changed_at = ? WHERE id = ? AND run = ? AND state = ?",
            (utc_text(at), replay_id, run, ReplayState.RUNNING),
        )
        if going_on:
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
        return going_on

    def results(self, replay_id: str) -> list[str]:
        """What each step found, as JSON text, in the order of dates."""
        rows = self.connection.execute(
            "SELECT result FROM replay_steps WHERE replay_id = ? ORDER BY first_date",
            (replay_id,),
        )
        return [result for (result,) in rows]

    def stop(self, replay_id: str, at: datetime) -> bool:
        """Stop a replay that waits or runs; False if it does neither."""
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
        """Say how a run ended; False if it was over before."""
        return self._changed(
            "UPDATE replays SET (state, problem, changed_at) = (?, ?, ?) "
            "WHERE id = ? AND run = ? AND state = ?",
            (state, problem, utc_text(at), replay_id, run, ReplayState.RUNNING),
        )

    def _changed(self, statement: str, values: tuple[object, ...]) -> bool:
        return self.connection.execute(statement, values).rowcount == 1


def _text(day: date | None) -> str | None:
    return day.isoformat() if day else None


def _date(text: str | None) -> date | None:
    return date.fromisoformat(text) if text else None


def _replay(
    replay_id: str,
    rule_set: str,
    rule_set_digest: str,
    first: str | None,
    last: str | None,
    state: str,
    problem: str | None,
    mornings: int | None,
    mornings_done: int,
    done_through: str | None,
    asked_at: str,
    changed_at: str,
    asked_by: str | None,
) -> StoredReplay:
    return StoredReplay(
        replay_id,
        rule_set,
        rule_set_digest,
        _date(first),
        _date(last),
        ReplayState(state),
        problem,
        mornings,
        mornings_done,
        _date(done_through),
        utc_time(asked_at),
        utc_time(changed_at),
        asked_by,
    )
