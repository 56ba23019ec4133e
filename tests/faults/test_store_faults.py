"""The store after the worst: acknowledged writes are there, refused ones are not."""

from __future__ import annotations

import os
import random
import resource
import sqlite3
import subprocess
import sys
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

import pytest

from dawnrule.errors import StoreUnusable
from dawnrule.store import Store
from tests.effort import tries
from tests.factories import KIM
from tests.faults.acknowledging_writer import morning

KILLS = tries(3, 12)


def _killed_after(acknowledged: int, database: Path, prefix: str) -> set[str]:
    """Start the writer, kill -9 it after so many acknowledged writes; the names of all of them."""
    command = [sys.executable, "-m", "tests.faults.acknowledging_writer", str(database), prefix]
    environment = os.environ | {"PYTHONPATH": os.pathsep.join(sys.path)}
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True, env=environment) as writer:
        assert writer.stdout is not None
        names = {writer.stdout.readline().strip() for _ in range(acknowledged)}
        writer.kill()
        names |= {line.strip() for line in writer.stdout}
    assert writer.returncode == -9
    assert "" not in names
    return names


def _mornings(database: Path) -> set[str]:
    """The mornings that are stored whole; fails if one is stored in part."""
    with closing(sqlite3.connect(database)) as connection:
        assert connection.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
        assert connection.execute("PRAGMA foreign_key_check").fetchall() == []
        check_ins = {name for (name,) in connection.execute("SELECT substr(id, 3) FROM check_ins")}
        advice = {name for (name,) in connection.execute("SELECT substr(id, 3) FROM advice")}
    assert check_ins == advice
    return check_ins


def test_kill_9_loses_no_acknowledged_write_and_leaves_none_by_halves(tmp_path: Path) -> None:
    database, chance = tmp_path / "dawnrule.db", random.Random(9)
    acknowledged: set[str] = set()
    for kill in range(KILLS):
        acknowledged |= _killed_after(chance.randrange(1, 400), database, f"{kill}")
        assert acknowledged <= _mornings(database)


@contextmanager
def _no_file_longer_than(length_bytes: int) -> Iterator[None]:
    """Writing past the limit fails as it does on a full disk, for this process only."""
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (length_bytes, hard))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))


def _write_until_refused(store: Store, stored: list[str]) -> None:
    for number in range(10_000):
        store.write(morning(f"{number}"))
        stored.append(f"{number}")


def test_a_full_disk_refuses_whole_mornings_and_the_store_goes_on_after(tmp_path: Path) -> None:
    database = tmp_path / "dawnrule.db"
    stored: list[str] = []
    with Store.open(database) as store:
        store.write(lambda transaction: transaction.athletes.put(KIM))
        with _no_file_longer_than(1_000_000), pytest.raises(StoreUnusable, match="nothing was"):
            _write_until_refused(store, stored)
        assert _mornings(database) == set(stored) != set()
        store.write(morning("after"))
    assert _mornings(database) == {*stored, "after"}


def test_a_damaged_database_says_so(tmp_path: Path) -> None:
    database = tmp_path / "dawnrule.db"
    with Store.open(database) as store:
        store.write(lambda transaction: transaction.athletes.put(KIM))
        store.write(
            lambda transaction: [morning(f"{number}")(transaction) for number in range(200)]
        )
    with database.open("r+b") as file:
        file.seek(4096)
        file.write(b"\xff" * (database.stat().st_size - 4096))
    with pytest.raises(StoreUnusable, match="malformed"), Store.open(database) as store:
        store.read(lambda transaction: transaction.athletes.all())
