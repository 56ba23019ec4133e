"""Migrations of the database schema, in order.

A released migration never changes: later needs get a later function at the end of ``MIGRATIONS``.
All that a file lacks are applied in one transaction, or none.
"""

from __future__ import annotations

import sqlite3
import time
from collections.abc import Callable, Sequence

from sqlite_utils import Database
from sqlite_utils.migrations import Migrations

from dawnrule.errors import StoreUnusable
from dawnrule.store.tables import (
    advice,
    athletes,
    check_ins,
    concerns,
    groups,
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

Migration = Callable[[Database], None]

_SET_NAME = "dawnrule"
_SECONDS_BETWEEN_TRIES = 0.01


def m001_first_tables(db: Database) -> None:
    """Create athletes, check-ins, advice, sessions and keys; the SQL is beside the queries."""
    for table in (athletes, check_ins, advice, sessions, keys):
        for statement in table.FIRST_SCHEMA:
            db.execute(statement)


def m002_replays(db: Database) -> None:
    """Create replays and their steps."""
    for statement in replays.SCHEMA:
        db.execute(statement)


def m003_published_rule_sets(db: Database) -> None:
    """Create published rule sets, activations and shadow runs."""
    for table in (rule_sets, shadow):
        for statement in table.SCHEMA:
            db.execute(statement)


def m004_ledger(db: Database) -> None:
    """Create the ledger, with entries for the advice given before, and retention."""
    for table in (ledger, personal_data):
        for statement in table.SCHEMA:
            db.execute(statement)
    ledger.chain_existing_advice(db.conn)


def m005_private_addresses(db: Database) -> None:
    """Create private addresses, plans, secrets, and the language of an athlete."""
    for table in (private_addresses, plans, secrets):
        for statement in table.SCHEMA:
            db.execute(statement)
    db.execute("ALTER TABLE athletes ADD COLUMN language TEXT")


def m006_sign_ins(db: Database) -> None:
    """Create sign-ins to the coach's pages."""
    for statement in sign_ins.SCHEMA:
        db.execute(statement)


def m007_calendars(db: Database) -> None:
    """Keep an athlete's body mass, competitions and phases."""
    for statement in athletes.CALENDAR_SCHEMA:
        db.execute(statement)


def m008_concerns(db: Database) -> None:
    """Create concerns, opened from the check-ins that are stored, and let keys be a clinician's."""
    for statement in (*keys.REBUILT_WITH_CLINICIANS, *concerns.SCHEMA):
        db.execute(statement)
    concerns.open_stored(db.conn)


def m009_vouched_rows(db: Database) -> None:
    """Vouch for the rows of other tables, those that are stored being entered as they are."""
    for statement in vouched_rows.SCHEMA:
        db.execute(statement)
    vouched_rows.enter_existing(db.conn)


def m010_groups(db: Database) -> None:
    """Create groups of athletes and their members."""
    for statement in groups.SCHEMA:
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
)


def migrate(
    connection: sqlite3.Connection,
    busy_timeout_seconds: float,
    steps: Sequence[Migration] = MIGRATIONS,
) -> None:
    """Bring a new or older database up to date. Raises ``StoreUnusable`` for one that is newer or
    not a Dawnrule database."""
    db = Database(connection, execute_plugins=False)
    migrations = _registered(steps)
    _refuse_newer(db, migrations, steps)
    _refuse_foreign(db, migrations)
    _use_write_ahead_log(connection, busy_timeout_seconds)
    if not migrations.pending(db):
        return
    connection.execute("BEGIN IMMEDIATE")
    try:
        migrations.apply(db)
        connection.commit()
    finally:
        connection.rollback()


def is_up_to_date(connection: sqlite3.Connection) -> bool:
    """Whether a database has all tables of this version; nothing is changed. Raises
    ``StoreUnusable`` for one that is newer or not a Dawnrule database."""
    db = Database(connection, execute_plugins=False)
    migrations = _registered(MIGRATIONS)
    _refuse_newer(db, migrations, MIGRATIONS)
    _refuse_foreign(db, migrations)
    return not migrations.pending(db)


def _registered(steps: Sequence[Migration]) -> Migrations:
    migrations = Migrations(_SET_NAME)
    for step in steps:
        migrations()(step)
    return migrations


def _refuse_newer(db: Database, migrations: Migrations, steps: Sequence[Migration]) -> None:
    known = {step.__name__ for step in steps}
    unknown = [done.name for done in migrations.applied(db) if done.name not in known]
    if unknown:
        raise StoreUnusable(
            "The database was written by a newer version of Dawnrule; this one does not know "
            f"its {', '.join(unknown)}. Install the newer version, or use another file."
        )


def _refuse_foreign(db: Database, migrations: Migrations) -> None:
    tables = set(db.table_names()) - {Migrations.migrations_table}
    if tables and not migrations.applied(db):
        raise StoreUnusable(
            f"The database is not one of Dawnrule's: it has the table {min(tables)}. "
            "Use another file."
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
