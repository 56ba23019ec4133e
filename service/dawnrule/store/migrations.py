"""Migrations of the database schema, in order.

A released migration never changes: later needs get a later function at the end of ``MIGRATIONS``.
All that a file lacks are applied in one transaction, or none. A new file gets the outcome of all.
"""

from __future__ import annotations

import sqlite3
import time
from collections.abc import Callable, Sequence
from datetime import UTC, datetime

from dawnrule.errors import StoreUnusable
from dawnrule.store.new_database import create_tables
from dawnrule.store.tables import (
    advice,
    athletes,
    check_ins,
    concerns,
    groups,
    introduced_sheets,
    keys,
    ledger,
    personal_data,
    plans,
    private_addresses,
    replays,
    rule_sets,
    secrets,
    sessions,
    shadow,
    sign_ins,
    vouched_rows,
)

Migration = Callable[[sqlite3.Connection], None]

_SET_NAME = "dawnrule"
_APPLIED = "_sqlite_migrations"
"""The table in which sqlite-utils keeps which migrations a file has."""

_SECONDS_BETWEEN_TRIES = 0.01


def m001_first_tables(db: sqlite3.Connection) -> None:
    """Create athletes, check-ins, advice, sessions and keys; the SQL is beside the queries."""
    for table in (athletes, check_ins, advice, sessions, keys):
        for statement in table.FIRST_SCHEMA:
            db.execute(statement)


def m002_replays(db: sqlite3.Connection) -> None:
    """Create replays and their steps."""
    for statement in replays.SCHEMA:
        db.execute(statement)


def m003_published_rule_sets(db: sqlite3.Connection) -> None:
    """Create published rule sets, activations and shadow runs."""
    for table in (rule_sets, shadow):
        for statement in table.SCHEMA:
            db.execute(statement)


def m004_ledger(db: sqlite3.Connection) -> None:
    """Create the ledger, with entries for the advice given before, and retention."""
    for table in (ledger, personal_data):
        for statement in table.SCHEMA:
            db.execute(statement)
    ledger.chain_existing_advice(db)


def m005_private_addresses(db: sqlite3.Connection) -> None:
    """Create private addresses, plans, secrets, and the language of an athlete."""
    for table in (private_addresses, plans, secrets):
        for statement in table.SCHEMA:
            db.execute(statement)
    db.execute("ALTER TABLE athletes ADD COLUMN language TEXT")


def m006_sign_ins(db: sqlite3.Connection) -> None:
    """Create sign-ins to the coach's pages."""
    for statement in sign_ins.SCHEMA:
        db.execute(statement)


def m007_calendars(db: sqlite3.Connection) -> None:
    """Keep an athlete's body mass, competitions and phases."""
    for statement in athletes.CALENDAR_SCHEMA:
        db.execute(statement)


def m008_concerns(db: sqlite3.Connection) -> None:
    """Create concerns, opened from the check-ins that are stored, and let keys be a clinician's."""
    for statement in (*keys.REBUILT_WITH_CLINICIANS, *concerns.SCHEMA):
        db.execute(statement)
    concerns.open_stored(db)


def m009_vouched_rows(db: sqlite3.Connection) -> None:
    """Vouch for the rows of other tables, those that are stored being entered as they are."""
    for statement in vouched_rows.SCHEMA:
        db.execute(statement)
    vouched_rows.enter_existing(db)


def m010_groups(db: sqlite3.Connection) -> None:
    """Create groups of athletes and their members."""
    for statement in groups.SCHEMA:
        db.execute(statement)


def m011_introduced_sheets(db: sqlite3.Connection) -> None:
    """Create the sheets that were introduced."""
    for statement in introduced_sheets.SCHEMA:
        db.execute(statement)


MIGRATIONS: tuple[Migration, ...] = (
    m001_first_tables,
    m002_replays,
    m003_published_rule_sets,
    m004_ledger,
    m005_private_addresses,
    m006_sign_ins,
    m007_calendars,
    m008_concerns,
    m009_vouched_rows,
    m010_groups,
    m011_introduced_sheets,
)


def migrate(
    connection: sqlite3.Connection,
    busy_timeout_seconds: float,
    steps: Sequence[Migration] = MIGRATIONS,
) -> None:
    """Bring a new or older database up to date. Raises ``StoreUnusable`` for one that is newer or
    not a Dawnrule database."""
    applied = _applied_to_ours(connection, steps)
    _use_write_ahead_log(connection, busy_timeout_seconds)
    if not _pending(applied, steps):
        return
    connection.execute("BEGIN IMMEDIATE")
    try:
        if steps is MIGRATIONS and not _table_names(connection):
            _create(connection)
        else:
            apply(connection, steps)
        connection.commit()
    finally:
        connection.rollback()


def is_up_to_date(connection: sqlite3.Connection) -> bool:
    """Whether a database has all tables of this version; nothing is changed. Raises
    ``StoreUnusable`` for one that is newer or not a Dawnrule database."""
    return not _pending(_applied_to_ours(connection, MIGRATIONS), MIGRATIONS)


def _table_names(connection: sqlite3.Connection) -> set[str]:
    found = connection.execute("SELECT name FROM sqlite_master WHERE type = 'table'")
    return {name for (name,) in found}


def _applied_to_ours(connection: sqlite3.Connection, steps: Sequence[Migration]) -> tuple[str, ...]:
    """Return what a file has of the migrations. Raises ``StoreUnusable`` for one that is newer or
    not a Dawnrule database."""
    tables = _table_names(connection) - {_APPLIED}  # before: another process may set it up now
    applied = _applied(connection)
    _refuse_newer(applied, steps)
    if tables and not applied:
        raise StoreUnusable(
            f"The database is not one of Dawnrule's: it has the table {min(tables)}. "
            "Use another file."
        )
    return applied


def _applied(connection: sqlite3.Connection) -> tuple[str, ...]:
    """Return the names of the migrations that a file has, in their order."""
    if _APPLIED not in _table_names(connection):
        return ()
    found = connection.execute(
        f"SELECT name FROM {_APPLIED} WHERE migration_set = ? ORDER BY rowid", (_SET_NAME,)
    )
    return tuple(name for (name,) in found)


def _pending(applied: Sequence[str], steps: Sequence[Migration]) -> list[Migration]:
    return [step for step in steps if step.__name__ not in applied]


def _create(connection: sqlite3.Connection) -> None:
    """Make the tables of a new database, and note that it has all migrations."""
    create_tables(connection)
    at = str(datetime.now(UTC))
    connection.executemany(
        f"INSERT INTO {_APPLIED} (migration_set, name, applied_at) VALUES (?, ?, ?)",
        [(_SET_NAME, step.__name__, at) for step in MIGRATIONS],
    )


def apply(connection: sqlite3.Connection, steps: Sequence[Migration] = MIGRATIONS) -> None:
    """Apply what is pending now that nobody else writes; another process may have been first."""
    # not at the head: sqlite-utils takes as long to import as flask, and twice that more with the
    # pandas that it imports where there is one; most files are new or up to date
    from sqlite_utils import Database
    from sqlite_utils.migrations import Migrations

    migrations = Migrations(_SET_NAME)
    for step in steps:
        migrations(name=step.__name__)(lambda db, step=step: step(db.conn))
    migrations.apply(Database(connection, execute_plugins=False))


def _refuse_newer(applied: Sequence[str], steps: Sequence[Migration]) -> None:
    known = {step.__name__ for step in steps}
    unknown = [name for name in applied if name not in known]
    if unknown:
        raise StoreUnusable(
            "The database was written by a newer version of Dawnrule; this one does not know "
            f"its {', '.join(unknown)}. Install the newer version, or use another file."
        )


def _use_write_ahead_log(connection: sqlite3.Connection, busy_timeout_seconds: float) -> None:
    """Switch the file to write-ahead logging, for good; a restored back-up has none yet. SQLite
    does not wait here when two processes open a new file at once, so this waits itself."""
    give_up_at = time.monotonic() + busy_timeout_seconds
    while True:
        try:
            connection.execute("PRAGMA journal_mode = WAL")
            return
        except sqlite3.OperationalError:
            if time.monotonic() > give_up_at:
                raise
            time.sleep(_SECONDS_BETWEEN_TRIES)
