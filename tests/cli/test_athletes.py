"""``dawnrule athletes``: a squad set up at the command line."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta, timezone
from pathlib import Path

import pytest

from dawnrule.model.entities import Athlete, Competition, PlanPhase
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


@pytest.mark.parametrize(
    ("words", "told"),
    [
        ((), "Missing: 'ID', '--name', '--time-zone', '--db' (env var: 'DAWNRULE_DB')."),
        (("a-03", "--db", "squad.db"), "Missing: '--name', '--time-zone'."),
        (("a-03", "--db", "squad.db", "--name", "Mara"), "Missing: '--time-zone'."),
    ],
)
def test_all_that_is_missing_is_named_at_once(words: tuple[str, ...], told: str) -> None:
    result = typed("athletes", "add", *words)
    assert (result.exit_code, told in result.stderr) == (2, True)


def test_an_erasure_is_told_and_what_is_left_to_do_where_archives_were_exported(
    db: Path, tmp_path: Path
) -> None:
    add(db, *MARA)
    add(db, *MARA, athlete_id="a-04")
    told = typed("athletes", "erase", "a-04", "--yes", "--db", db).stderr
    assert told == "a-04 was erased. Rows deleted, by table:\n"
    typed("archive", "export", "--to", tmp_path / "an archive", "--db", db)
    told = typed("athletes", "erase", "a-03", "--yes", "--db", db).stderr
    assert "a-03 was erased." in told
    assert f"dawnrule archive export --to '{tmp_path}/an archive' --db {db}\n" in told
    assert f"dawnrule archive erased --to COPY --db {db}\n" in told


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
    assert " ".join(header.split()) == (
        "Id Name Time zone Born Status Language Mass Phase Next competition"
    )
    assert first.split() == ["a-03", "Mara", "Europe/Berlin", "novice"]
    assert second.split() == ["a-04", "Tomo", "Asia/Tokyo"]


def test_body_mass_competitions_and_phases_are_typed_and_listed(
    db: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    meet = ("--competition", "2026-04-18 14:00 main Spring meet")
    later = ("--competition", "2026-05-02 minor")
    phases = ("--phase", "2026-03-01 2026-04-11 build", "--phase", "2026-04-12 2026-04-18 taper")
    add(db, *MARA, "--body-mass", "61.5", *later, *meet, *phases)
    athlete = known(db)[0]
    starts_at = datetime(2026, 4, 18, 14, tzinfo=timezone(timedelta(hours=2)))
    assert athlete.body_mass_kg == 61.5
    assert athlete.competitions == (
        Competition(date(2026, 4, 18), "main", starts_at, "Spring meet"),
        Competition(date(2026, 5, 2), "minor"),
    )
    assert athlete.phases == (
        PlanPhase(date(2026, 3, 1), date(2026, 4, 11), "build"),
        PlanPhase(date(2026, 4, 12), date(2026, 4, 18), "taper"),
    )
    monkeypatch.setattr("dawnrule.cli.athletes.now", lambda: datetime(2026, 4, 11, 12, tzinfo=UTC))
    row = typed("athletes", "list", "--db", db).stdout.splitlines()[-1]
    assert row.split()[3:] == (
        ["61.5", "build", "until", "2026-04-11", "2026-04-18", "main", "Spring", "meet"]
    )


def test_a_calendar_grows_a_date_is_said_anew_and_all_of_it_can_be_forgotten(db: Path) -> None:
    add(db, *MARA, "--competition", "2026-04-18 main", "--phase", "2026-03-01 2026-04-11 build")
    add(db, *MARA, "--competition", "2026-05-02 minor", "--phase", "2026-04-12 2026-04-18 taper")
    add(db, *MARA, "--competition", "2026-04-18 training")
    first, second = known(db)[0].competitions or ()
    assert (first.rank, second.rank) == ("training", "minor")
    assert [phase.phase for phase in known(db)[0].phases or ()] == ["build", "taper"]
    add(db, *MARA, "--no-phases", "--phase", "2026-03-01 2026-03-31 deload", "--no-competitions")
    assert known(db)[0].competitions is None
    assert [phase.phase for phase in known(db)[0].phases or ()] == ["deload"]
    assert add(db, *MARA) == "a-03 was already there; nothing changed.\n"


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (("--competition", "2026-04-18"), "lacks a rank"),
        (("--competition", ""), "lacks a rank"),
        (("--phase", "2026-04-18 build"), "must be two dates and a phase"),
        (("--body-mass", "light"), "not a valid float"),
    ],
)
def test_what_is_not_typed_as_it_should_be_says_how(
    db: Path, options: tuple[str, ...], words: str
) -> None:
    result = typed("athletes", "add", "a-03", *MARA, *options, "--db", db)
    assert result.exit_code == 2
    assert words in result.stderr
    assert not db.exists()


@pytest.mark.parametrize(
    ("athlete_id", "options", "words"),
    [
        ("a-03", ("--time-zone", "europe/berlin"), "did you mean Europe/Berlin"),
        ("a-03", ("--born", "17.05.2001"), "date_of_birth must be"),
        ("a-03", ("--born", "2999-05-17"), "date_of_birth must"),
        ("a-03", ("--status", "expert"), "training_status must be"),
        ("a-03", ("--language", "xx"), "language must be"),
        ("a 03", (), "athlete_id must be"),
        ("a-03", ("--body-mass", "5"), "body_mass_kg must be"),
        ("a-03", ("--competition", "18.04.2026 14:00 main"), "competitions/0/date must be"),
        ("a-03", ("--competition", "2026-04-18 final"), "competitions/0/rank must be"),
        (
            "a-03",
            ("--time-zone", "europe/berlin", "--competition", "2026-04-18 14:00 main"),
            "did you mean Europe/Berlin",
        ),
        ("a-03", ("--phase", "2026-04-18 2026-04-11 taper"), "phases/0/until must"),
        (
            "a-03",
            ("--phase", "2026-04-01 2026-04-11 build", "--phase", "2026-04-11 2026-04-18 taper"),
            "phases",
        ),
    ],
)
def test_somebody_who_cannot_be_is_not_added_and_no_database_is_made(
    db: Path, athlete_id: str, options: tuple[str, ...], words: str
) -> None:
    result = typed("athletes", "add", athlete_id, *MARA, *options, "--db", db)
    assert (result.exit_code, result.stdout) == (1, "")
    assert words in result.stderr
    assert not db.exists()
