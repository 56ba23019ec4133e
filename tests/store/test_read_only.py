"""Reading without writing: an audit leaves every byte of the file that it looks at."""

from __future__ import annotations

import shutil
import sqlite3
from collections.abc import Callable
from hashlib import sha256
from pathlib import Path
from typing import Any

import pytest

from dawnrule.errors import StoreUnusable
from dawnrule.store import Store, opened_to_read
from tests.cli.terminal import typed
from tests.databases.make import FOLDER
from tests.factories import KIM

OLD = sorted(FOLDER.glob("*.db"))


def digests(folder: Path) -> dict[str, str]:
    return {file.name: sha256(file.read_bytes()).hexdigest() for file in folder.iterdir()}


@pytest.mark.parametrize("file", OLD, ids=lambda file: file.stem)
@pytest.mark.parametrize("words", [("verify",), ("head",), ("acts",)], ids=" ".join)
def test_an_audit_changes_nothing_of_a_database_of_an_earlier_version(
    file: Path, words: tuple[str, ...], tmp_path: Path
) -> None:
    db = Path(shutil.copy(file, tmp_path / "squad.db"))
    db.chmod(0o444)
    before = digests(tmp_path)
    assert typed("audit", *words, "--db", db).exit_code == 0
    assert digests(tmp_path) == before
    assert db.stat().st_mode & 0o777 == 0o444


def test_an_audit_changes_nothing_of_a_database_that_is_in_use(store: Store) -> None:
    store.write(lambda transaction: transaction.athletes.put(KIM))
    before = sha256(store.file.read_bytes()).hexdigest()
    log = store.file.with_name(store.file.name + "-wal").read_bytes()
    assert typed("audit", "verify", "--db", store.file).exit_code == 0
    assert sha256(store.file.read_bytes()).hexdigest() == before
    assert store.file.with_name(store.file.name + "-wal").read_bytes() == log


def test_what_was_written_last_is_seen_though_it_is_still_in_the_log(store: Store) -> None:
    store.write(lambda transaction: transaction.athletes.put(KIM))
    with opened_to_read(store.file) as readable:
        assert KIM in readable.read(lambda transaction: transaction.athletes.all())


def test_the_head_of_an_older_database_is_its_own(tmp_path: Path) -> None:
    db = Path(shutil.copy(FOLDER / "m008_concerns.db", tmp_path / "squad.db"))
    kept = typed("audit", "head", "--db", db).stdout.strip()
    assert f"head {kept}" in typed("audit", "verify", "--db", db).stdout
    Store.open(db).close()
    assert typed("audit", "verify", "--head", kept, "--db", db).exit_code == 0


def test_a_database_in_a_folder_that_cannot_be_written_to_is_read(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Tests may run as root, whom no folder refuses: so SQLite is told to refuse."""
    db = tmp_path / "squad.db"
    Store.open(db).close()
    connecting: Callable[..., sqlite3.Connection] = sqlite3.connect

    def refusing(place: str, **more: Any) -> sqlite3.Connection:
        return connecting(place.replace(f"{db}?mode=ro", f"{tmp_path}/none?mode=ro"), **more)

    monkeypatch.setattr(sqlite3, "connect", refusing)
    with opened_to_read(db) as readable:
        assert readable.read(lambda transaction: transaction.athletes.all()) == []


def test_a_file_that_is_not_there_is_not_made(tmp_path: Path) -> None:
    with pytest.raises(StoreUnusable, match="There is no database"), opened_to_read(tmp_path / "a"):
        pass
    assert list(tmp_path.iterdir()) == []
