"""Rows that the ledger vouches for: each write of one is entered, in the transaction of the write.

What advice hangs on stands in ordinary tables, which whoever has the file can edit. So triggers of
the writer's own connection note each row of ``VOUCHED`` that is written or deleted, by whatever
statement or cascade, and at the end of each job ``VouchedRows.enter`` enters what these rows are
now: one act of the service, ``rows-written``, with ``[number, table, digest]`` of each row, the
digest being None for one that is gone. An audit follows these entries from the first to the last
and so knows what the tables must hold.

A row's digest is the SHA-256 of its salt and its columns that are not NULL, so that a column added
later changes none. Number and salt stand in ``vouched_rows`` and leave with the row: what remains
of an erased one in the ledger is a number that says nothing.

The entry of an advice is followed by what it was decided on: the numbers of the check-ins and
sessions in the time that facts look back, and the digest of their digests as they were read then.
A row that was edited only for a morning, and back, is found by that.

Rows of older databases are entered by the migration, marked ``carried_over``: from its time on
they are vouched for.
"""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from hashlib import sha256
from secrets import token_hex
from typing import Any

from dawnrule.store.tables.ledger import ROWS_WRITTEN, Ledger, record_digest
from dawnrule.store.values import format_ranges, json_text, utc_text

VOUCHED: Mapping[str, tuple[str, ...]] = {
    "activations": ("position",),
    "athletes": ("id",),
    "check_ins": ("id",),
    "concerns": ("id",),
    "keys": ("id",),
    "plans": ("athlete_id", "date"),
    "private_addresses": ("id",),
    "retention": ("position",),
    "rule_sets": ("position",),
    "sessions": ("id",),
    "shadow_candidates": ("position",),
    "shadow_verdicts": ("advice_id",),
}
"""The tables that are vouched for row by row, and their keys. Advice, acts and events of concerns
have entries of their own."""

LEFT_OUT: Mapping[str, frozenset[str]] = {"private_addresses": frozenset({"last_used_on"})}
"""Columns that change without being entered: a use of an address is no act."""

SCHEMA = (
    """
    CREATE TABLE vouched_rows (
        number INTEGER PRIMARY KEY AUTOINCREMENT,
        of_table TEXT NOT NULL,
        key TEXT NOT NULL,
        salt TEXT NOT NULL,
        UNIQUE (of_table, key)
    ) STRICT
    """,
    """
    CREATE TRIGGER vouched_rows_stay_as_they_are BEFORE UPDATE ON vouched_rows
    BEGIN SELECT RAISE(ABORT, 'the number of a row is never changed'); END
    """,
    "DROP INDEX ledger_acts",
    f"""
    CREATE INDEX ledger_acts ON ledger (position)
    WHERE act IS NOT NULL AND act <> '{ROWS_WRITTEN}'
    """,
)

_TOUCHED = "CREATE TEMP TABLE rows_touched (of_table TEXT, key TEXT)"
_SALT_BYTES = 16
_ENTERED_TOGETHER = 1_000


@dataclass(frozen=True, slots=True)
class DecidedOn:
    """The history that an advice was decided on: that of an athlete before a time (aware) on a
    date, as far back as these numbers of days. ``position`` is that of the advice's entry."""

    position: int
    athlete_id: str
    on: date
    before: datetime
    check_in_days: int
    session_days: int


@dataclass(frozen=True, slots=True)
class PresentRow:
    """A vouched row as it stands in its table; ``number`` is None where it has none."""

    table: str
    key: str
    number: int | None
    digest: str


@dataclass(frozen=True, slots=True)
class HistoryRow:
    """A check-in or session as it stands: ``when`` is its date, or its start as UTC text."""

    table: str
    athlete_id: str
    when: str
    number: int
    digest: str


def note_writes(connection: sqlite3.Connection) -> None:
    """Note from now on which vouched rows this connection writes. The notes are its own: nothing of
    them stands in the file."""
    connection.execute("PRAGMA temp_store = MEMORY")
    connection.execute(_TOUCHED)
    for table, key in VOUCHED.items():
        written = ", ".join(_columns(connection, table))
        for event, sides in (("INSERT", ("NEW",)), ("DELETE", ("OLD",))):
            connection.execute(_noting(table, key, event, event, sides))
        update = f"UPDATE OF {written}"
        connection.execute(_noting(table, key, "UPDATE", update, ("OLD", "NEW")))


def _noting(table: str, key: Sequence[str], name: str, event: str, sides: Sequence[str]) -> str:
    notes = "".join(
        f"INSERT INTO rows_touched VALUES ('{table}', {_key_text(key, f'{side}.')});"
        for side in sides
    )
    trigger = f"noted_{name.lower()}_of_{table}"
    return f"CREATE TEMP TRIGGER {trigger} AFTER {event} ON main.{table} BEGIN {notes} END"


def enter_existing(connection: sqlite3.Connection) -> None:
    """Enter all rows of an older database."""
    rows = VouchedRows(connection)
    for table, key in VOUCHED.items():
        keys = connection.execute(f"SELECT {_key_text(key)} FROM {table}").fetchall()
        rows.add([(table, key_text) for (key_text,) in keys], {"carried_over": True})


@dataclass(frozen=True, slots=True)
class VouchedRows:
    """What the ledger says of the rows of other tables."""

    connection: sqlite3.Connection

    def enter(self, decided_on: DecidedOn | None = None) -> None:
        """Enter the rows that were written since the last time, and what an advice was decided
        on."""
        noted = "SELECT DISTINCT of_table, key FROM rows_touched"
        touched = self.connection.execute(noted).fetchall()
        if touched:
            self.connection.execute("DELETE FROM rows_touched")
        if touched or decided_on:
            self.add(touched, {}, decided_on)

    def add(
        self,
        touched: Sequence[tuple[str, str]],
        more: Mapping[str, Any],
        decided_on: DecidedOn | None = None,
    ) -> None:
        """Enter what rows are now, by table and key."""
        rows = [state for one in touched if (state := self._state(*one)) is not None]
        if decided_on is not None:
            more = {**more, "decided_on": self._decided_on(decided_on)}
        elif not rows:
            return
        while len(rows) > _ENTERED_TOGETHER:
            self._add_entry({"rows": rows[:_ENTERED_TOGETHER]})
            rows = rows[_ENTERED_TOGETHER:]
        self._add_entry({"rows": rows, **more})

    def present(self, table: str) -> Iterator[PresentRow]:
        """Read the rows of a vouched table as they stand."""
        columns = _columns(self.connection, table)
        key = _key_text(VOUCHED[table], f"{table}.")
        named = ", ".join(f"{table}.{column}" for column in columns)
        cursor = self.connection.execute(
            f"""
            SELECT {key}, number, salt, {named} FROM {table}
            LEFT JOIN vouched_rows ON of_table = '{table}' AND key = {key}
            """
        )
        for key_text, number, salt, *values in cursor:
            yield PresentRow(table, key_text, number, _digest(salt or "", table, columns, values))

    def history(self) -> Iterator[HistoryRow]:
        """Read all check-ins and sessions as they stand, those without a number left out."""
        for table, when in (("check_ins", "date"), ("sessions", "starts_at")):
            yield from self._history(table, when, "TRUE", ())

    def table_of(self, number: int) -> tuple[str, str] | None:
        """Find the table and key of a row by its number; None once both are gone."""
        query = "SELECT of_table, key FROM vouched_rows WHERE number = ?"
        row = self.connection.execute(query, (number,)).fetchone()
        return (row[0], row[1]) if row else None

    def without_row(self, known: Iterable[int]) -> list[int]:
        """Find the numbers that belong to no row which is known by one."""
        numbers = {
            number for (number,) in self.connection.execute("SELECT number FROM vouched_rows")
        }
        return sorted(numbers.difference(known))

    def _add_entry(self, body: Mapping[str, Any]) -> None:
        Ledger(self.connection).add_act(ROWS_WRITTEN, {"act": ROWS_WRITTEN, **body}, _now())

    def _state(self, table: str, key_text: str) -> tuple[int, str, str | None] | None:
        """Find what a row is now; None for one that came and went unentered."""
        known = self.connection.execute(
            "SELECT number, salt FROM vouched_rows WHERE of_table = ? AND key = ?",
            (table, key_text),
        ).fetchone()
        columns = _columns(self.connection, table)
        where = " AND ".join(f"{column} = ?" for column in VOUCHED[table])
        values = self.connection.execute(
            f"SELECT {', '.join(columns)} FROM {table} WHERE {where}", json.loads(key_text)
        ).fetchone()
        if values is None:
            if known is None:
                return None
            self.connection.execute("DELETE FROM vouched_rows WHERE number = ?", known[:1])
            return known[0], table, None
        number, salt = known or self._numbered(table, key_text)
        return number, table, _digest(salt, table, columns, values)

    def _numbered(self, table: str, key_text: str) -> tuple[int, str]:
        salt = token_hex(_SALT_BYTES)
        added = self.connection.execute(
            "INSERT INTO vouched_rows (of_table, key, salt) VALUES (?, ?, ?)",
            (table, key_text, salt),
        )
        assert added.lastrowid is not None, "an INSERT always has one"
        return added.lastrowid, salt

    def _decided_on(self, of: DecidedOn) -> dict[str, Any]:
        rows = sorted(self._read_for(of), key=lambda row: row.number)
        return {
            "position": of.position,
            "days": [of.check_in_days, of.session_days],
            "rows": format_ranges(row.number for row in rows),
            "digest": history_digest(row.digest for row in rows),
        }

    def _read_for(self, of: DecidedOn) -> Iterator[HistoryRow]:
        (first, last), (start, end) = windows(
            of.on, utc_text(of.before), of.check_in_days, of.session_days
        )
        dated, started = "date BETWEEN ? AND ?", "starts_at >= ? AND starts_at < ?"
        for table, when, where, ends in (
            ("check_ins", "date", dated, (first, last)),
            ("sessions", "starts_at", started, (start, end)),
        ):
            yield from self._history(
                table, when, f"athlete_id = ? AND {where}", (of.athlete_id, *ends)
            )

    def _history(
        self, table: str, when: str, where: str, values: Sequence[str]
    ) -> Iterator[HistoryRow]:
        columns = _columns(self.connection, table)
        cursor = self.connection.execute(
            f"""
            SELECT athlete_id, {when}, number, salt, {", ".join(f"{table}.{c}" for c in columns)}
            FROM {table} CROSS JOIN vouched_rows
              ON of_table = '{table}' AND key = {_key_text(VOUCHED[table], f"{table}.")}
            WHERE {where}
            """,
            values,
        )
        for athlete_id, at, number, salt, *row in cursor:
            yield HistoryRow(table, athlete_id, at, number, _digest(salt, table, columns, row))


def windows(
    on: date, before: str, check_in_days: int, session_days: int
) -> tuple[tuple[str, str], tuple[str, str]]:
    """The dates of the check-ins, both included, and the starts of the sessions, without the last,
    that a morning is decided on."""
    first = datetime.combine(on - timedelta(session_days), time.min, UTC)
    dates = ((on - timedelta(check_in_days)).isoformat(), on.isoformat())
    return dates, (utc_text(first), before)


def history_digest(digests: Iterable[str]) -> str:
    """Compute the digest of a history from the digests of its rows, in the order of number."""
    return sha256("".join(digests).encode()).hexdigest()


def _now() -> datetime:
    return datetime.now(UTC)


def _digest(salt: str, table: str, columns: Sequence[str], values: Sequence[Any]) -> str:
    row = {name: value for name, value in zip(columns, values, strict=True) if value is not None}
    return record_digest(json_text([table, row]), salt)


def _key_text(key: Sequence[str], prefix: str = "") -> str:
    return f"json_array({', '.join(prefix + column for column in key)})"


def _columns(connection: sqlite3.Connection, table: str) -> list[str]:
    """List the columns of a table that are vouched for, whichever this version of it has."""
    rows = connection.execute("SELECT name FROM pragma_table_info(?)", (table,))
    left_out = LEFT_OUT.get(table, frozenset())
    return [name for (name,) in rows if name not in left_out]
