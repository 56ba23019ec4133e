"""``dawnrule athletes``: a squad set up at the command line."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pytest

from dawnrule.model.entities import Athlete
from dawnrule.store import Store
from tests.cli.terminal import typed

MARA = ("--name", "Mara", "--time-zone", "Europe/Berlin")


@pytest.fixture
def db(tmp_path: Path) -> Path:
    return tmp_path / "squad.db"


def add(db: Path, *options: str, athlete_id: str = "a-03") -> str:
    result = typed("athletes", "add", athlete_id, *options, "--db", db)
    assert (result.exit_code, result.stdout) == (0, "")
    return result.stderr


def known(db: Path) -> list[Athlete]:
    with Store.open(db, must_exist=True) as store:
        return store.read(lambda transaction: transaction.athletes.all())


def test_a_first_athlete_makes_the_database(db: Path) -> None:
    more = ("--born", "2001-05-17", "--status", "trained", "--language", "de")
    assert add(db, *MARA, *more) == "a-03 was added.\n"
    born = date(2001, 5, 17)
    assert known(db) == [Athlete("a-03", "Mara", "Europe/Berlin", born, "trained", "de")]


def test_what_is_not_said_again_stays_and_a_change_is_told(db: Path) -> None:
    add(db, *MARA, "--born", "2001-05-17")
    assert add(db, *MARA) == "a-03 was already there; nothing changed.\n"
    assert add(db, *MARA, "--language", "de") == "a-03 was changed.\n"
    born = date(2001, 5, 17)
    assert known(db) == [Athlete("a-03", "Mara", "Europe/Berlin", born, None, "de")]


def test_adding_and_changing_are_noted_as_acts(db: Path) -> None:
    add(db, *MARA)
    add(db, *MARA, "--status", "novice")
    result = typed("audit", "acts", "--db", db).stdout
    assert result.index("athlete-edited") < result.index("athlete-added"), "the newest first"
    assert "training_status" in result


def test_everybody_is_listed_by_id(db: Path) -> None:
    add(db, "--name", "Tomo", "--time-zone", "Asia/Tokyo", athlete_id="a-04")
    add(db, *MARA, "--status", "novice")
    header, _, first, second = typed("athletes", "list", "--db", db).stdout.splitlines()
    assert header.split() == ["Id", "Name", "Time", "zone", "Born", "Status", "Language"]
    assert first.split() == ["a-03", "Mara", "Europe/Berlin", "novice"]
    assert second.split() == ["a-04", "Tomo", "Asia/Tokyo"]


@pytest.mark.parametrize(
    ("athlete_id", "options", "words"),
    [
        ("a-03", ("--time-zone", "europe/berlin"), "did you mean Europe/Berlin"),
        ("a-03", ("--born", "17.05.2001"), "date_of_birth must be"),
        ("a-03", ("--born", "2999-05-17"), "date_of_birth must"),
        ("a-03", ("--status", "expert"), "training_status must be"),
        ("a-03", ("--language", "xx"), "language must be"),
        ("a 03", (), "athlete_id must be"),
    ],
)
def test_somebody_who_cannot_be_is_not_added_and_no_database_is_made(
    db: Path, athlete_id: str, options: tuple[str, ...], words: str
) -> None:
    result = typed("athletes", "add", athlete_id, *MARA, *options, "--db", db)
    assert (result.exit_code, result.stdout) == (1, "")
    assert words in result.stderr
    assert not db.exists()
