"""Groups of athletes: a team, beginners, who trains legs first. An athlete may be in several."""

from __future__ import annotations

import sqlite3
from dataclasses import dataclass

SCHEMA = (
    """
    CREATE TABLE groups (
        id TEXT NOT NULL PRIMARY KEY,
        name TEXT NOT NULL
    ) STRICT, WITHOUT ROWID
    """,
    """
    CREATE TABLE group_members (
        group_id TEXT NOT NULL REFERENCES groups (id) ON DELETE CASCADE,
        athlete_id TEXT NOT NULL REFERENCES athletes (id) ON DELETE CASCADE,
        PRIMARY KEY (group_id, athlete_id)
    ) STRICT, WITHOUT ROWID
    """,
    "CREATE INDEX groups_of_athlete ON group_members (athlete_id)",
)


@dataclass(frozen=True, slots=True)
class Group:
    """A group with its members, by id and in the order of their ids."""

    id: str
    name: str
    athletes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Groups:
    """Groups by id."""

    connection: sqlite3.Connection

    def put(self, group: Group) -> None:
        """Create a group, or give it this name and these members. Rows that stay as they are are
        not written again."""
        self.connection.execute(
            """
            INSERT INTO groups (id, name) VALUES (?, ?)
            ON CONFLICT (id) DO UPDATE SET name = excluded.name WHERE name <> excluded.name
            """,
            (group.id, group.name),
        )
        before, now = set(self._members(group.id)), set(group.athletes)
        self.connection.executemany(
            "DELETE FROM group_members WHERE group_id = ? AND athlete_id = ?",
            [(group.id, athlete_id) for athlete_id in sorted(before - now)],
        )
        self.connection.executemany(
            "INSERT INTO group_members (group_id, athlete_id) VALUES (?, ?)",
            [(group.id, athlete_id) for athlete_id in sorted(now - before)],
        )

    def get(self, group_id: str) -> Group | None:
        """Find a group by its id; None if there is none."""
        row = self.connection.execute(
            "SELECT name FROM groups WHERE id = ?", (group_id,)
        ).fetchone()
        return Group(group_id, row[0], self._members(group_id)) if row else None

    def all(self) -> list[Group]:
        """List all groups in order of name."""
        members: dict[str, list[str]] = {}
        rows = self.connection.execute(
            "SELECT group_id, athlete_id FROM group_members ORDER BY group_id, athlete_id"
        )
        for group_id, athlete_id in rows:
            members.setdefault(group_id, []).append(athlete_id)
        named = self.connection.execute("SELECT id, name FROM groups ORDER BY name, id")
        return [Group(group_id, name, tuple(members.get(group_id, ()))) for group_id, name in named]

    def delete(self, group_id: str) -> bool:
        """Delete a group, not its athletes; return False if there is none of this id."""
        deleted = self.connection.execute("DELETE FROM groups WHERE id = ?", (group_id,))
        return deleted.rowcount == 1

    def _members(self, group_id: str) -> tuple[str, ...]:
        rows = self.connection.execute(
            "SELECT athlete_id FROM group_members WHERE group_id = ? ORDER BY athlete_id",
            (group_id,),
        )
        return tuple(athlete_id for (athlete_id,) in rows)
