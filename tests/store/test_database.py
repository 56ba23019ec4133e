"""Opening a database: which files are accepted, and how they get their tables."""

from __future__ import annotations

import os
import sqlite3
import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing
from dataclasses import replace
from functools import partial
from itertools import count
from pathlib import Path

import pytest

from dawnrule.errors import StoreBusy, StoreUnusable
from dawnrule.model.entities import Athlete
from dawnrule.store import Store, Transaction
from dawnrule.store.connection import connect
from dawnrule.store.migrations import MIGRATIONS, Migration, is_up_to_date, migrate
from tests.factories import KIM


@pytest.fixture
def file(tmp_path: Path) -> Path:
    return tmp_path / "dawnrule.db"


@pytest.fixture
def no_umask() -> Iterator[None]:
    before = os.umask(0)
    yield
    os.umask(before)


def test_what_was_stored_is_there_when_the_file_is_opened_again(file: Path) -> None:
    with Store.open(file) as store:
        store.write(lambda transaction: transaction.athletes.put(KIM))
    with Store.open(str(file), must_exist=True) as store:
        assert store.read(lambda transaction: transaction.athletes.all()) == [KIM]


def _put(transaction: Transaction, athlete: Athlete) -> None:
    transaction.athletes.put(athlete)


def test_a_question_sees_what_another_process_has_written_since_the_last(file: Path) -> None:
    with Store.open(file) as store, Store.open(file) as of_another_process:
        names = []
        for name in ("Kim", "Kim L."):
            renamed = replace(KIM, name=name)
            of_another_process.write(partial(_put, athlete=renamed))
            found = store.ask(lambda transaction: transaction.athletes.get(KIM.id))
            names.append(found and found.name)
    assert names == ["Kim", "Kim L."]


@pytest.mark.usefixtures("no_umask")
def test_a_new_database_is_its_owners_alone(file: Path) -> None:
    with Store.open(file) as store:
        store.write(lambda transaction: transaction.athletes.put(KIM))
        modes = {path.name: path.stat().st_mode & 0o777 for path in file.parent.iterdir()}
    names = (file.name, f"{file.name}-wal", f"{file.name}-shm")
    assert modes == dict.fromkeys(names, 0o600)


def test_a_database_that_was_copied_in_for_all_to_read_becomes_its_owners_alone(
    file: Path,
) -> None:
    Store.open(file).close()
    file.chmod(0o644)
    left_behind = file.with_name(f"{file.name}-wal")
    left_behind.touch(0o644)
    with Store.open(file):
        modes = {path.stat().st_mode & 0o777 for path in file.parent.iterdir()}
    assert modes == {0o600}


def test_the_database_waits_for_the_disk_and_checks_its_references(file: Path) -> None:
    with Store.open(file) as store, closing(connect(file, 1)) as connection:
        store.write(lambda transaction: transaction.athletes.put(KIM))
        pragmas = ("journal_mode", "synchronous", "foreign_keys", "secure_delete")
        values = [connection.execute(f"PRAGMA {name}").fetchone()[0] for name in pragmas]
    assert values == ["wal", 2, 1, 1]  # 2 is FULL


def test_every_table_is_strict(file: Path) -> None:
    Store.open(file).close()
    with closing(sqlite3.connect(file)) as connection:
        tables = dict(connection.execute("SELECT name, strict FROM pragma_table_list"))
    strict = {name for name, is_strict in tables.items() if is_strict}
    transaction = {"athletes", "check_ins", "advice", "sessions", "keys", "groups", "group_members"}
    replays, shadow = {"replays", "replay_steps"}, {"shadow_candidates", "shadow_verdicts"}
    phone = {"private_addresses", "plans", "service_secrets", "sign_ins"}
    record = {"ledger", "advice_entries", "retention", "concerns", "concern_events"}
    record |= {"vouched_rows", "introduced_sheets"}
    assert strict == transaction | replays | {"rule_sets", "activations"} | shadow | phone | record
    assert all(name.startswith(("sqlite_", "_sqlite_")) for name in set(tables) - strict)


def test_a_file_that_must_exist_is_not_made(file: Path) -> None:
    with pytest.raises(StoreUnusable, match="There is no database at"):
        Store.open(file, must_exist=True)
    assert not file.exists()


def test_a_path_that_cannot_hold_a_database_is_refused_with_the_reason(tmp_path: Path) -> None:
    with pytest.raises(StoreUnusable, match="cannot be opened: No such file or directory"):
        Store.open(tmp_path / "no-folder" / "dawnrule.db")
    with pytest.raises(StoreUnusable, match="cannot be opened: Is a directory"):
        Store.open(tmp_path)


def test_a_file_that_is_no_database_is_refused_and_left_alone(file: Path) -> None:
    letter = "Dear diary, today I trained.\n" * 100
    file.write_text(letter)
    with pytest.raises(StoreUnusable, match="file is not a database"):
        Store.open(file)
    assert file.read_text() == letter


def test_someone_elses_database_is_refused_and_left_alone(file: Path) -> None:
    with closing(sqlite3.connect(file)) as connection:
        connection.execute("CREATE TABLE recipes (name TEXT)")
    before = file.read_bytes()
    with pytest.raises(StoreUnusable, match="has the table recipes"):
        Store.open(file)
    assert file.read_bytes() == before


def test_a_newer_database_is_refused_with_the_reason(file: Path) -> None:
    Store.open(file).close()
    with closing(connect(file, 1)) as connection:
        migrate(connection, 1, (*MIGRATIONS, _add_outcomes))
    with pytest.raises(StoreUnusable, match=r"newer version .* does not know its _add_outcomes"):
        Store.open(file)


def _add_outcomes(db: sqlite3.Connection) -> None:
    db.execute("CREATE TABLE outcomes (id TEXT PRIMARY KEY) STRICT")


def _add_half_a_table(db: sqlite3.Connection) -> None:
    db.execute("CREATE TABLE half (id TEXT PRIMARY KEY) STRICT")
    raise sqlite3.OperationalError("the power failed")


def test_a_later_migration_finds_the_rows_of_before(file: Path) -> None:
    with Store.open(file) as store:
        store.write(lambda transaction: transaction.athletes.put(KIM))
    with closing(connect(file, 1)) as connection:
        migrate(connection, 1, (*MIGRATIONS, _add_outcomes))
        assert connection.execute("SELECT count(*) FROM outcomes").fetchone() == (0,)
        assert connection.execute("SELECT id FROM athletes").fetchall() == [(KIM.id,)]


@pytest.mark.parametrize("steps", [(_add_half_a_table,), (_add_outcomes, _add_half_a_table)])
def test_migrations_that_fail_leave_the_file_as_it_was(
    file: Path, steps: tuple[Migration, ...]
) -> None:
    Store.open(file).close()
    with closing(connect(file, 1)) as connection:
        before = list(connection.iterdump())
        with pytest.raises(sqlite3.OperationalError, match="the power failed"):
            migrate(connection, 1, (*MIGRATIONS, *steps))
        assert list(connection.iterdump()) == before


def test_a_new_file_can_be_opened_by_many_at_once(tmp_path: Path) -> None:
    with ThreadPoolExecutor(8) as pool:
        for attempt in range(5):
            stores = list(pool.map(Store.open, [tmp_path / f"{attempt}.db"] * 8))
            for store in stores:
                store.close()
            assert len(stores) == 8


def test_an_up_to_date_file_opens_while_someone_writes(file: Path) -> None:
    Store.open(file).close()
    with closing(connect(file, 1)) as other:
        other.execute("BEGIN IMMEDIATE")
        with Store.open(file, busy_timeout_seconds=0) as store:
            assert store.read(lambda transaction: transaction.athletes.all()) == []


def test_a_new_file_that_another_is_setting_up_is_waited_for(file: Path) -> None:
    with (
        ThreadPoolExecutor(1) as pool,
        closing(sqlite3.connect(file, check_same_thread=False)) as other,
    ):
        other.execute("BEGIN IMMEDIATE")  # SQLite's own wait does not cover this
        opening = pool.submit(Store.open, file)
        time.sleep(0.1)
        assert not opening.done()
        other.rollback()
        opening.result(10).close()


def test_a_new_file_that_is_locked_is_busy_in_the_time_given(file: Path) -> None:
    with closing(sqlite3.connect(file)) as other:
        other.execute("BEGIN EXCLUSIVE")
        with pytest.raises(StoreBusy, match="nothing was stored"):
            Store.open(file, busy_timeout_seconds=0.1)


@pytest.mark.parametrize("statement", range(1, 5))
def test_a_file_that_another_process_sets_up_meanwhile_is_taken_for_what_it_is(
    file: Path, statement: int
) -> None:
    said = count(1)

    def set_up_at_this_statement(_: str) -> None:
        if next(said) == statement:
            Store.open(file).close()

    with closing(connect(file, 1)) as connection:
        connection.set_trace_callback(set_up_at_this_statement)
        migrate(connection, 1)
        assert is_up_to_date(connection)
    assert next(said) > statement
