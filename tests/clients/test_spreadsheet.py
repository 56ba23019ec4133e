"""The spreadsheet client: every verdict in the right row of a posted sheet."""

from __future__ import annotations

import csv
import shutil
from datetime import UTC, date, datetime
from pathlib import Path

import pytest

from tests.clients.conftest import TODAY, Ask, Run
from tests.clients.squad_sheet import ANSWERS, FOLDER, LABELS, put_squad, table
from tests.conftest import LiveServer

SCRIPT = "spreadsheet/post_sheet.py"

OWN_SHEETS = ("wellness", "hrv", "jumps")
NOW = datetime(2026, 3, 9, 9, tzinfo=UTC)
VERDICTS_OF_THE_SQUAD = [
    ("a-01", "swap-to-low-damage", "growth-work-too-soon"),
    ("a-02", "train-as-planned", ""),
    ("a-03", "train-as-planned", ""),
    ("a-04", "swap-to-low-damage", "two-signs-of-strain"),
    ("a-05", "rest", "pain-not-soreness"),
    ("a-06", "rest", "illness-fever"),
    ("a-07", "rest", "warning-dark-urine"),
    ("a-08", "train-as-planned", ""),
]


@pytest.fixture(autouse=True)
def _squad_of_the_sheet(live_server: LiveServer) -> None:
    put_squad(live_server)


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

    header, *rows = rows_in(tmp_path / "squad.csv-verdicts.csv")
    assert header[-5:] == list(ANSWERS)
    assert [(row[0], row[-5], row[-4]) for row in rows] == [
        (athlete, LABELS[verdict], rule) for athlete, verdict, rule in VERDICTS_OF_THE_SQUAD
    ]
    assert all(reason and caution and not problem for *_, reason, caution, problem in rows)
    stored = ask(f"/v1/advice?date={TODAY}")["advice"]
    assert [
        (one["athlete_id"], one["verdict"], one["rule"]["id"] if one["rule"] else "")
        for one in stored
    ] == VERDICTS_OF_THE_SQUAD


@pytest.mark.parametrize(("kind", "answered"), [(".xlsx", ".xlsx"), (".ods", ".csv")])
def test_a_spreadsheet_programs_own_file_is_sent_as_it_is(
    run: Run, tmp_path: Path, kind: str, answered: str
) -> None:
    shutil.copy(FOLDER / f"squad{kind}", tmp_path)
    done = run(SCRIPT, f"squad{kind}")
    assert (done.returncode, done.stderr) == (0, "")
    out = tmp_path / f"squad{kind}-verdicts{answered}"
    assert done.stdout.endswith(f"8 rows read; the verdicts are in {out.name}\n")
    if answered == ".csv":
        header, *cells = rows_in(out)
        rows = [dict(zip(header, row, strict=True)) for row in cells]
    else:
        rows = table(out)
    assert [(row["athlete_id"], row["verdict"], row["rule"]) for row in rows] == [
        (athlete, LABELS[verdict], rule) for athlete, verdict, rule in VERDICTS_OF_THE_SQUAD
    ]


def test_sheets_of_a_coachs_own_making_complete_each_other(
    run: Run, live_server: LiveServer, tmp_path: Path
) -> None:
    for name, kind in (("sessions", "sessions"), *((one, "check-ins") for one in OWN_SHEETS)):
        done = run(SCRIPT, str(FOLDER / f"{name}.csv"), "--kind", kind, "--out", f"{name}.csv")
        assert (done.returncode, done.stderr) == (0, ""), done.stdout
    on = date.fromisoformat(TODAY)
    stored = live_server.store.read(lambda b: b.check_ins.latest("a-01", on))
    assert stored is not None
    assert stored.body["sleep"] == {"hours": 7.5}
    assert stored.body["soreness"]["hamstrings"] == 4
    assert (stored.body["hrv_rmssd_ms"], stored.body["resting_hr_bpm"]) == (71, 48)
    assert stored.body["jump_height_cm"] == [38.5, 39, 37.5]
    start = datetime(2026, 3, 1, tzinfo=UTC)
    logged = live_server.store.read(lambda b: b.sessions.window("a-01", start, NOW))
    [block] = logged[-1][1].blocks
    assert (block.sets, block.reps, block.muscle_groups) == (4, 12, ("quadriceps", "glutes"))


def test_what_was_guessed_about_the_file_is_said(run: Run, tmp_path: Path) -> None:
    sheet = f"athlete_id,date,notes\na-01,{TODAY},l\xe4uft\n"
    (tmp_path / "old.csv").write_bytes(sheet.encode("cp1252"))
    done = run(SCRIPT, "old.csv")
    assert done.returncode == 0
    assert "windows-1252" in done.stdout.lower()


def test_dates_in_another_order_are_read_when_it_is_declared(run: Run, tmp_path: Path) -> None:
    (tmp_path / "own.csv").write_text("athlete_id,date\na-01,03/09/2026\n", encoding="utf-8")
    undeclared = run(SCRIPT, "own.csv")
    assert (undeclared.returncode, undeclared.stdout[:9]) == (1, "B2, date:")
    assert run(SCRIPT, "own.csv", "--date-order", "month-day-year").returncode == 0
    assert rows_in(tmp_path / "own.csv-verdicts.csv")[1][2] == "Train as planned"


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
    assert done.stdout.splitlines()[-3:] == [
        "C3, sleep_hours: must be from 0 to 24 (it says 450)",
        "D3, soreness_quadriceps: must be from 0 to 10 (it says 14)",
        "2 rows read; the verdicts are in out.csv",
    ]
    _, good, bad = rows_in(tmp_path / "out.csv")
    assert good[-5] == "Train as planned"
    assert bad[-5:-1] == ["", "", "", ""]
    assert "sleep_hours (C3) must be from 0 to 24" in bad[-1]
    stored = {
        one["athlete_id"]: one["verdict"] for one in ask(f"/v1/advice?date={TODAY}")["advice"]
    }
    assert stored.get("a-01") == "train-as-planned"
    assert stored.get("a-02") is None


def test_a_cause_that_hits_many_rows_is_told_with_the_first_and_the_last(
    run: Run, tmp_path: Path
) -> None:
    rows = "".join(f"a-0{number},{TODAY},{number // 7 * 11}\n" for number in (7, 1, 8, 9))
    (tmp_path / "own.csv").write_text(f"athlete_id,date,stress\n{rows}", encoding="utf-8")
    done = run(SCRIPT, "own.csv")
    [told] = [line for line in done.stdout.splitlines() if "stress" in line]
    assert told.startswith("C2, C4-C5, stress: must be ")


def test_a_sheet_with_semicolons_and_blank_rows_keeps_verdicts_beside_their_rows(
    run: Run, tmp_path: Path
) -> None:
    lines = ["sep=;", "Athlete_ID;Date;sleep_hours", f"a-01;{TODAY};8", ";;", "", f"a-02;{TODAY}"]
    lines[1] += ";illness"
    lines += [f"a-04;{TODAY};3,5;fever"]
    (tmp_path / "own.csv").write_text("\r\n".join(lines), encoding="utf-8-sig")
    assert run(SCRIPT, "own.csv").returncode == 0
    rows = rows_in(tmp_path / "own.csv-verdicts.csv", delimiter=";")
    assert {row[0]: row[4] for row in rows[1:]} == {
        "a-01": "Train as planned",
        "a-02": "Train as planned",
        "a-04": "Rest",
    }
    assert rows[0][:5] == ["Athlete_ID", "Date", "sleep_hours", "illness", "verdict"]


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
    result = done.stdout.splitlines()[0]
    assert result.startswith("row 2: There is no athlete 'a-0l'. A coach adds one with")
    assert "a-0l" not in [one["athlete_id"] for one in ask("/v1/athletes")["athletes"]]


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"who,age\nAda,30\n", "missing: athlete_id, date"),
        (b"PK\x03\x04", "damaged"),
        (b"", "missing: athlete_id, date"),
    ],
    ids=["other columns", "a broken workbook", "empty"],
)
def test_a_file_that_is_no_sheet_is_told_in_one_line(
    run: Run, tmp_path: Path, content: bytes, words: str
) -> None:
    (tmp_path / "file.csv").write_bytes(content)
    done = run(SCRIPT, "file.csv")
    assert (done.returncode, done.stdout) == (2, "")
    assert len(done.stderr.splitlines()) == 1
    assert words in done.stderr
    assert not (tmp_path / "file.csv-verdicts.csv").exists()


def test_a_file_that_is_not_there_is_told_in_one_line(run: Run) -> None:
    done = run(SCRIPT, "nowhere.csv")
    assert (done.returncode, done.stderr) == (2, "nowhere.csv: No such file or directory\n")


@pytest.mark.parametrize("sheet", ["squad.xlsx", "squad_with_mistakes.csv"])
def test_the_readme_shows_what_the_script_prints(run: Run, tmp_path: Path, sheet: str) -> None:
    shutil.copy(FOLDER / sheet, tmp_path)
    readme = (FOLDER / "README.md").read_text(encoding="utf-8")
    shown = [line.strip() for line in readme.splitlines()]
    for line in run(SCRIPT, sheet).stdout.splitlines():
        assert line in shown


def test_this_computer_needs_no_scheme_and_another_is_asked_for_one(
    run: Run, live_server: LiveServer
) -> None:
    address = live_server.base_url.removeprefix("http://")
    done = run(SCRIPT, str(FOLDER / "squad.csv"), "--out", "out.csv", url=address)
    assert (done.returncode, done.stderr) == (0, "")
    elsewhere = run(SCRIPT, str(FOLDER / "squad.csv"), url="dawnrule.example.org:8080")
    assert elsewhere.returncode == 2
    assert "must begin with https://, like https://dawnrule.example.org:8080" in elsewhere.stderr


def test_two_files_of_one_name_get_an_answer_each(run: Run, tmp_path: Path) -> None:
    for kind in ("ods", "csv"):
        shutil.copy(FOLDER / f"squad.{kind}", tmp_path)
        assert run(SCRIPT, f"squad.{kind}").returncode == 0
    assert len(list(tmp_path.glob("*-verdicts.csv"))) == 2
