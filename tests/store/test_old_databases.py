"""Databases of every earlier version, opened by this one.

The databases in ``tests/databases`` were written by the versions after which they are named; how,
stands in the README beside them.
"""

from __future__ import annotations

import shutil
import sqlite3
from contextlib import closing
from datetime import UTC, date, datetime
from pathlib import Path

import pytest

from dawnrule.advice.advisor import Advisor
from dawnrule.application.active_rules import StoredTexts
from dawnrule.application.audit import audit
from dawnrule.application.backups import back_up, restore
from dawnrule.application.check_ins import CheckIns, Submission
from dawnrule.clock import new_id
from dawnrule.errors import StoreUnusable
from dawnrule.schemas import load_check_in
from dawnrule.store import Role, Store, hash_key
from dawnrule.store.migrations import MIGRATIONS
from tests.cli.terminal import typed
from tests.databases.make import FOLDER, KEY

OLD = sorted(FOLDER.glob("*.db"))
NEVER_THE_NEWEST = {"m004_ledger", "m007_calendars", "m010_groups"}
"""Released with the one after them."""
TODAY = datetime(2026, 3, 20, 5, 45, tzinfo=UTC)
CHECK_IN = {"athlete_id": "a-03", "date": "2026-03-20", "sleep": {"hours": 7.5}, "plan": []}


@pytest.fixture(params=OLD, ids=lambda file: file.stem)
def db(request: pytest.FixtureRequest, tmp_path: Path) -> Path:
    """A copy of a database that an earlier version has written."""
    return Path(shutil.copy(request.param, tmp_path / "squad.db"))


def rows(file: Path, query: str) -> list[tuple[object, ...]]:
    with closing(sqlite3.connect(file)) as connection:
        return connection.execute(query).fetchall()


def applied(file: Path) -> list[str]:
    return [str(name) for (name,) in rows(file, "SELECT name FROM _sqlite_migrations ORDER BY id")]


def test_there_is_a_database_of_each_earlier_version() -> None:
    """Of the newest migration there is none until it is released: see ``make.py``."""
    names = [step.__name__ for step in MIGRATIONS if step.__name__ not in NEVER_THE_NEWEST]
    assert [file.stem for file in OLD] in (names, names[:-1])


@pytest.mark.parametrize("file", OLD, ids=lambda file: file.stem)
def test_each_is_just_as_old_as_its_name_says(file: Path) -> None:
    names = [step.__name__ for step in MIGRATIONS]
    assert applied(file) == names[: names.index(file.stem) + 1]


def test_every_advice_is_there_as_it_was_written(db: Path) -> None:
    query = "SELECT id, record, decided_at, supersedes FROM advice ORDER BY position"
    before = rows(db, query)
    assert len(before) >= 4
    Store.open(db).close()
    assert rows(db, query) == before
    assert applied(db) == [step.__name__ for step in MIGRATIONS]


def test_what_people_reported_and_who_may_ask_is_there(db: Path) -> None:
    with Store.open(db) as store:
        assert [a.name for a in store.read(lambda transaction: transaction.athletes.all())] == [
            "Mara",
            "Tomo",
        ]
        key = store.read(lambda transaction: transaction.keys.by_hash(hash_key(KEY)))
        assert key is not None
        assert key.role is Role.COACH
        check_in = store.read(
            lambda transaction: transaction.check_ins.latest("a-03", date(2026, 3, 10))
        )
        assert check_in is not None
        assert check_in.body["sleep"]["hours"] == 5.5
    assert rows(db, "SELECT count(*) FROM sessions") == [(1,)]


def test_a_fever_that_nobody_has_answered_since_is_an_open_concern(db: Path) -> None:
    with Store.open(db) as store:
        [concern] = store.read(lambda transaction: transaction.concerns.not_ended())
    assert (concern.athlete_id, concern.kind, concern.state) == ("a-04", "illness", "open")
    assert concern.began_on == date(2026, 3, 11)


def test_its_advice_stands_in_the_ledger_from_then_on(db: Path) -> None:
    with Store.open(db) as store:
        library = Advisor.bundled().library.with_published(StoredTexts(store))
        audited = audit(store, library, by_engine_each=1)
    assert audited.is_clean
    assert audited.records == len(rows(db, "SELECT id FROM advice"))


def test_a_morning_goes_on_from_what_was_known(db: Path) -> None:
    advisor = Advisor.bundled()
    rule_set = advisor.library.get("baseline", "1.1.0")
    check_ins = CheckIns(advisor, rule_set, lambda: TODAY, new_id)
    posting = Submission(TODAY, None, "check-in-new", "advice-new")
    with Store.open(db) as store:
        answer = store.write(
            lambda transaction: check_ins.submit(transaction, load_check_in(CHECK_IN), posting)
        )
        assert answer.is_new
        library = advisor.library.with_published(StoredTexts(store))
        assert audit(store, library).is_clean


def test_its_back_up_is_kept_as_old_as_it_is_and_restored_as_this_version_has_it(
    db: Path, tmp_path: Path
) -> None:
    before, old = rows(db, "SELECT id, record FROM advice"), applied(db)
    file = back_up(db, tmp_path / "kept.db", TODAY)
    assert applied(file) == old
    restore(file, tmp_path / "again.db", TODAY)
    assert applied(tmp_path / "again.db") == [step.__name__ for step in MIGRATIONS]
    assert rows(tmp_path / "again.db", "SELECT id, record FROM advice") == before


@pytest.fixture
def newer(tmp_path: Path) -> Path:
    """A database that a version after this one has opened."""
    db = tmp_path / "squad.db"
    Store.open(db).close()
    with closing(sqlite3.connect(db)) as connection, connection:
        connection.execute(
            "INSERT INTO _sqlite_migrations (migration_set, name, applied_at) "
            "VALUES ('dawnrule', 'm999_later', '2030-01-01')"
        )
    return db


def test_what_a_newer_version_has_written_is_left_alone(newer: Path) -> None:
    with pytest.raises(StoreUnusable, match=r"newer version of Dawnrule.*m999_later"):
        Store.open(newer)


@pytest.mark.parametrize(
    "words",
    [
        ("serve",),
        ("keys", "list"),
        ("keys", "create", "--role", "coach"),
        ("backup", "--to", "copy.db"),
        ("replay", "--rules", "baseline@1.1.0"),
        ("rules", "scorecard", "baseline@1.1.0"),
        ("audit", "verify"),
    ],
    ids=" ".join,
)
def test_every_command_says_why_it_leaves_a_newer_one_alone(
    newer: Path, words: tuple[str, ...], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(newer.parent)
    refused = typed(*words, "--db", newer)
    assert refused.exit_code == 2
    assert "was written by a newer version of Dawnrule" in refused.stderr
    assert "Install the newer version" in refused.stderr
    assert not Path("copy.db").exists()
