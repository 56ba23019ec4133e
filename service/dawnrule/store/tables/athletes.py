"""Who trains?"""

from __future__ import annotations

import sqlite3
from dataclasses import dataclass
from datetime import date

from dawnrule.model.entities import Athlete

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

_SELECT = "SELECT id, name, time_zone, date_of_birth, training_status, language FROM athletes"


@dataclass(frozen=True, slots=True)
class Athletes:
    """The squad, by id."""

    connection: sqlite3.Connection

    def put(self, athlete: Athlete) -> bool:
        """Create the athlete, or replace what is known of them; True if created."""
        row = _row(athlete)
        created = self.connection.execute(
            """
            INSERT INTO athletes (id, name, time_zone, date_of_birth, training_status, language)
            VALUES (:id, :name, :time_zone, :date_of_birth, :training_status, :language)
            ON CONFLICT (id) DO NOTHING
            """,
            row,
        )
        if created.rowcount:
            return True
        self.connection.execute(
            """
            UPDATE athletes
            SET (name, time_zone, date_of_birth, training_status, language)
                = (:name, :time_zone, :date_of_birth, :training_status, :language)
            WHERE id = :id
            """,
            row,
        )
        return False

    def get(self, athlete_id: str) -> Athlete | None:
        """The athlete; None if there is none of this id."""
        row = self.connection.execute(f"{_SELECT} WHERE id = ?", (athlete_id,)).fetchone()
        return _athlete(row) if row else None

    def all(self) -> list[Athlete]:
        """Everybody, in the order of their ids."""
        return [_athlete(row) for row in self.connection.execute(f"{_SELECT} ORDER BY id")]

    def delete(self, athlete_id: str) -> dict[str, int]:
        """Erase a person and all that is known of them; how many rows went, by table."""
        cursor = self.connection.execute(
            """
            SELECT (SELECT count(*) FROM athletes WHERE id = :id) AS athletes,
                   (SELECT count(*) FROM check_ins WHERE athlete_id = :id) AS check_ins,
                   (SELECT count(*) FROM advice WHERE athlete_id = :id) AS advice,
                   (SELECT count(*) FROM shadow_verdicts JOIN advice ON advice.id = advice_id
                    WHERE athlete_id = :id) AS shadow_verdicts,
                   (SELECT count(*) FROM replays
                    WHERE EXISTS (SELECT 1 FROM athletes WHERE id = :id)) AS replays,
                   (SELECT count(*) FROM sessions WHERE athlete_id = :id) AS sessions,
                   (SELECT count(*) FROM keys WHERE athlete_id = :id) AS keys,
                   (SELECT count(*) FROM private_addresses WHERE athlete_id = :id)
                       AS private_addresses,
                   (SELECT count(*) FROM plans WHERE athlete_id = :id) AS plans,
                   (SELECT count(*) FROM activations WHERE athlete_id = :id) AS activations
            """,
            {"id": athlete_id},
        )
        tables = [column[0] for column in cursor.description]
        removed = dict(zip(tables, cursor.fetchone(), strict=True))
        self.connection.execute("DELETE FROM athletes WHERE id = ?", (athlete_id,))
        return removed


def _row(athlete: Athlete) -> dict[str, str | None]:
    born = athlete.date_of_birth
    return {
        "id": athlete.id,
        "name": athlete.name,
        "time_zone": athlete.time_zone,
        "date_of_birth": born.isoformat() if born else None,
        "training_status": athlete.training_status,
        "language": athlete.language,
    }


def _athlete(row: tuple[str, str, str, str | None, str | None, str | None]) -> Athlete:
    athlete_id, name, time_zone, born, status, language = row
    born_on = date.fromisoformat(born) if born else None
    return Athlete(athlete_id, name, time_zone, born_on, status, language)
