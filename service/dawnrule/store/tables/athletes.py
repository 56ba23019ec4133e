"""The athletes of the squad."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from dawnrule.model.entities import Athlete
from dawnrule.model.serialization import from_json, to_json
from dawnrule.store.traces import Traces
from dawnrule.store.values import columns, json_text, structure

FIRST_SCHEMA = (
    """
    CREATE TABLE athletes (
        id TEXT NOT NULL PRIMARY KEY,
        name TEXT NOT NULL,
        time_zone TEXT NOT NULL,
        date_of_birth TEXT CHECK (length(date_of_birth) = 10),
        training_status TEXT
    ) STRICT, WITHOUT ROWID
    """,
)

CALENDAR_SCHEMA = ("ALTER TABLE athletes ADD COLUMN calendar TEXT",)
"""JSON of body mass, competitions and phases; NULL where none of them is known."""

_IN_CALENDAR = ("body_mass_kg", "competitions", "phases")

_SELECT = """
    SELECT id, name, time_zone, date_of_birth, training_status, language, calendar FROM athletes
"""


@dataclass(frozen=True, slots=True)
class Athletes:
    """Athletes by id."""

    connection: sqlite3.Connection

    def put(self, athlete: Athlete) -> bool:
        """Create an athlete, or replace their data; return True if created."""
        row = _row(athlete)
        created = self.connection.execute(
            """
            INSERT INTO athletes
                (id, name, time_zone, date_of_birth, training_status, language, calendar)
            VALUES
                (:id, :name, :time_zone, :date_of_birth, :training_status, :language, :calendar)
            ON CONFLICT (id) DO NOTHING
            """,
            row,
        )
        if created.rowcount:
            return True
        self.connection.execute(
            """
            UPDATE athletes
            SET (name, time_zone, date_of_birth, training_status, language, calendar)
                = (:name, :time_zone, :date_of_birth, :training_status, :language, :calendar)
            WHERE id = :id
            """,
            row,
        )
        return False

    def get(self, athlete_id: str) -> Athlete | None:
        """Find an athlete by id; None if there is none."""
        row = self.connection.execute(f"{_SELECT} WHERE id = ?", (athlete_id,)).fetchone()
        return _athlete(row) if row else None

    def id_in_other_capitals(self, athlete_id: str) -> str | None:
        """Find the id of an athlete that differs from this one in capitals only; ids are ASCII."""
        row = self.connection.execute(
            "SELECT id FROM athletes WHERE id = :id COLLATE NOCASE AND id <> :id",
            {"id": athlete_id},
        ).fetchone()
        return str(row[0]) if row else None

    def all(self) -> list[Athlete]:
        """List all athletes in order of id."""
        rows = self.connection.execute(f"{_SELECT} ORDER BY id")
        return [_athlete(row) for row in rows]

    def delete(self, athlete_id: str) -> dict[str, int]:
        """Delete an athlete with all their data; return how many rows went, by table."""
        cursor = self.connection.execute(
            """
            SELECT (SELECT count(*) FROM athletes WHERE id = :id) AS athletes,
                   (SELECT count(*) FROM check_ins WHERE athlete_id = :id) AS check_ins,
                   (SELECT count(*) FROM advice WHERE athlete_id = :id) AS advice,
                   (SELECT count(*) FROM shadow_verdicts JOIN advice ON advice.id = advice_id
                    WHERE athlete_id = :id) AS shadow_verdicts,
                   (SELECT count(*) FROM replays
                    WHERE EXISTS (SELECT 1 FROM athletes WHERE id = :id)) AS replays,
                   (SELECT count(*) FROM concerns WHERE athlete_id = :id) AS concerns,
                   (SELECT count(*) FROM sessions WHERE athlete_id = :id) AS sessions,
                   (SELECT count(*) FROM keys WHERE athlete_id = :id) AS keys,
                   (SELECT count(*) FROM private_addresses WHERE athlete_id = :id)
                       AS private_addresses,
                   (SELECT count(*) FROM group_members WHERE athlete_id = :id) AS group_members,
                   (SELECT count(*) FROM plans WHERE athlete_id = :id) AS plans,
                   (SELECT count(*) FROM activations WHERE athlete_id = :id) AS activations
            """,
            {"id": athlete_id},
        )
        tables = [column[0] for column in cursor.description]
        removed = dict(zip(tables, cursor.fetchone(), strict=True))
        if self.connection.execute("DELETE FROM athletes WHERE id = ?", (athlete_id,)).rowcount:
            Traces(self.connection).note()
        return removed


def _row(athlete: Athlete) -> dict[str, Any]:
    """Convert an athlete to column values; what came later than the columns goes into one."""
    known = {name: value for name, value in to_json(athlete).items() if name in _IN_CALENDAR}
    return {**columns(athlete), "calendar": json_text(known) if known else None}


def _athlete(row: Sequence[Any]) -> Athlete:
    *plain, calendar = row
    athlete = structure(Athlete, plain)
    return from_json(Athlete, {**to_json(athlete), **json.loads(calendar)}) if calendar else athlete
