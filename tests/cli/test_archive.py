"""Archives exported and replayed at a terminal."""

from __future__ import annotations

import json
import shutil
import sys
from pathlib import Path
from socket import socket
from types import ModuleType

import duckdb
import pytest

from dawnrule.analytics.tombstones import list_of
from tests.cli.terminal import typed

GUIDE = Path(__file__).parents[2] / "rules" / "README.md"
RULES = ("--rules", "baseline@1.0.0")


@pytest.fixture(scope="module")
def db(demo_database: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A copy of the demo's database."""
    file = tmp_path_factory.mktemp("club") / "squad.db"
    shutil.copy(demo_database, file)
    return file


@pytest.fixture(scope="module")
def archive(db: Path) -> Path:
    """What it exported."""
    folder = db.parent / "archive"
    result = typed("archive", "export", "--to", folder, "--db", db)
    assert result.exit_code == 0
    assert str(folder) in result.stdout
    assert result.stdout.endswith(" mornings\n")
    return folder


def counts(*words: object) -> dict[str, object]:
    """What a replay counts, without the ids of athletes."""
    result = json.loads(typed("replay", *RULES, "--format", "json", *words).stdout)
    names = ("decisions", "days", "parts", "fired", "decided_before", "decided_now")
    return {name: result[name] for name in names}


def test_a_replay_of_an_archive_counts_what_one_of_the_database_does(
    db: Path, archive: Path
) -> None:
    assert counts("--archive", archive) == counts("--db", db)


def test_a_scorecard_of_an_archive_is_that_of_the_database(db: Path, archive: Path) -> None:
    words = ("rules", "scorecard", "baseline@1.0.0", "--format", "json")
    of_archive, of_database = (
        json.loads(typed(*words, *source).stdout)
        for source in (("--archive", archive), ("--db", db))
    )
    assert of_archive == of_database
    assert of_archive["all_mornings"]["outcomes"]["session"]["done"]["count"] > 0


def test_replays_and_scorecards_say_how_many_clubs_they_read(archive: Path) -> None:
    for command in (("replay", *RULES), ("rules", "scorecard", "baseline@1.0.0")):
        told = typed(*command, "--format", "json", "--archive", archive).stderr
        assert told.splitlines()[0] == f"1 club read, in 1 archive: {archive}"


def test_a_replay_of_an_archive_names_the_club_of_each_athlete(archive: Path) -> None:
    [club] = (folder.name.removeprefix("club=") for folder in archive.glob("club=*"))
    words = ("replay", "--rules", "baseline@2.0.0", "--archive", archive, "--format")
    result = json.loads(typed(*words, "json").stdout)
    named = [*result["athletes"], *result["changed"]]
    assert {one["athlete_id"].partition("/")[0] for one in named} == {club}
    assert len(result["changed"]) > 0
    [_, *rows] = typed(*words, "csv").stdout.splitlines()
    assert {row.partition("/")[0] for row in rows} == {club}
    tables = typed(*words, "table").stdout.split("\n\n")
    [of_clubs] = [table for table in tables if table.startswith("Club")]
    [row] = [line.split() for line in of_clubs.splitlines()[2:]]
    assert (row[0], sum(map(int, row[1:]))) == (club, result["mornings"])


def test_a_replay_of_a_database_has_no_clubs(db: Path) -> None:
    told = typed("replay", *RULES, "--db", db)
    assert "\nAthlete" in told.stdout
    assert "\nClub" not in told.stdout


def test_a_replay_of_an_archive_may_be_of_some_dates(db: Path, archive: Path) -> None:
    some = ("--from", "2100-01-01")
    result = typed("replay", *RULES, "--archive", archive, *some)
    assert result.stdout.startswith("baseline@1.0.0: 0 mornings")
    assert (
        "There are no mornings from 2100-01-01 on; there are from 2024-02-12 to 2024-03-11."
    ) in result.stderr


def test_a_scorecard_of_an_archive_names_the_rule_sets_that_decided(archive: Path) -> None:
    result = typed("rules", "scorecard", "baseline@1.1.0", "--archive", archive)
    assert (result.exit_code, result.stdout) == (0, "baseline@1.1.0: 0 mornings\n")
    assert "Advice was given by baseline@1.0.0 (392 mornings" in result.stderr


def test_a_rule_set_that_is_not_known_may_be_one_that_was_published_in_a_database(
    db: Path, archive: Path
) -> None:
    for words in (("rules", "sql"), ("replay", "--archive", archive, "--rules")):
        assert "is found with --db." in typed(*words, "our-club@1.0.0").stderr
        assert "is found with --db." not in typed(*words, "our-club@1.0.0", "--db", db).stderr


def test_a_replay_of_an_archive_says_that_all_is_done(archive: Path) -> None:
    result = json.loads(typed("replay", *RULES, "--archive", archive, "--format", "json").stdout)
    assert result["mornings_in_all"] == result["mornings_done"] == result["mornings"] > 0


def test_dates_in_the_wrong_order_are_refused_for_an_archive_too(archive: Path) -> None:
    dates = ("--to", "2026-03-01", "--from", "2026-03-02")
    for command in (("replay", *RULES), ("rules", "scorecard", "baseline@1.0.0")):
        result = typed(*command, "--archive", archive, *dates)
        assert (
            result.exit_code,
            "--to 2026-03-01 is before --from 2026-03-02" in result.stderr,
        ) == (2, True)


def test_the_list_of_who_was_erased_is_brought_up_to_date(db: Path, archive: Path) -> None:
    [club] = archive.glob("club=*")
    for folder in (archive, club):
        result = typed("archive", "erased", "--to", folder, "--db", db)
        assert (result.exit_code, result.stdout.count("is up to date")) == (0, 1)
    elsewhere = typed("archive", "erased", "--to", archive.parent / "none", "--db", db)
    assert (elsewhere.exit_code, f"has no folder {club.name}" in elsewhere.stderr) == (2, True)


def test_a_cluster_needs_an_extra_and_the_command_says_so(
    archive: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(sys.modules, "pyspark", None)
    monkeypatch.setitem(sys.modules, "py4j", None)
    cluster = ("--engine", "spark", "--master", "spark://127.0.0.1:7077")
    result = typed("replay", *RULES, "--archive", archive, *cluster)
    assert (result.exit_code, "pip install 'dawnrule[spark]'" in result.stderr) == (1, True)


def test_an_address_that_is_given_twice_is_refused(archive: Path) -> None:
    cluster = ("--engine", "spark", "--master", "spark://127.0.0.1:7077")
    twice = ("--archive", "s3a://clubs", "--archive", "s3a://clubs")
    result = typed("replay", *RULES, *twice, *cluster)
    assert (result.exit_code, "s3a://clubs is given twice" in result.stderr) == (1, True)
    assert "is not checked" in result.stderr


@pytest.mark.parametrize(
    "address", ["file://{}", "file://{}/", "file://{}/../archive", "{}/../archive"]
)
def test_a_folder_that_is_given_twice_in_other_words_is_refused(
    archive: Path, address: str
) -> None:
    cluster = ("--engine", "spark", "--master", "spark://127.0.0.1:7077")
    twice = ("--archive", archive, "--archive", address.format(archive))
    result = typed("replay", *RULES, *twice, *cluster)
    assert (result.exit_code, "is given twice" in result.stderr) == (1, True)


@pytest.mark.parametrize(
    "master", ["spark://127.0.0.1:{port}", "spark://127.0.0.1:{port},no-port,[::1]:99999"]
)
def test_a_cluster_that_does_not_answer_is_told_before_it_is_waited_for(
    archive: Path, monkeypatch: pytest.MonkeyPatch, master: str
) -> None:
    for module, name in (
        ("py4j.protocol", "Py4JError"),
        ("pyspark.errors", "PySparkException"),
        ("pyspark.sql", "SparkSession"),
    ):
        stand_in = ModuleType(module)
        setattr(stand_in, name, type(name, (Exception,), {}))
        monkeypatch.setitem(sys.modules, module, stand_in)
    with socket() as taken:  # and not listened to
        taken.bind(("127.0.0.1", 0))
        address = master.format(port=taken.getsockname()[1])
        cluster = ("--engine", "spark", "--master", address)
        result = typed("replay", *RULES, "--archive", archive, *cluster)
    assert (result.exit_code, result.stdout) == (1, "")
    assert f"No cluster answers at {address}." in result.stderr


@pytest.mark.parametrize("erased", [0, 1])
def test_the_guide_makes_an_archive_the_table_of_a_query(
    archive: Path, tmp_path: Path, erased: int
) -> None:
    shutil.copytree(archive, tmp_path / "copy")
    [club] = (tmp_path / "copy").glob("club=*")
    [_, view] = GUIDE.read_text(encoding="utf-8").split("```sql\n")
    sql = typed("rules", "sql", "baseline@1.0.0", "--dialect", "duckdb").stdout
    with duckdb.connect() as database:
        database.execute(view.split("```")[0].replace("ARCHIVE", str(tmp_path / "copy")))
        ids = database.execute("SELECT DISTINCT athlete_id FROM facts ORDER BY 1").fetchall()
        (club / "erased.txt").write_text(list_of(club.name, [who for (who,) in ids[:erased]]))
        decided = database.execute(sql).fetchall()
        clubs = database.execute("SELECT DISTINCT club FROM facts").fetchall()
    result = counts("--archive", tmp_path / "copy")
    assert len(decided) == result["decisions"]
    assert len({who for who, *_ in decided}) == len(ids) - erased
    assert clubs == [(club.name.removeprefix("club="),)]


@pytest.mark.parametrize(
    ("words", "told"),
    [
        ((), "Give --db or --archive."),
        (("--engine", "spark"), "go together"),
        (("--engine", "spark", "--master", "spark://127.0.0.1:1"), "go together"),
        (("--master", "spark://127.0.0.1:1", "--archive", "x"), "go together"),
    ],
)
def test_options_that_do_not_go_together_are_refused(words: tuple[str, ...], told: str) -> None:
    result = typed("replay", *RULES, *words)
    assert (result.exit_code, told in result.stderr) == (2, True)
