"""Heads that are kept elsewhere: written by the service, and all of them checked."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path

from dawnrule.application.heads import append_head, head_text, heads_in, heads_kept
from dawnrule.store import Head, Store
from tests.cli.terminal import typed
from tests.factories import KIM, LATER, NOW, SAM


def newest(store: Store) -> Head:
    return store.read(lambda transaction: transaction.ledger.head())


def add(store: Store) -> Head:
    store.write(lambda transaction: transaction.athletes.put(KIM))
    return newest(store)


def test_a_head_is_appended_once_with_its_time(store: Store, tmp_path: Path) -> None:
    file = tmp_path / "heads.txt"
    first = add(store)
    append_head(store, file, NOW)
    append_head(store, file, LATER)
    assert file.read_text() == f"2026-03-09T05:40:00+00:00 {head_text(first)}\n"
    store.write(lambda transaction: transaction.athletes.put(SAM))
    append_head(store, file, LATER)
    assert heads_in(file.read_text()) == [first, newest(store)]


def test_an_empty_ledger_has_no_head_to_keep(store: Store, tmp_path: Path) -> None:
    append_head(store, tmp_path / "heads.txt", NOW)
    assert not (tmp_path / "heads.txt").exists()


def test_the_service_writes_one_as_soon_as_it_starts(store: Store, tmp_path: Path) -> None:
    file, head = tmp_path / "heads.txt", add(store)
    with heads_kept(store, file, lambda: NOW):
        pass
    assert heads_in(file.read_text()) == [head]


def test_a_file_that_cannot_be_written_to_stops_nothing(store: Store, tmp_path: Path) -> None:
    add(store)
    with heads_kept(store, tmp_path / "none" / "heads.txt", lambda: NOW):
        assert newest(store).position > 0


def test_each_of_the_heads_that_are_given_is_checked(store: Store, tmp_path: Path) -> None:
    first = add(store)
    store.write(lambda transaction: transaction.athletes.put(SAM))
    file = tmp_path / "heads.txt"
    file.write_text(f"kept in March: {head_text(first)}\nand {head_text(newest(store))}.\n")
    words = ("audit", "verify", "--db", store.file, "--heads", file)
    assert typed(*words).exit_code == 0
    other = Head(first.position, "0" * 64)
    assert typed(*words, "--head", head_text(first), "--head", head_text(other)).exit_code == 1
    with closing(sqlite3.connect(store.file)) as connection:
        connection.execute("DROP TRIGGER ledger_stays")
        connection.execute("DELETE FROM ledger WHERE position = 2")
        connection.commit()
    assert "cut off" in typed(*words).stdout or "ends before the head" in typed(*words).stdout


def test_a_file_without_a_head_is_refused(store: Store, tmp_path: Path) -> None:
    file = tmp_path / "heads.txt"
    file.write_text("nothing of the kind")
    told = typed("audit", "verify", "--db", store.file, "--heads", file)
    assert told.exit_code == 2
    assert "holds no head" in told.stderr
