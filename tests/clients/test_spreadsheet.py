"""Does a coach who posts the squad sheet get every verdict beside the right row?"""

from __future__ import annotations

import csv
from pathlib import Path

import pytest

from dawnrule.facts.check_in import Athlete
from tests.clients.conftest import CLIENTS, TODAY, Ask, Run
from tests.conftest import LiveServer

FOLDER = CLIENTS / "spreadsheet"
SCRIPT = "spreadsheet/post_sheet.py"

VERDICTS_OF_THE_SQUAD = [
    ("a-01", "swap-to-low-damage", "growth-work-too-soon"),
    ("a-02", "train-as-planned", ""),
    ("a-03", "train-as-planned", ""),
    ("a-04", "swap-to-low-damage", "two-signs-of-strain"),
    ("a-05", "swap-to-low-damage", "pain-not-soreness"),
    ("a-06", "rest", "illness-fever"),
    ("a-07", "rest", "warning-dark-urine-or-swelling"),
    ("a-08", "train-as-planned", ""),
]


@pytest.fixture(autouse=True)
def _squad_of_the_sheet(live_server: LiveServer) -> None:
    """The eight athletes of the sheet, all in Berlin."""
    athletes = [Athlete(row[0], f"Athlete {row[0]}", "Europe/Berlin") for row in rows_of_squad()]
    live_server.store.write(lambda books: [books.athletes.put(athlete) for athlete in athletes])


def rows_of_squad() -> list[list[str]]:
    return rows_in(FOLDER / "squad.csv")[1:]


def rows_in(file: Path, delimiter: str = ",") -> list[list[str]]:
    with file.open(encoding="utf-8-sig", newline="") as text:
        return list(csv.reader(text, delimiter=delimiter))


@pytest.mark.parametrize("key", ["coach", "poster"])
def test_every_row_gets_its_verdict_and_it_is_stored(
    run: Run, ask: Ask, tmp_path: Path, key: str
) -> None:
    (tmp_path / "squad.csv").write_bytes((FOLDER / "squad.csv").read_bytes())
    done = run(SCRIPT, "squad.csv", key=key)
    assert (done.returncode, done.stderr) == (0, "")

    header, *rows = rows_in(tmp_path / "squad-verdicts.csv")
    assert header[-4:] == ["verdict", "rule", "reason", "caution"]
    assert [(row[0], row[-4], row[-3]) for row in rows] == VERDICTS_OF_THE_SQUAD
    assert all(reason and caution for *_, reason, caution in rows)
    stored = ask(f"/v1/advice?date={TODAY}")["advice"]
    assert [
        (one["athlete_id"], one["verdict"], one["rule"]["id"] if one["rule"] else "")
        for one in stored
    ] == VERDICTS_OF_THE_SQUAD


def test_the_coachs_own_cells_come_back_untouched(run: Run, tmp_path: Path) -> None:
    run(SCRIPT, str(FOLDER / "squad.csv"), "--out", "out.csv")
    given = rows_in(FOLDER / "squad.csv")
    assert [row[: len(given[0])] for row in rows_in(tmp_path / "out.csv")] == given
    assert "läuft gut" in [row[given[0].index("notes")] for row in given]


def test_a_refused_row_is_named_by_row_and_column_and_the_good_one_is_kept(
    run: Run, ask: Ask, tmp_path: Path
) -> None:
    done = run(SCRIPT, str(FOLDER / "squad_with_mistakes.csv"), "--out", "out.csv")
    assert (done.returncode, done.stderr) == (1, "")
    assert done.stdout.splitlines() == [
        "row 3, sleep_hours: must be from 0 to 24 (it says 450)",
        "row 3, soreness_quadriceps: must be from 0 to 10 (it says 14)",
        "2 rows read; the verdicts are in out.csv",
    ]
    _, good, bad = rows_in(tmp_path / "out.csv")
    assert good[-4] == "train-as-planned"
    assert bad[-4:] == ["", "", "", ""]
    stored = {
        one["athlete_id"]: one["verdict"] for one in ask(f"/v1/advice?date={TODAY}")["advice"]
    }
    assert stored.get("a-01") == "train-as-planned"
    assert stored.get("a-02") is None


def test_a_sheet_with_semicolons_and_blank_rows_keeps_verdicts_beside_their_rows(
    run: Run, tmp_path: Path
) -> None:
    lines = ["sep=;", "Athlete_ID;Date;sleep_hours", f"a-01;{TODAY};8", ";;", "", f"a-02;{TODAY}"]
    lines += [f"a-04;{TODAY};3,5"]
    (tmp_path / "own.csv").write_text("\r\n".join(lines), encoding="utf-8-sig")
    assert run(SCRIPT, "own.csv").returncode == 0
    rows = rows_in(tmp_path / "own-verdicts.csv")
    beside = {row[0]: row[3] for row in rows[1:] if row and row[0]}
    assert beside == {
        "a-01": "train-as-planned",
        "a-02": "train-as-planned",
        "a-04": "swap-to-low-damage",
    }
    assert rows[0][:4] == ["Athlete_ID", "Date", "sleep_hours", "verdict"]


def test_the_same_sheet_again_changes_nothing(run: Run, ask: Ask, tmp_path: Path) -> None:
    run(SCRIPT, str(FOLDER / "squad.csv"), "--out", "first.csv")
    stored = ask(f"/v1/advice?date={TODAY}")
    assert run(SCRIPT, str(FOLDER / "squad.csv"), "--out", "second.csv").returncode == 0
    assert ask(f"/v1/advice?date={TODAY}") == stored
    assert (tmp_path / "first.csv").read_bytes() == (tmp_path / "second.csv").read_bytes()


def test_an_unknown_athlete_is_a_refused_row_and_no_new_person(
    run: Run, ask: Ask, tmp_path: Path
) -> None:
    (tmp_path / "typo.csv").write_text(f"athlete_id,date\na-0l,{TODAY}\n", encoding="utf-8")
    done = run(SCRIPT, "typo.csv")
    assert done.returncode == 1
    assert done.stdout.splitlines()[0] == "row 2: There is no athlete 'a-0l'."
    assert "a-0l" not in [one["athlete_id"] for one in ask("/v1/athletes")["athletes"]]


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"name,age\nAda,30\n", "missing: athlete_id, date"),
        (b"PK\x03\x04", "save the sheet as CSV"),
        (b"athlete_id,date\nZo\xeb,2026-03-09\n", "not UTF-8"),
        (b"", "missing: athlete_id, date"),
    ],
    ids=["other columns", "not CSV", "not UTF-8", "empty"],
)
def test_a_file_that_is_no_sheet_is_told_in_one_line(
    run: Run, tmp_path: Path, content: bytes, words: str
) -> None:
    (tmp_path / "file.csv").write_bytes(content)
    done = run(SCRIPT, "file.csv")
    assert (done.returncode, done.stdout) == (2, "")
    assert len(done.stderr.splitlines()) == 1
    assert words in done.stderr
    assert not (tmp_path / "file-verdicts.csv").exists()


def test_a_file_that_is_not_there_is_told_in_one_line(run: Run) -> None:
    done = run(SCRIPT, "nowhere.csv")
    assert (done.returncode, done.stderr) == (2, "nowhere.csv: No such file or directory\n")


@pytest.mark.parametrize("sheet", ["squad", "squad_with_mistakes"])
def test_the_readme_shows_what_the_script_prints(run: Run, tmp_path: Path, sheet: str) -> None:
    (tmp_path / f"{sheet}.csv").write_bytes((FOLDER / f"{sheet}.csv").read_bytes())
    readme = (FOLDER / "README.md").read_text(encoding="utf-8")
    shown = [line.strip() for line in readme.splitlines()]
    for line in run(SCRIPT, f"{sheet}.csv").stdout.splitlines():
        assert line in shown
