"""``dawnrule sheets``, and what ``advise`` takes without asking."""

from __future__ import annotations

from pathlib import Path

import pytest

from dawnrule.store import Store
from tests.cli.terminal import typed

SHEET = "Name,Date,Legs,Sore,Seat\nMara,2026-03-09,8,6,4\nNils Arp,2026-03-09,2,1,3\n"


@pytest.fixture
def db(tmp_path: Path) -> Path:
    path = tmp_path / "squad.db"
    typed("athletes", "add", "a-03", "--name=Mara", "--time-zone=Europe/Berlin", f"--db={path}")
    return path


@pytest.fixture
def sheet(tmp_path: Path) -> Path:
    path = tmp_path / "own.csv"
    path.write_text(SHEET)
    return path


def known(db: Path) -> list[dict[str, str]]:
    with Store.open(db) as store:
        return [dict(one.meanings) for one in store.read(lambda b: b.introduced_sheets.all())]


def test_each_column_is_shown_and_asked_about_once(db: Path, sheet: Path) -> None:
    given = b"\nignore\ny\ny\n"  # the proposal for Sore, Seat, all else right, Nils Arp added
    options = (f"--db={db}", "--time-zone=Europe/Berlin")
    result = typed("sheets", "introduce", sheet, *options, given=given)
    assert result.exit_code == 0, result.output
    assert "soreness_legs" in result.output
    [said] = known(db)
    assert said == {
        "name": "athlete_id",
        "date": "date",
        "legs": "soreness_legs",
        "sore": "soreness_all",
        "seat": "ignore",
    }
    assert "Nils Arp" in typed("athletes", "list", f"--db={db}").output
    listed = typed("sheets", "list", f"--db={db}").output
    sheet_id = listed.splitlines()[2].split()[0]
    assert typed("sheets", "forget", sheet_id, f"--db={db}").exit_code == 0
    assert known(db) == []


def test_accept_takes_what_is_proposed_and_never_ignores_what_may_tell_of_health(
    db: Path, sheet: Path
) -> None:
    refused = typed("sheets", "introduce", sheet, "--accept", f"--db={db}")
    assert refused.exit_code == 1
    assert "/columns/seat" in refused.output or "seat" in refused.output
    assert known(db) == []
    means = "--means=Seat=ignore"
    taken = typed("sheets", "introduce", sheet, "--accept", means, f"--db={db}")
    assert taken.exit_code == 0
    assert known(db)[0]["sore"] == "soreness_all"
    add = f"dawnrule athletes add ID --name 'Nils Arp' --time-zone ZONE --db {db}\n"
    assert f"Nils Arp is not known. To add them: {add}" in taken.stderr
    assert "Nils Arp" not in typed("athletes", "list", f"--db={db}").output


def test_advise_asks_takes_and_is_told(sheet: Path) -> None:
    asked = typed("advise", sheet)
    assert asked.exit_code == 1
    assert "Sore" in asked.stderr
    assert "Seat" in asked.stderr
    assert "Sore" not in typed("advise", sheet, "--accept").stderr.partition("Seat")[0]
    taken = typed("advise", sheet, "--accept", "--means=Seat=ignore")
    assert taken.exit_code == 0
    assert "Nils Arp" in taken.stdout
    wrong = typed("advise", sheet, "--means=Seat=ignor")
    assert "Did you mean ignore?" in wrong.stderr


BETTER = (
    "Energy",
    "Readiness",
    "Recovery",
    "Freshness",
    "Mood",
    "Motivation",
    "Energie",
    "Stimmung",
)


@pytest.mark.parametrize("header", BETTER)
def test_a_rating_of_which_more_is_better_is_never_taken_for_one_of_which_more_is_worse(
    tmp_path: Path, header: str
) -> None:
    sheet = tmp_path / "own.csv"
    sheet.write_text(f"Name,Date,Tired,{header}\nMara,2026-03-09,2,9\n")
    said = typed("advise", sheet, "--accept")
    assert said.exit_code == 1
    assert header in said.stderr
    assert "fatigue" not in said.stderr.partition(header)[2].splitlines()[0]


def test_what_is_proposed_is_taken_for_one_column_only(tmp_path: Path) -> None:
    sheet = tmp_path / "own.csv"
    sheet.write_text("Name,Date,Fatigue,How tired today\nMara,2026-03-09,2,9\n")
    said = typed("advise", sheet, "--accept")
    assert said.exit_code == 1
    assert "How tired today" in said.stderr
    assert "twice" not in said.stderr
    taken = typed("advise", sheet, "--accept", "--means=How tired today=ignore")
    assert taken.exit_code == 0, taken.stderr
