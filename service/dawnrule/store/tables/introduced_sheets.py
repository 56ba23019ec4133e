"""Introduced sheets: what somebody said that the columns of a sheet mean, by its headers.

Nothing of what stands under the headers is kept. How a sheet is read hangs on these rows, so they
are vouched for.
"""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from hashlib import sha256

from dawnrule.store.values import json_text, utc_text, utc_time

SCHEMA = (
    """
    CREATE TABLE introduced_sheets (
        id TEXT NOT NULL PRIMARY KEY,
        layout TEXT NOT NULL CHECK (layout IN ('check-ins', 'sessions')),
        meanings TEXT NOT NULL,
        introduced_at TEXT NOT NULL,
        introduced_by TEXT
    ) STRICT, WITHOUT ROWID
    """,
)

_ID_CHARACTERS = 16


@dataclass(frozen=True, slots=True)
class IntroducedSheet:
    """A sheet's headers, as they are compared, with their meanings; ``layout`` is what its rows
    are: check-ins or sessions. ``introduced_by`` is the id of a key."""

    layout: str
    meanings: Mapping[str, str]
    introduced_at: datetime
    introduced_by: str | None

    @property
    def id(self) -> str:
        """Return its id, which its headers give."""
        return id_of(self.layout, [*self.meanings])


def id_of(layout: str, headers: Sequence[str]) -> str:
    """Return the id of a sheet with these headers, in whatever order they stand."""
    named = json_text([layout, sorted(header for header in headers if header)])
    return sha256(named.encode()).hexdigest()[:_ID_CHARACTERS]


@dataclass(frozen=True, slots=True)
class IntroducedSheets:
    """Introduced sheets by id."""

    connection: sqlite3.Connection

    def put(self, sheet: IntroducedSheet) -> None:
        """Store a sheet, or replace what was said of one with the same headers."""
        self.connection.execute(
            """
            INSERT INTO introduced_sheets (id, layout, meanings, introduced_at, introduced_by)
            VALUES (?, ?, ?, ?, ?)
            ON CONFLICT (id) DO UPDATE
            SET (meanings, introduced_at, introduced_by)
                = (excluded.meanings, excluded.introduced_at, excluded.introduced_by)
            """,
            (
                sheet.id,
                sheet.layout,
                json_text(dict(sheet.meanings)),
                utc_text(sheet.introduced_at),
                sheet.introduced_by,
            ),
        )

    def get(self, sheet_id: str) -> IntroducedSheet | None:
        """Find a sheet by its id; None if there is none."""
        return next((one for one in self.all() if one.id == sheet_id), None)

    def all(self) -> list[IntroducedSheet]:
        """List all sheets in the order in which they were introduced."""
        rows = self.connection.execute(
            """
            SELECT layout, meanings, introduced_at, introduced_by FROM introduced_sheets
            ORDER BY introduced_at, id
            """
        )
        return [
            IntroducedSheet(layout, json.loads(meanings), utc_time(at), by)
            for layout, meanings, at, by in rows
        ]

    def delete(self, sheet_id: str) -> bool:
        """Forget a sheet; return False if there is none of this id."""
        gone = self.connection.execute("DELETE FROM introduced_sheets WHERE id = ?", (sheet_id,))
        return gone.rowcount == 1
