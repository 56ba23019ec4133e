"""The coach's plans by athlete and date."""

from __future__ import annotations

import json
import sqlite3
from dataclasses import dataclass
from datetime import date, datetime

from dawnrule.model.entities import Block
from dawnrule.model.serialization import from_json, to_json
from dawnrule.store.values import json_text, utc_text, utc_time

SCHEMA = (
    """
    CREATE TABLE plans (
        athlete_id TEXT NOT NULL REFERENCES athletes (id) ON DELETE CASCADE,
        date TEXT NOT NULL CHECK (length(date) = 10),
        plan TEXT NOT NULL,
        posted_at TEXT NOT NULL,
        posted_by TEXT,
        PRIMARY KEY (athlete_id, date)
    ) STRICT, WITHOUT ROWID
    """,
)


@dataclass(frozen=True, slots=True)
class StoredPlan:
    """A coach's plan for one date; no blocks are a day off."""

    athlete_id: str
    date: date
    blocks: tuple[Block, ...]
    posted_at: datetime
    posted_by: str | None


@dataclass(frozen=True, slots=True)
class Plans:
    """Plans by athlete and local date; a new one replaces the one before."""

    connection: sqlite3.Connection

    def put(self, plan: StoredPlan) -> bool:
        """Store a plan, or replace the one of its date; return True if there was none."""
        is_new = self.get(plan.athlete_id, plan.date) is None
        self.connection.execute(
            """
            INSERT INTO plans (athlete_id, date, plan, posted_at, posted_by)
            VALUES (?, ?, ?, ?, ?)
            ON CONFLICT (athlete_id, date) DO UPDATE
            SET (plan, posted_at, posted_by)
                = (excluded.plan, excluded.posted_at, excluded.posted_by)
            """,
            (
                plan.athlete_id,
                plan.date.isoformat(),
                json_text([to_json(block) for block in plan.blocks]),
                utc_text(plan.posted_at),
                plan.posted_by,
            ),
        )
        return is_new

    def get(self, athlete_id: str, date: date) -> StoredPlan | None:
        """Read the plan for a date; None if there is none."""
        row = self.connection.execute(
            "SELECT plan, posted_at, posted_by FROM plans WHERE athlete_id = ? AND date = ?",
            (athlete_id, date.isoformat()),
        ).fetchone()
        if row is None:
            return None
        blocks, posted_at, posted_by = row
        planned = tuple(from_json(Block, block) for block in json.loads(blocks))
        return StoredPlan(athlete_id, date, planned, utc_time(posted_at), posted_by)

    def between(self, first: date, last: date) -> dict[tuple[str, date], tuple[Block, ...]]:
        """Read the blocks that are planned on dates from ``first`` to ``last``, by athlete and
        date."""
        rows = self.connection.execute(
            "SELECT athlete_id, date, plan FROM plans WHERE date BETWEEN ? AND ?",
            (first.isoformat(), last.isoformat()),
        )
        return {
            (athlete_id, date.fromisoformat(on)): tuple(
                from_json(Block, block) for block in json.loads(blocks)
            )
            for athlete_id, on, blocks in rows
        }

    def delete(self, athlete_id: str, date: date) -> bool:
        """Delete the plan for a date; return False if there was none."""
        deleted = self.connection.execute(
            "DELETE FROM plans WHERE athlete_id = ? AND date = ?", (athlete_id, date.isoformat())
        )
        return deleted.rowcount == 1
