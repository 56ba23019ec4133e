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
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, time, timedelta
from functools import cache
from hashlib import sha256
from json.encoder import encode_basestring_ascii as json_string
from secrets import token_hex
from typing import Any

from dawnrule.store.tables.ledger import ROWS_WRITTEN, Ledger, record_digest
from dawnrule.store.values import format_ranges, json_text, utc_text

VOUCHED: Mapping[str, tuple[str, ...]] = {
    "activations": ("position",),
    "athletes": ("id",),
    "check_ins": ("id",),
    "concerns": ("id",),
    "group_members": ("group_id", "athlete_id"),
    "groups": ("id",),
    "introduced_sheets": ("id",),
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


def _noting(table: str, key: tuple[str, ...], name: str, event: str, sides: Sequence[str]) -> str:
    notes = "".join(
        f"INSERT INTO rows_touched VALUES ('{table}', {_key_text(key, f'{side}.')});"
        for side in sides
    )
    trigger = f"noted_{name.lower()}_of_{table}"
    return f"CREATE TEMP TRIGGER {trigger} AFTER {event} ON main.{table} BEGIN {notes} END"


def enter_existing(connection: sqlite3.Connection) -> None:
    """Enter all rows of an older database, which may not have all tables yet."""
    rows = VouchedRows(connection)
    there = {name for (name,) in connection.execute("SELECT name FROM sqlite_master")}
    for table, key in VOUCHED.items():
        if table not in there:
            continue
        keys = connection.execute(f"SELECT {_key_text(key)} FROM {table}").fetchall()
        rows.add([(table, key_text) for (key_text,) in keys], {"carried_over": True})


@dataclass(frozen=True, slots=True)
class VouchedRows:
    """What the ledger says of the rows of other tables."""

    connection: sqlite3.Connection
    _known_columns: dict[str, tuple[str, ...]] = field(default_factory=dict)

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
        columns = self._columns(table)
        key = _key_text(VOUCHED[table], f"{table}.")
        cursor = self.connection.execute(
            f"""
            SELECT {key}, number, salt, {_listed(table, columns)} FROM {table}
            LEFT JOIN vouched_rows ON of_table = '{table}' AND key = {key}
            """
        )
        for key_text, number, salt, *values in cursor:
            yield PresentRow(
                table, key_text, number, row_digest(salt or "", table, columns, values)
            )

    def history(self) -> Iterator[HistoryRow]:
        """Read all check-ins and sessions as they stand, those without a number left out."""
        for table, when in (("check_ins", "date"), ("sessions", "starts_at")):
            columns = self._columns(table)
            whose, at = columns.index("athlete_id"), columns.index(when)
            for number, salt, *row in self._with_numbers(table, "TRUE", ()):
                digest = row_digest(salt, table, columns, row)
                yield HistoryRow(table, row[whose], row[at], number, digest)

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
        columns, key = self._columns(table), VOUCHED[table]
        [(number, salt, present, *values)] = self.connection.execute(
            f"""
            SELECT number, salt, {table}.{key[0]} IS NOT NULL, {_listed(table, columns)}
            FROM (SELECT 1) LEFT JOIN vouched_rows ON of_table = ? AND key = ?
            LEFT JOIN {table} ON ({_listed(table, key)}) = ({", ".join("?" * len(key))})
            """,
            (table, key_text, *json.loads(key_text)),
        )
        if present:
            if number is None:
                number, salt = self._numbered(table, key_text)
            return number, table, row_digest(salt, table, columns, values)
        if number is None:
            return None
        self.connection.execute("DELETE FROM vouched_rows WHERE number = ?", (number,))
        return number, table, None

    def _numbered(self, table: str, key_text: str) -> tuple[int, str]:
        salt = token_hex(_SALT_BYTES)
        added = self.connection.execute(
            "INSERT INTO vouched_rows (of_table, key, salt) VALUES (?, ?, ?)",
            (table, key_text, salt),
        )
        assert added.lastrowid is not None, "an INSERT always has one"
        return added.lastrowid, salt

    def _decided_on(self, of: DecidedOn) -> dict[str, Any]:
        rows = sorted(self._read_for(of))
        return {
            "position": of.position,
            "days": [of.check_in_days, of.session_days],
            "rows": format_ranges(number for number, _ in rows),
            "digest": history_digest(digest for _, digest in rows),
        }

    def _read_for(self, of: DecidedOn) -> Iterator[tuple[int, str]]:
        """Read the number and the digest of each row of a history, as it stands."""
        dates, times = windows(of.on, utc_text(of.before), of.check_in_days, of.session_days)
        for table, where, ends in (
            ("check_ins", "date BETWEEN ? AND ?", dates),
            ("sessions", "starts_at >= ? AND starts_at < ?", times),
        ):
            columns = self._columns(table)
            rows = self._with_numbers(table, f"athlete_id = ? AND {where}", (of.athlete_id, *ends))
            for number, salt, *row in rows:
                yield number, row_digest(salt, table, columns, row)

    def _with_numbers(self, table: str, where: str, values: Sequence[str]) -> sqlite3.Cursor:
        """Read number, salt and columns of the rows of a table that have a number."""
        return self.connection.execute(
            f"""
            SELECT number, salt, {_listed(table, self._columns(table))}
            FROM {table} CROSS JOIN vouched_rows
              ON of_table = '{table}' AND key = {_key_text(VOUCHED[table], f"{table}.")}
            WHERE {where}
            """,
            values,
        )

    def _columns(self, table: str) -> tuple[str, ...]:
        """The columns of a table, asked for once: the triggers of this connection note no others,
        and a column that another process adds changes no digest."""
        if table not in self._known_columns:
            self._known_columns[table] = _columns(self.connection, table)
        return self._known_columns[table]


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


def row_digest(salt: str, table: str, columns: Sequence[str], values: Sequence[Any]) -> str:
    """Compute the digest of a row from its columns in the order of their names: that of the text
    which ``json_text([table, row])`` would make, here in a third of the time."""
    row = ",".join(
        [
            f'"{name}":{json_string(value) if value.__class__ is str else json_text(value)}'
            for name, value in zip(columns, values, strict=True)
            if value is not None
        ]
    )
    return record_digest(f'["{table}",{{{row}}}]', salt)


def _now() -> datetime:
    return datetime.now(UTC)


@cache
def _key_text(key: tuple[str, ...], prefix: str = "") -> str:
    return f"json_array({', '.join(prefix + column for column in key)})"


@cache
def _listed(table: str, columns: tuple[str, ...]) -> str:
    return ", ".join(f"{table}.{column}" for column in columns)


def _columns(connection: sqlite3.Connection, table: str) -> tuple[str, ...]:
    """List the columns of a table that are vouched for, whichever this version of it has, in the
    order of their names."""
    rows = connection.execute("SELECT name FROM pragma_table_info(?)", (table,))
    return tuple(sorted({name for (name,) in rows} - LEFT_OUT.get(table, frozenset())))
