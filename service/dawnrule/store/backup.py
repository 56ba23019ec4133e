"""Database files: copy one in use, check a copy, swap it in."""

from __future__ import annotations

import glob
import os
import shutil
import sqlite3
from contextlib import closing
from pathlib import Path
from typing import Any

from dawnrule.errors import Conflict, StoreUnusable
from dawnrule.store.connection import (
    connect,
    connect_to_read,
    connect_without_writing,
    failures_named,
)
from dawnrule.store.drafts import COMPANIONS, asides_of, discard_left_behind, draft_of
from dawnrule.store.migrations import is_up_to_date
from dawnrule.store.tables.ledger import Head, Ledger

_BUSY_TIMEOUT_SECONDS = 5.0
_OWNER_ONLY = 0o600
_ANY_TIME = "????????T??????.???Z"
_FIRST_BYTES = b"SQLite format 3\0"  # of every database, says its file format
_HAS_LEDGER = "SELECT 1 FROM sqlite_master WHERE name = 'ledger'"


def copy_database(source: Path, target: Path) -> None:
    """Copy one snapshot of a database to a new file that only its owner may read.

    The copy is complete in one file. Raises ``StoreUnusable``, also when the target exists, and
    ``StoreBusy``.
    """
    _refuse_other_files(source)
    _make_private(target)
    with (
        failures_named(),
        closing(connect_without_writing(source, _BUSY_TIMEOUT_SECONDS)) as here,
        closing(sqlite3.connect(target)) as there,
    ):
        here.backup(there)
        there.execute("PRAGMA journal_mode = DELETE")
    _sync(target)


def refuse_damaged(copy: Path, of: Path) -> None:
    """Raise ``StoreUnusable`` when pages are damaged, or rows refer to missing rows.

    The error names the file that the copy was made of.
    """
    with failures_named(), closing(connect_to_read(copy, _BUSY_TIMEOUT_SECONDS)) as connection:
        [found] = connection.execute("PRAGMA integrity_check(1)").fetchone()
        if found != "ok":
            raise StoreUnusable(f"{of} is damaged: {found.splitlines()[-1]}.")
        lost = connection.execute("PRAGMA foreign_key_check").fetchone()
    if lost is not None:
        raise StoreUnusable(f"{of} is damaged: a row of {lost[0]} belongs to none of {lost[2]}.")


def is_of_this_version(file: Path) -> bool:
    """Whether a database needs no migration. Raises ``StoreUnusable`` for one that is newer or not
    a Dawnrule database. Nothing is written."""
    reading = connect_without_writing(file, _BUSY_TIMEOUT_SECONDS)
    with failures_named(), closing(reading) as connection:
        return is_up_to_date(connection)


def head_in(file: Path) -> Head:
    """Read the newest entry of a database as it is, of whichever version; position 0 where there is
    no ledger yet. Nothing is written. Raises ``StoreUnusable`` and ``StoreBusy``."""
    if not file.exists():
        raise StoreUnusable(f"There is no database at {file}.")
    is_of_this_version(file)
    reading = connect_without_writing(file, _BUSY_TIMEOUT_SECONDS)
    with failures_named(), closing(reading) as connection:
        has_ledger = connection.execute(_HAS_LEDGER).fetchone() is not None
        return Ledger(connection).head() if has_ledger else Head()


def acts_in(file: Path, act: str) -> set[str]:
    """Read the bodies of a database's acts of one name; none where there is no ledger yet. Raises
    ``StoreUnusable`` and ``StoreBusy``."""
    return {body for (body,) in _read_ledger(file, "SELECT body FROM ledger WHERE act = ?", act)}


def first_digest_in(file: Path) -> str | None:
    """Read the digest of the first entry of a database's ledger, by which all its copies are known;
    None where there is none yet. Raises ``StoreUnusable`` and ``StoreBusy``."""
    rows = _read_ledger(file, "SELECT digest FROM ledger WHERE position = 1")
    return str(rows[0][0]) if rows else None


def _read_ledger(file: Path, query: str, *values: str) -> list[tuple[Any, ...]]:
    """Ask the ledger of a database; nothing is found where there is none yet."""
    with failures_named(), closing(connect_to_read(file, _BUSY_TIMEOUT_SECONDS)) as connection:
        if connection.execute(_HAS_LEDGER).fetchone() is None:
            return []
        return connection.execute(query, values).fetchall()


def athletes_in(file: Path) -> set[str]:
    """Read the ids of a database's athletes. Raises ``StoreUnusable`` and ``StoreBusy``."""
    with failures_named(), closing(connect_to_read(file, _BUSY_TIMEOUT_SECONDS)) as connection:
        return {athlete_id for (athlete_id,) in connection.execute("SELECT id FROM athletes")}


def keep_in_one_file(copy: Path) -> None:
    """Remove the write-ahead log that opening a copy gave it, so that it can be read where nothing
    can be written."""
    with failures_named(), closing(connect(copy, _BUSY_TIMEOUT_SECONDS)) as connection:
        connection.execute("PRAGMA journal_mode = DELETE")


def names_of_backups(db: Path) -> str:
    """Return the pattern (of ``glob``) of the names of a database's back-ups."""
    return f"{glob.escape(db.stem)}-{_ANY_TIME}.db"


def discard_half_made(db: Path, folder: Path, *others: str) -> None:
    """Delete what is left in a folder of copies of a database that were never finished, because
    whoever made them was killed; ``others`` are further names of such copies. Raises
    ``StoreUnusable``."""
    names = (glob.escape(name) for name in (db.name, *others))
    try:
        for aside in asides_of(db):
            if db.exists() and aside.samefile(db):  # whoever gave it a second name was killed
                aside.unlink()
        discard_left_behind(folder, *names, names_of_backups(db))
    except OSError as error:
        raise StoreUnusable(f"{error.filename} cannot be deleted: {error.strerror}.") from error


def move_into_place(copy: Path, place: Path) -> None:
    """Give a copy its final name, durably and in one step: whoever looks, also after a loss of
    power, finds what was there before or the copy."""
    _sync(copy)
    copy.replace(place)
    _sync(place.parent)


def put_aside(db: Path, name: Path) -> bool:
    """Keep a database under a second name, with everything it has not yet written back; return
    False if there is none. It stays in its place until another is moved there.

    A log left behind by a lost or damaged database moves away: SQLite would write it into the next
    one. Raises ``Conflict`` when somebody has the database open, or the name is taken.
    """
    is_there = db.exists()
    if is_there:
        _write_back(db)
        _keep_also_as(db, name)
    for companion in COMPANIONS:
        file = db.with_name(db.name + companion)
        if file.exists():
            file.replace(name.with_name(name.name + companion))
    _sync(db.parent)
    return is_there


def _keep_also_as(db: Path, name: Path) -> None:
    """Give a database a second name, or a copy where its file system knows no second names."""
    try:
        os.link(db, name)
    except FileExistsError as error:
        raise Conflict(f"{name} is there already; nothing was restored.") from error
    except OSError:
        with draft_of(name) as draft:
            _make_private(draft)
            shutil.copyfile(db, draft)
            move_into_place(draft, name)


def _write_back(db: Path) -> None:
    """Leave write-ahead logging, which SQLite allows only while nobody else has the database open;
    one that is too damaged for it keeps its log."""
    try:
        with closing(connect(db, 0)) as connection:
            connection.execute("PRAGMA journal_mode = DELETE").fetchone()
    except sqlite3.DatabaseError as error:
        if error.sqlite_errorcode in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED):
            raise Conflict(f"{db} is in use. Stop the service first.") from error


def _refuse_other_files(source: Path) -> None:
    try:
        with source.open("rb") as file:
            begins = file.read(len(_FIRST_BYTES))
    except OSError as error:
        raise StoreUnusable(f"{source} cannot be read: {error.strerror}.") from error
    if begins != _FIRST_BYTES:
        raise StoreUnusable(f"{source} is not a database of Dawnrule.")


def _make_private(file: Path) -> None:
    try:
        os.close(os.open(file, os.O_CREAT | os.O_EXCL | os.O_WRONLY, _OWNER_ONLY))
    except OSError as error:
        raise StoreUnusable(f"{file} cannot be made: {error.strerror}.") from error


def _sync(path: Path) -> None:
    descriptor = os.open(path, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)
