"""When the database may not be written: is that said, with the reason, and nothing stored by
halves?"""

from __future__ import annotations

import os
import shutil
import sqlite3
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest

from dawnrule.analytics.archive_file import ENDING
from dawnrule.application.athletes import erase
from dawnrule.clock import now
from dawnrule.errors import StoreUnusable
from dawnrule.store import Store
from tests.conftest import Client
from tests.factories import EXAMPLE, KIM

NOBODY = 65534
READ_ONLY_FILE, READ_ONLY_FOLDER = 0o400, 0o500


@contextmanager
def without_root(folder: Path) -> Iterator[None]:
    """Do as the owner of a folder who is not root: for root, permissions do not count."""
    if os.geteuid() != 0:
        yield
        return
    for path in (folder, *folder.iterdir()):
        os.chown(path, NOBODY, NOBODY)
    os.seteuid(NOBODY)
    try:
        yield
    finally:
        os.seteuid(0)


@pytest.fixture
def db() -> Iterator[Path]:
    """A database in a folder that anybody could be the owner of."""
    with TemporaryDirectory() as folder:
        db = Path(folder) / "squad.db"
        with Store.open(db) as store:
            store.write(lambda transaction: transaction.athletes.put(KIM))
        yield db
        db.parent.chmod(0o700)


def athletes(store: Store) -> int:
    return len(store.read(lambda transaction: transaction.athletes.all()))


def test_a_read_only_file_is_not_opened(db: Path) -> None:
    db.chmod(READ_ONLY_FILE)
    with (
        without_root(db.parent),
        pytest.raises(StoreUnusable, match=rf"{db} cannot be opened: Permission denied"),
    ):
        Store.open(db)


def test_a_file_in_a_read_only_folder_is_not_opened(db: Path) -> None:
    db.parent.chmod(READ_ONLY_FOLDER)
    with without_root(db.parent), pytest.raises(StoreUnusable, match="nothing was stored"):
        Store.open(db)


def test_what_becomes_read_only_while_it_is_served_goes_on(db: Path) -> None:
    with Store.open(db) as store:
        db.chmod(READ_ONLY_FILE)
        db.parent.chmod(READ_ONLY_FOLDER)
        with without_root(db.parent):
            store.write(lambda transaction: transaction.sessions.delete("none"))
            assert athletes(store) == 1


def test_a_person_is_not_erased_by_halves_where_files_cannot_be_deleted(db: Path) -> None:
    archive = db.with_name(db.name + ENDING)
    archive.touch()
    with Store.open(db) as store:
        db.parent.chmod(READ_ONLY_FOLDER)
        with without_root(db.parent), pytest.raises(StoreUnusable, match="cannot be deleted"):
            erase(store, KIM.id, by="k", at=now())
        assert athletes(store) == 1


def deleted(file: Path) -> None:
    file.unlink()


def moved(file: Path) -> None:
    file.rename(file.with_name("elsewhere.db"))


def replaced(file: Path) -> None:
    copy = file.with_name("copy.db")
    shutil.copy(file, copy)
    copy.replace(file)


@pytest.mark.parametrize("gone", [deleted, moved, replaced])
def test_nothing_is_acknowledged_when_the_file_is_not_the_one_that_was_opened(
    coach: Client, store: Store, gone: Callable[[Path], None]
) -> None:
    """Written to a file that has no name any more, it would be lost with the process."""
    coach.get("/v1/athletes")
    gone(store.file)
    is_there = store.file.exists()
    refused = coach.post("/v1/check-ins", json=EXAMPLE)
    assert (refused.status_code, refused.json["title"]) == (503, "The store cannot be used")
    assert "moved, deleted or replaced" in refused.json["detail"]
    assert coach.get("/v1/athletes").status_code == 503
    ready = coach.get("/readyz")
    assert (ready.status_code, ready.json["errors"][0]["pointer"]) == (503, "/store")
    assert store.file.exists() is is_there, "and no empty file is made in its place"


def test_what_sqlite_refuses_to_write_is_told_and_taken_when_it_can_be(
    coach: Client, store: Store
) -> None:
    connection = store.write(lambda transaction: transaction.keys.connection)
    connection.execute("PRAGMA query_only = ON")
    refused = coach.post("/v1/check-ins", json=EXAMPLE)
    assert (refused.status_code, refused.json["title"]) == (503, "The store cannot be used")
    assert coach.get("/v1/athletes").status_code == 200
    assert coach.get("/readyz").status_code == 503
    connection.execute("PRAGMA query_only = OFF")
    assert coach.post("/v1/check-ins", json=EXAMPLE).status_code == 201
    with closing(sqlite3.connect(store.file)) as other:
        assert other.execute("SELECT count(*) FROM check_ins").fetchone() == (1,)
