"""``dawnrule keys``: keys shown once, by role, and revoked for good."""

from __future__ import annotations

from pathlib import Path

import pytest

from dawnrule.model.entities import Athlete
from dawnrule.store import Role, Store, hash_key
from tests.cli.terminal import typed


@pytest.fixture
def db(tmp_path: Path) -> Path:
    file = tmp_path / "squad.db"
    with Store.open(file) as store:
        store.write(
            lambda transaction: transaction.athletes.put(Athlete("a-03", "Ilka", "Europe/Berlin"))
        )
    return file


def create(db: Path, *options: str) -> str:
    result = typed("keys", "create", *options, "--db", db)
    assert result.exit_code == 0
    return result.stdout.removesuffix("\n")


def test_the_key_stands_alone_on_standard_output(db: Path) -> None:
    result = typed("keys", "create", "--role", "coach", "--db", db)
    assert result.stdout.startswith("dawn_")
    assert len(result.stdout.splitlines()) == 1
    assert "Not shown again" in result.stderr


def test_only_the_hash_of_a_key_is_stored(db: Path) -> None:
    key = create(db, "--role", "poster", "--label", "tablet")
    with Store.open(db) as store:
        stored = store.read(lambda transaction: transaction.keys.by_hash(hash_key(key)))
    assert stored is not None
    assert (stored.role, stored.label) == (Role.POSTER, "tablet")
    assert all(key.encode() not in file.read_bytes() for file in db.parent.iterdir())


def test_an_athletes_key_names_the_athlete(db: Path) -> None:
    key = create(db, "--role", "athlete", "--athlete", "a-03")
    with Store.open(db) as store:
        stored = store.read(lambda transaction: transaction.keys.by_hash(hash_key(key)))
    assert stored is not None
    assert (stored.role, stored.athlete_id) == (Role.ATHLETE, "a-03")


def test_a_first_key_makes_the_database(tmp_path: Path) -> None:
    create(tmp_path / "new.db", "--role", "coach")
    assert (tmp_path / "new.db").stat().st_mode & 0o777 == 0o600


def test_keys_are_listed_by_id_and_never_shown_again(db: Path) -> None:
    key = create(db, "--role", "athlete", "--athlete", "a-03", "--label", "phone")
    result = typed("keys", "list", "--db", db)
    header, _, line = result.stdout.splitlines()
    assert header.split() == ["Id", "Role", "Athlete", "Label", "Made", "Revoked"]
    assert line.split()[1:4] == ["athlete", "a-03", "phone"]
    assert key not in result.stdout


def test_a_revoked_key_has_ended_and_stays_listed(db: Path) -> None:
    key = create(db, "--role", "coach")
    key_id = typed("keys", "list", "--db", db).stdout.splitlines()[2].split()[0]
    assert typed("keys", "revoke", key_id, "--db", db).exit_code == 0
    with Store.open(db) as store:
        assert store.read(lambda transaction: transaction.keys.by_hash(hash_key(key))) is None
    assert key_id in typed("keys", "list", "--db", db).stdout
    again = typed("keys", "revoke", key_id, "--db", db)
    assert (again.exit_code, again.stdout) == (2, "")
    assert f"There is no active key {key_id}" in again.stderr


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (("--role", "athlete"), "needs --athlete ID"),
        (("--role", "coach", "--athlete", "a-03"), "no other role accepts"),
        (("--role", "athlete", "--athlete", "a-99"), "no athlete 'a-99'"),
        (("--role", "owner"), "'owner' is not one of"),
        ((), "Missing option '--role'"),
    ],
)
def test_a_key_that_cannot_be_is_not_made(db: Path, options: tuple[str, ...], words: str) -> None:
    result = typed("keys", "create", *options, "--db", db)
    assert (result.exit_code, result.stdout) == (2, "")
    assert words in result.stderr
    assert len(typed("keys", "list", "--db", db).stdout.splitlines()) == 2


@pytest.mark.parametrize("words", [("keys", "list"), ("keys", "revoke", "k")])
def test_looking_at_a_database_that_is_not_there_makes_none(
    tmp_path: Path, words: tuple[str, ...]
) -> None:
    result = typed(*words, "--db", tmp_path / "none.db")
    assert result.exit_code == 2
    assert "There is no database" in result.stderr
    assert list(tmp_path.iterdir()) == []


def test_the_database_may_come_from_the_environment(db: Path) -> None:
    assert typed("keys", "list", DAWNRULE_DB=str(db)).exit_code == 0
    assert typed("keys", "list").exit_code == 2
