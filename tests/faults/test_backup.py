"""Back-ups: complete, and restored, whatever goes wrong on the way."""

from __future__ import annotations

import errno
import shutil
import sqlite3
import stat
from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from threading import Event, Thread

import pytest
from flask import Flask

from dawnrule.application.athletes import erase
from dawnrule.application.audit import audit
from dawnrule.application.backups import Restored, back_up, backups_of, made_at, restore
from dawnrule.application.erased import list_erased
from dawnrule.application.heads import heads_in
from dawnrule.application.leftovers import Leftovers
from dawnrule.errors import Conflict, DawnruleError, StoreUnusable
from dawnrule.model.entities import Athlete
from dawnrule.rules.registry import RuleSetLibrary
from dawnrule.settings import Settings
from dawnrule.store import Store
from dawnrule.store.activity_log import record_act
from dawnrule.store.backup import head_in
from dawnrule.web.backup_schedule import Backups
from dawnrule.web.context import Context
from dawnrule.web.observability import Metrics
from tests.cli.terminal import typed
from tests.conftest import Client
from tests.databases.make import make
from tests.effort import tries
from tests.faults.killed_at import killed_at

NOW = datetime(2026, 3, 20, 2, 15, tzinfo=UTC)
LATER = "(migration_set, name, applied_at) VALUES ('dawnrule', 'm999_later', '2030-01-01')"
RECORDS = "SELECT id, record FROM advice ORDER BY position"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    folder = tmp_path / "kept"
    folder.mkdir()
    return folder


def rows(file: Path, query: str = RECORDS) -> list[tuple[object, ...]]:
    with closing(sqlite3.connect(file)) as connection:
        return connection.execute(query).fetchall()


def change(file: Path, *statements: str) -> None:
    with closing(sqlite3.connect(file)) as connection, connection:
        for statement in statements:
            connection.execute(statement)


def mode(file: Path) -> int:
    return stat.S_IMODE(file.stat().st_mode)


@contextmanager
def being_written_to(db: Path) -> Iterator[None]:
    """A service that changes athletes all the while."""
    ended = Event()

    def write() -> None:
        with Store.open(db) as store:
            athlete = store.read(lambda transaction: transaction.athletes.get("a-04"))
            assert athlete is not None
            while not ended.is_set():
                store.write(lambda transaction: transaction.athletes.put(athlete))

    thread = Thread(target=write)
    thread.start()
    try:
        yield
    finally:
        ended.set()
        thread.join()


def test_a_back_up_holds_everything_and_is_its_owners_alone(db: Path, folder: Path) -> None:
    file = back_up(db, folder, NOW)
    assert file == folder / "squad-20260320T021500.000Z.db"
    assert made_at(file) == NOW
    assert rows(file) == rows(db)
    assert mode(file) == 0o600
    assert list(folder.iterdir()) == [file]


def test_a_back_up_is_whole_though_others_write_meanwhile(db: Path, folder: Path) -> None:
    with being_written_to(db):
        made = [back_up(db, folder, NOW + timedelta(seconds=second)) for second in range(5)]
    assert [rows(file) == rows(db) for file in made] == [True] * 5


def test_only_the_newest_are_kept_and_nothing_else_is_touched(db: Path, folder: Path) -> None:
    others = [folder / "squad-notes.db", folder / "other-20200101T000000.000Z.db"]
    for other in others:
        other.touch()
    for day in range(4):
        newest = back_up(db, folder, NOW + timedelta(days=day), keep=2)
    assert backups_of(db, folder)[-1] == newest
    assert len(backups_of(db, folder)) == 2
    assert all(other.exists() for other in others)


def test_a_back_up_takes_no_other_files_place(db: Path, folder: Path) -> None:
    file = back_up(db, folder / "mine.db", NOW)
    with pytest.raises(Conflict, match="is there already"):
        back_up(db, file, NOW)


@pytest.mark.parametrize(
    ("harm", "said"),
    [
        (
            (
                "DROP TRIGGER ledger_stays_as_it_is",
                "UPDATE ledger SET at = '2020' WHERE position = 2",
            ),
            "does not verify at position 2",
        ),
        (
            ("UPDATE keys SET role = 'athlete', athlete_id = 'a-99'",),
            "a row of keys belongs to none of athletes",
        ),
    ],
    ids=["chain", "references"],
)
def test_a_database_that_is_not_whole_gives_no_back_up(
    db: Path, folder: Path, harm: tuple[str, ...], said: str
) -> None:
    change(db, *harm)
    with pytest.raises(StoreUnusable, match=said):
        back_up(db, folder, NOW)
    assert list(folder.iterdir()) == []


def test_a_damaged_page_gives_no_back_up(db: Path, folder: Path) -> None:
    damage(db)
    with pytest.raises(StoreUnusable):
        back_up(db, folder, NOW)
    assert list(folder.iterdir()) == []


def damage(file: Path) -> None:
    """Overwrite the second half of a database, past its first page."""
    content = bytearray(file.read_bytes())
    content[len(content) // 2 :] = b"\xff" * (len(content) - len(content) // 2)
    file.write_bytes(content)


def test_what_is_restored_is_what_was_backed_up(db: Path, folder: Path) -> None:
    before = rows(db)
    file = back_up(db, folder, NOW)
    db.unlink()
    assert restore(file, db, NOW) == Restored(None, (), False, False)
    assert rows(db) == before
    assert rows(db, "PRAGMA journal_mode") == [("wal",)]
    assert mode(db) == 0o600


def test_the_database_of_before_is_kept_aside_with_all_it_had(db: Path, folder: Path) -> None:
    file = back_up(db, folder, NOW)
    change(db, "UPDATE athletes SET name = 'Marta' WHERE id = 'a-03'")
    archive = db.with_name("squad.db.facts.parquet")
    archive.touch()
    aside = restore(file, db, NOW, replace=True).aside
    assert aside is not None
    assert aside == db.with_name("squad.db.replaced-20260320T021500.000Z")
    assert rows(aside, "SELECT name FROM athletes WHERE id = 'a-03'") == [("Marta",)]
    assert rows(db, "SELECT name FROM athletes WHERE id = 'a-03'") == [("Mara",)]
    assert sorted(path.name for path in db.parent.iterdir()) == ["kept", db.name, aside.name]


def test_whoever_was_erased_since_from_the_database_that_is_replaced_is_erased_again(
    db: Path, folder: Path
) -> None:
    with Store.open(db) as store:
        erase(store, "a-04", by="k-01", at=NOW)
        store.write(
            lambda transaction: transaction.athletes.put(Athlete("a-04", "Tomo", "Asia/Tokyo"))
        )
        file = back_up(db, folder, NOW)
        for athlete_id in ("a-03", "a-04"):
            erase(store, athlete_id, by="k-01", at=NOW)
        store.write(lambda transaction: transaction.athletes.put(Athlete("a-05", "Juno", "UTC")))
        erase(store, "a-05", by="k-01", at=NOW)
    assert restore(file, db, NOW, replace=True).erased_again == ("a-03", "a-04")


def erased_since_the_back_up(db: Path, folder: Path, *athlete_ids: str) -> Path:
    """A back-up from before an erasure, with the list beside it that knows of it."""
    file = back_up(db, folder, NOW)
    with Store.open(db) as store:
        for athlete_id in athlete_ids:
            erase(store, athlete_id, by="k-01", at=NOW)
    list_erased(db, folder)
    return file


def ids(db: Path) -> list[str]:
    return [str(row[0]) for row in rows(db, "SELECT id FROM athletes ORDER BY id")]


def test_who_was_erased_stays_erased_when_a_back_up_is_restored_on_another_machine(
    db: Path, folder: Path, tmp_path: Path
) -> None:
    file = erased_since_the_back_up(db, folder, "a-04")
    machine = tmp_path / "another"
    machine.mkdir()
    moved = shutil.copytree(folder, machine / "kept") / file.name
    db.unlink()
    restored = restore(moved, machine / "other.db", NOW)
    assert restored == Restored(None, ("a-04",), True, False)
    assert ids(machine / "other.db") == ["a-03"]
    assert b"Tomo" not in (machine / "other.db").read_bytes()
    with Store.open(machine / "other.db") as store:
        assert audit(store, RuleSetLibrary.bundled()).is_clean


def test_each_back_up_brings_the_list_of_the_erased_with_it(db: Path, folder: Path) -> None:
    file = back_up(db, folder, NOW)
    with Store.open(db) as store:
        erase(store, "a-04", by="k-01", at=NOW)
    back_up(db, folder, NOW + timedelta(days=1))
    listed = folder / "squad.erased.json"
    assert mode(listed) == 0o600
    assert "a-04" not in listed.read_text(encoding="utf-8")
    db.unlink()
    assert restore(file, db, NOW).erased_again == ("a-04",)


def test_a_service_adds_an_erasure_to_the_list_at_once(
    coach: Client, store: Store, app: Flask, folder: Path
) -> None:
    settings = Settings(backup_folder=folder)
    context = Context.of(app)
    metrics = Metrics(store)
    backups = Backups(store.file, settings, metrics, lambda: NOW)
    replace(context, backups=backups).attach(app)
    assert coach.put("/v1/athletes/a-09", json={"name": "Juno", "time_zone": "UTC"}).status_code
    assert coach.delete("/v1/athletes/a-09").status_code == 200
    assert (folder / "dawnrule.erased.json").exists()
    context.attach(app)
    metrics.close()


def test_who_came_back_after_a_restore_is_not_erased_by_the_next(db: Path, folder: Path) -> None:
    file = erased_since_the_back_up(db, folder, "a-04")
    for day in (1, 2):
        db.unlink()
        assert restore(file, db, NOW).erased_again == (("a-04",) if day == 1 else ())
        with Store.open(db) as store:
            store.write(
                lambda transaction: transaction.athletes.put(Athlete("a-04", "Tomo", "UTC"))
            )
        file = back_up(db, folder, NOW + timedelta(days=day))
        assert ids(db) == ["a-03", "a-04"]


def test_who_was_not_in_a_back_up_and_comes_later_is_not_erased(db: Path, folder: Path) -> None:
    file = back_up(db, folder, NOW)
    with Store.open(db) as store:
        store.write(lambda transaction: transaction.athletes.put(Athlete("a-05", "Juno", "UTC")))
        erase(store, "a-05", by="k-01", at=NOW)
    list_erased(db, folder)
    db.unlink()
    assert restore(file, db, NOW).erased_again == ()
    with Store.open(db) as store:
        store.write(lambda transaction: transaction.athletes.put(Athlete("a-05", "Juno", "UTC")))
    later = back_up(db, folder, NOW + timedelta(days=1))
    assert restore(later, db, NOW + timedelta(days=2), replace=True).erased_again == ()
    assert "a-05" in ids(db)


def test_an_erasure_in_another_squad_erases_nobody_of_the_same_id(
    db: Path, folder: Path, tmp_path: Path
) -> None:
    other = tmp_path / "other" / "squad.db"
    other.parent.mkdir()
    make(other)
    with Store.open(other) as store:
        store.write(
            lambda transaction: record_act(
                transaction, "athlete-added", by="k-01", at=NOW, about={"athlete_id": "a-04"}
            )
        )
    erased_since_the_back_up(other, folder, "a-04")
    file = back_up(db, folder, NOW + timedelta(days=1))
    db.unlink()
    assert restore(file, db, NOW).erased_again == ()
    restored = restore(file, other, NOW, replace=True)
    assert restored.erased_again == ()


def test_a_restore_without_a_list_says_that_nothing_is_known(db: Path, folder: Path) -> None:
    file = erased_since_the_back_up(db, folder, "a-04")
    (folder / "squad.erased.json").unlink()
    db.unlink()
    told = typed("restore", file, "--db", db)
    assert told.exit_code == 0
    assert "Nothing here says who was erased after this backup was made" in told.stderr


def test_a_list_that_cannot_be_read_is_told_before_anybody_comes_back(
    db: Path, folder: Path
) -> None:
    file = erased_since_the_back_up(db, folder, "a-04")
    (folder / "squad.erased.json").write_text("[", encoding="utf-8")
    before = rows(db)
    with pytest.raises(StoreUnusable, match="the list of who was erased, cannot be read"):
        restore(file, db, NOW, replace=True)
    assert rows(db) == before


def test_a_database_from_before_the_ledger_names_nobody(db: Path, folder: Path) -> None:
    file = back_up(db, folder, NOW)
    old = Path(__file__).parents[1] / "databases" / "m003_published_rule_sets.db"
    shutil.copy(old, db)
    assert restore(file, db, NOW, replace=True).erased_again == ()


@pytest.mark.parametrize("body", ["{", "[]", '{"about": {}}'])
def test_an_act_that_somebody_changed_keeps_nobody_from_restoring(
    db: Path, folder: Path, body: str
) -> None:
    file = back_up(db, folder, NOW)
    with Store.open(db) as store:
        erase(store, "a-04", by="k-01", at=NOW)
    change(
        db,
        "DROP TRIGGER ledger_stays_as_it_is",
        f"UPDATE ledger SET body = '{body}' WHERE act = 'athlete-erased'",
    )
    assert restore(file, db, NOW, replace=True).erased_again == ()


def test_the_command_says_who_was_erased_once_more(db: Path, folder: Path) -> None:
    file = back_up(db, folder, NOW)
    with Store.open(db) as store:
        erase(store, "a-04", by="k-01", at=NOW)
    restored = typed("restore", file, "--db", db, "--replace")
    assert restored.exit_code == 0
    assert "a-04 was erased after this backup was made, and was erased again." in restored.stderr
    assert "Nothing here says" not in restored.stderr


def test_a_database_that_is_too_damaged_to_open_is_put_aside_too(db: Path, folder: Path) -> None:
    file = back_up(db, folder, NOW)
    before = rows(db)
    db.write_bytes(b"not a database at all")
    aside = restore(file, db, NOW, replace=True).aside
    assert aside is not None
    assert aside.read_bytes() == b"not a database at all"
    assert rows(db) == before


def test_a_database_is_replaced_only_by_who_says_so(db: Path, folder: Path) -> None:
    file = back_up(db, folder, NOW)
    with pytest.raises(Conflict, match="--replace"):
        restore(file, db, NOW)


def test_a_database_that_is_served_is_not_replaced(db: Path, folder: Path) -> None:
    file = back_up(db, folder, NOW)
    before = rows(db)
    with Store.open(db), pytest.raises(Conflict, match="in use"):
        restore(file, db, NOW, replace=True)
    assert rows(db) == before
    assert sorted(path.name for path in db.parent.iterdir()) == ["kept", db.name]


def test_a_back_up_that_was_copied_into_place_by_hand_is_served_and_guarded_like_any_other(
    db: Path, folder: Path
) -> None:
    file = back_up(db, folder, NOW)
    shutil.copy(file, db)
    with Store.open(db), pytest.raises(Conflict, match="in use"):
        restore(file, db, NOW, replace=True)
    assert rows(db, "PRAGMA journal_mode") == [("wal",)]
    assert rows(file, "PRAGMA journal_mode") == [("delete",)]


def test_a_log_that_a_lost_database_left_behind_is_not_taken_for_the_restored_ones(
    db: Path, folder: Path
) -> None:
    file = back_up(db, folder, NOW)
    log = db.with_name("squad.db-wal")
    with Store.open(db) as store:
        store.write(lambda transaction: transaction.athletes.put(Athlete("a-05", "Juno", "UTC")))
        left_behind = log.read_bytes()
    db.unlink()
    log.write_bytes(left_behind)
    restore(file, db, NOW)
    assert rows(db, "SELECT id FROM athletes") == [("a-03",), ("a-04",)]


def cut_short(file: Path) -> None:
    file.write_bytes(file.read_bytes()[: file.stat().st_size // 2])


def from_the_future(file: Path) -> None:
    change(file, f"INSERT INTO _sqlite_migrations {LATER}")


def of_somebody_else(file: Path) -> None:
    file.unlink()
    change(file, "CREATE TABLE receipts (amount REAL)")


def not_there(file: Path) -> None:
    file.unlink()


@pytest.mark.parametrize(
    ("harm", "said"),
    [
        (cut_short, "malformed|damaged"),
        (damage, "malformed|damaged|not a database"),
        (from_the_future, "newer version of Dawnrule"),
        (of_somebody_else, "not one of Dawnrule's"),
        (not_there, "no back-up"),
    ],
)
def test_a_back_up_that_is_not_good_is_refused_and_nothing_changes(
    db: Path, folder: Path, harm: object, said: str
) -> None:
    file = back_up(db, folder, NOW)
    before = rows(db)
    assert callable(harm)
    harm(file)
    with pytest.raises(DawnruleError, match=said):
        restore(file, db, NOW, replace=True)
    assert rows(db) == before
    assert sorted(path.name for path in db.parent.iterdir()) == ["kept", db.name]


def test_both_can_be_typed(db: Path, folder: Path) -> None:
    made = typed("backup", "--db", db, "--to", folder, "--keep", "3")
    assert made.exit_code == 0
    file = Path(made.stdout.strip())
    refused = typed("restore", file, "--db", db)
    assert (refused.exit_code, "Say --replace" in refused.stderr) == (2, True)
    restored = typed("restore", file, "--db", db, "--replace")
    assert restored.exit_code == 0
    assert "is kept as" in restored.stderr


def test_keeping_some_needs_a_folder(db: Path, tmp_path: Path) -> None:
    refused = typed("backup", "--db", db, "--to", tmp_path / "mine.db", "--keep", "3")
    assert refused.exit_code == 2
    assert "--keep needs a folder" in refused.stderr


def scheduled(db: Path, folder: Path, store: Store) -> tuple[Backups, Metrics]:
    """The service's own back-ups, every 6 hours."""
    settings = Settings(backup_folder=folder, backup_every_hours=6, backup_keep=2)
    metrics = Metrics(store)
    return Backups(db, settings, metrics, lambda: datetime.now(UTC)), metrics


def test_the_service_makes_a_back_up_when_one_is_due_and_logs_the_newest_head(
    db: Path, folder: Path, store: Store, caplog: pytest.LogCaptureFixture
) -> None:
    for hours in (15, 9):
        back_up(db, folder, datetime.now(UTC) - timedelta(hours=hours))
    backups, metrics = scheduled(db, folder, store)
    with caplog.at_level("INFO"):
        assert backups.make_if_due()
    assert heads_in(caplog.text) == [head_in(db)]
    assert not backups.make_if_due()
    *_, newest = made = backups_of(db, folder)
    assert len(made) == 2
    assert rows(newest) == rows(db)
    told = metrics.registry.get_sample_value("dawnrule_last_backup_timestamp_seconds")
    assert told == made_at(newest).timestamp()
    metrics.close()


def test_a_service_that_ends_does_not_wait_for_its_back_up(
    db: Path, folder: Path, store: Store
) -> None:
    backups, metrics = scheduled(db, folder, store)
    backups.start()
    backups.close()
    assert [file for file in folder.iterdir() if file not in backups_of(db, folder)] == []
    assert metrics.registry.get_sample_value("dawnrule_backups_failed_total") == 0
    metrics.close()


def test_a_back_up_that_fails_is_logged_and_counted(
    db: Path, folder: Path, store: Store, caplog: pytest.LogCaptureFixture
) -> None:
    backups, metrics = scheduled(db, folder, store)
    damage(db)
    assert not backups.make_if_due()
    assert "no back-up could be made: Error: The database cannot be used" in caplog.text
    assert metrics.registry.get_sample_value("dawnrule_backups_failed_total") == 1
    metrics.close()


@pytest.mark.parametrize("said", ["kept/", "new/kept/"])
def test_a_folder_to_keep_back_ups_in_is_made_for_its_owner_alone(
    db: Path, tmp_path: Path, said: str
) -> None:
    told = typed("backup", "--db", db, "--to", f"{tmp_path}/{said}", "--keep", "2")
    assert told.exit_code == 0
    assert mode(tmp_path / said) == 0o700
    assert Path(told.stdout.strip()).parent == tmp_path / said


def test_a_name_that_ends_with_a_slash_is_a_folder(db: Path, tmp_path: Path) -> None:
    told = typed("backup", "--db", db, "--to", f"{tmp_path}/kept/")
    assert Path(told.stdout.strip()).parent == tmp_path / "kept"
    assert mode(tmp_path / "kept") == 0o700


def test_a_folder_that_cannot_be_made_is_wrong_use(db: Path) -> None:
    inside_a_file = typed("backup", "--db", db, "--to", f"{db}/kept/")
    assert inside_a_file.exit_code == 2
    assert "cannot be created" in inside_a_file.stderr
    missing = typed("backup", "--db", db, "--to", f"{db}s", "--keep", "2")
    assert (missing.exit_code, f"write {db}s/ to create it" in missing.stderr) == (2, True)
    a_file = typed("backup", "--db", db, "--to", db, "--keep", "2")
    assert (a_file.exit_code, "is a file" in a_file.stderr) == (2, True)


def test_no_folder_is_made_where_there_is_no_database(tmp_path: Path) -> None:
    told = typed("backup", "--db", tmp_path / "none.db", "--to", f"{tmp_path}/kept/")
    assert told.exit_code == 2
    assert not (tmp_path / "kept").exists()


def half_made(folder: Path) -> list[str]:
    """The hidden copies in a folder, with what SQLite keeps beside them."""
    return sorted(file.name for file in folder.glob(".*"))


CHECKED = "dawnrule.application.backups.refuse_damaged"


@pytest.fixture(params=["a-folder", "a-file"])
def place(folder: Path, request: pytest.FixtureRequest) -> Path:
    """Where a back-up was being made when its process was killed."""
    return folder if request.param == "a-folder" else folder / "mine.db"


def test_the_next_back_up_removes_what_a_killed_one_left(
    db: Path, folder: Path, place: Path
) -> None:
    assert killed_at(CHECKED, 1, "backup", db, place)
    assert half_made(folder)
    back_up(db, place, NOW)
    assert half_made(folder) == []


def test_a_service_removes_what_a_killed_back_up_left(db: Path, folder: Path, store: Store) -> None:
    back_up(db, folder, datetime.now(UTC))
    assert killed_at(CHECKED, 1, "backup", db, folder)
    backups, metrics = scheduled(db, folder, store)
    assert not backups.make_if_due()
    assert half_made(folder) == []
    metrics.close()


def test_a_service_that_starts_removes_what_a_killed_restore_left(db: Path, folder: Path) -> None:
    file = back_up(db, folder, NOW)
    assert killed_at(CHECKED, 1, "restore", db, file)
    assert half_made(db.parent)
    with Store.open(db) as store:
        leftovers = Leftovers(store)
        leftovers.start()
        leftovers.close()
    assert half_made(db.parent) == []


@pytest.mark.parametrize("what", ["backup", "restore"])
def test_who_is_erased_is_in_no_half_made_copy_either(db: Path, folder: Path, what: str) -> None:
    file = back_up(db, folder, NOW) if what == "restore" else db.parent
    assert killed_at(CHECKED, 1, what, db, file)
    assert half_made(db.parent)
    with Store.open(db) as store:
        erase(store, "a-04", by="k-01", at=NOW)
    assert half_made(db.parent) == []


def test_a_copy_that_is_being_made_is_left_alone(
    db: Path, folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    made = []

    def back_up_too(copy: Path, of: Path) -> None:
        monkeypatch.undo()
        made.append(back_up(db, folder, NOW + timedelta(seconds=1)))
        assert copy.exists()

    monkeypatch.setattr(CHECKED, back_up_too)
    made.append(back_up(db, folder, NOW))
    assert sorted(folder.iterdir()) == sorted(made)


KILLABLE = {
    "os.link": 1,
    "os.replace": 1,
    "os.fsync": tries(3, 1),
    "dawnrule.application.backups.put_aside": 1,
}
"""The steps of a restore between which another process may find what it has done so far, and how
many of each are taken at a time: it waits for the disk again and again."""


@pytest.mark.parametrize(("step", "stride"), KILLABLE.items())
def test_wherever_a_restore_is_killed_one_of_the_two_is_there(
    db: Path, folder: Path, step: str, stride: int
) -> None:
    with Store.open(db) as store:
        store.write(lambda transaction: transaction.athletes.put(replace(AFTER, name="Before")))
    file = back_up(db, folder, NOW)
    with Store.open(db) as store:
        store.write(lambda transaction: transaction.athletes.put(AFTER))
    number = 1
    while killed_at(step, number, "restore", db, file):
        assert rows(db, NAME) in ([("Before",)], [("After",)])
        with Store.open(db) as store:
            Leftovers(store).finish()
            store.write(lambda transaction: transaction.athletes.put(AFTER))
        assert half_made(db.parent) == []
        assert [aside for aside in set_aside(db) if aside.samefile(db)] == []
        for aside in set_aside(db):
            assert rows(aside, NAME) == [("After",)]
            aside.unlink()
        number += stride
    assert number > 1
    assert rows(db, NAME) == [("Before",)]


NAME = "SELECT name FROM athletes WHERE id = 'a-03'"
AFTER = Athlete("a-03", "After", "UTC")


def set_aside(db: Path) -> list[Path]:
    return [file for file in db.parent.glob("squad.db.replaced-*Z") if file.is_file()]


def test_a_restore_where_nothing_can_have_two_names_copies_what_was_there(
    db: Path, folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse(*_: object, **__: object) -> None:
        raise OSError(errno.EPERM, "Operation not permitted")

    before = rows(db)
    file = back_up(db, folder, NOW)
    monkeypatch.setattr("os.link", refuse)
    aside = restore(file, db, NOW, replace=True).aside
    assert aside is not None
    assert (rows(aside), mode(aside)) == (before, 0o600)
    assert half_made(db.parent) == []


@pytest.mark.parametrize(
    "left", [f".squad.db.{32 * 'a'}", "squad.db.replaced-20260320T021500.000Z"]
)
def test_no_empty_database_is_made_where_a_restore_was_cut_off(db: Path, left: str) -> None:
    db.rename(db.with_name(left))
    with pytest.raises(StoreUnusable, match=f"There is no database at .* but {left} is beside"):
        Store.open(db)
    refused = typed("serve", "--db", db, "--port", "0")
    assert (refused.exit_code, left in refused.stderr) == (2, True)
    assert not db.exists()


def test_a_restore_that_was_cut_off_where_no_database_was_is_made_again(
    db: Path, folder: Path
) -> None:
    before = rows(db)
    file = back_up(db, folder, NOW)
    db.unlink()
    assert killed_at("dawnrule.application.backups.move_into_place", 1, "restore", db, file)
    with pytest.raises(StoreUnusable):
        Store.open(db)
    restore(file, db, NOW)
    assert (rows(db), half_made(db.parent)) == (before, [])


@pytest.mark.parametrize("content", [b"athlete_id,date\na-01,2026-03-09\n", b""])
def test_what_is_no_database_is_not_restored_and_told_so(tmp_path: Path, content: bytes) -> None:
    (tmp_path / "squad.csv").write_bytes(content)
    told = typed("restore", tmp_path / "squad.csv", "--db", tmp_path / "squad.db")
    assert told.exit_code == 2
    assert f"{tmp_path / 'squad.csv'} is not a database of Dawnrule." in told.stderr
    assert [file.name for file in tmp_path.iterdir()] == ["squad.csv"]
