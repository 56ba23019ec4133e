"""``dawnrule advise``: the service's advice, from a file."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from click.testing import Result

from tests.cli.terminal import typed

HEADER = (
    "athlete_id,date,reported_at,soreness_quadriceps,last_quadriceps_at,last_quadriceps_goal,"
    "warning_signs,plan_goal,plan_muscle_groups,plan_modality,plan_starts_at,notes"
)
THIRTY_HOURS_BEFORE = "2024-03-10T12:00:00+01:00"
STARTS_AT = "2024-03-11T18:00:00+01:00"
ROWS = {
    "growth": ("1", "hypertrophy", "none", "hypertrophy", "quadriceps", "free-weights"),
    "strength": ("1", "hypertrophy", "none", "strength", "quadriceps", "free-weights"),
    "chest-pain": ("1", "hypertrophy", "chest-pain", "strength", "quadriceps", "free-weights"),
    "cycling": ("4", "strength", "none", "steady-endurance", "", "cycling"),
}


SHEETS = Path(__file__).parents[1] / "sheets"
BOOK = SHEETS / "several_sheets.xlsx"


def row(case: str) -> str:
    sore, last_goal, signs, goal, groups, modality = ROWS[case]
    cells = [f"a-{case}", "2024-03-11", "2024-03-11T06:40:00+01:00", sore, THIRTY_HOURS_BEFORE]
    return ",".join([*cells, last_goal, signs, goal, groups, modality, STARTS_AT, "my note"])


def squad_sheet(*more: str) -> bytes:
    return "\r\n".join([HEADER, *map(row, ROWS), *more, ""]).encode()


def advice_in(text: str) -> dict[str, Any]:
    return {one["athlete_id"]: one for one in json.loads(text)}


@pytest.mark.parametrize(
    ("case", "verdict", "rule"),
    [
        ("growth", "swap-to-low-damage", "growth-work-too-soon"),
        ("strength", "train-as-planned", None),
        ("chest-pain", "rest", "warning-heart-or-chest"),
        ("cycling", "train-as-planned", None),
    ],
)
def test_the_morning_question_is_answered(case: str, verdict: str, rule: str | None) -> None:
    result = typed("advise", "-", "--format", "json", given=f"{HEADER}\n{row(case)}\n".encode())
    assert result.exit_code == 0
    [advice] = json.loads(result.stdout)
    assert (advice["verdict"], (advice["rule"] or {"id": None})["id"]) == (verdict, rule)


def test_the_table_has_a_line_for_each_with_its_rule_and_reason(tmp_path: Path) -> None:
    file = tmp_path / "squad.csv"
    file.write_bytes(squad_sheet())
    result = typed("advise", file)
    assert result.exit_code == 0
    header, _, growth, strength, _, cycling, *_ = result.stdout.splitlines()
    assert header.split() == ["Athlete", "Verdict", "Rule", "Why"]
    assert growth.startswith("a-growth      Swap to low-damage work  growth-work-too-soon    Quad")
    assert strength.split("  ")[0] == "a-strength"
    assert "Train as planned         -  " in cycling


def test_a_rest_comes_with_its_caution_below_the_table() -> None:
    result = typed("advise", "-", given=squad_sheet())
    _, caution, *notes = result.stdout.split("\n\n")
    assert caution.startswith("a-chest-pain: Stop and get medical care now.")
    assert not any("a-chest-pain" in note for note in notes)


def test_what_was_not_answered_and_the_notes_stand_below_the_table_with_names() -> None:
    result = typed("advise", "-", given=squad_sheet())
    below = [" ".join(text.split()) for text in result.stdout.split("\n\n")]
    unanswered = "Not answered: pain and illness. If you have any, do not train."
    assert f"a-strength, a-cycling: {unanswered}" in below
    assert any(text.startswith("a-strength: Strength, power or speed within") for text in below)


def test_a_part_that_rests_is_said_before_the_reason_and_comes_with_its_caution() -> None:
    plans = "plan_goal,plan_muscle_groups,plan2_goal,plan2_muscle_groups"
    header = f"athlete_id,date,pain_where,pain_kind,pain_muscle_groups,{plans}"
    knee = (
        f"{header}\na-01,2024-03-11,left knee,joint,quadriceps,strength,quadriceps,strength,chest\n"
    )
    table, caution, *_ = typed("advise", "-", given=knee.encode()).stdout.split("\n\n")
    assert "Swap to low-damage work" in table
    assert "Rest for quadriceps: Reported for quadriceps: joint pain." in table
    assert caution.startswith("a-01: Do not train through it.")
    as_csv = typed("advise", "-", "--format", "csv", given=knee.encode()).stdout
    [row] = csv.DictReader(io.StringIO(as_csv))
    assert row["reason"].startswith("Rest for quadriceps: Reported for quadriceps: joint pain. ")


def test_the_sheet_comes_back_with_the_advice_beside_each_row() -> None:
    result = typed("advise", "-", "--format", "csv", given=squad_sheet())
    assert result.stdout_bytes.startswith(
        f"{HEADER},verdict,rule,reason,caution,problem\r\n".encode()
    )
    rows = list(csv.DictReader(io.StringIO(result.stdout_bytes.decode(), newline="")))
    assert [r["notes"] for r in rows] == ["my note"] * 4
    assert [(r["verdict"], r["rule"], r["problem"]) for r in rows] == [
        ("Swap to low-damage work", "growth-work-too-soon", ""),
        ("Train as planned", "", ""),
        ("Rest", "warning-heart-or-chest", ""),
        ("Train as planned", "", ""),
    ]
    assert b"\n" not in result.stdout_bytes.replace(b"\r\n", b"")


def test_bad_rows_are_named_and_good_rows_get_their_advice() -> None:
    bad = (
        "a-x,2024-03-11,,11,,,,,,,,",
        "a-y,2024-03-11,,four,,,,strenght,,,,",
        ",2024-03-11" + "," * 10,
    )
    result = typed("advise", "-", given=squad_sheet(*bad))
    assert result.exit_code == 1
    assert "a-growth      Swap" in result.stdout
    assert "a-x" not in result.stdout
    lines = result.stderr.splitlines()[2:]
    assert lines[0] == "row 6: soreness_quadriceps (D6) must be from 0 to 10 (found: 11)"
    assert lines[1].startswith("row 7: soreness_quadriceps (D7) is not a number; write it like 7")
    assert lines[2].startswith("row 7: plan_goal (H7) must be one of")
    assert lines[3].startswith("row 8: athlete_id (A8) ")
    assert lines[-1] == "No verdict for 3 of 7 rows: a-x, a-y, ?."


def test_bad_rows_are_named_in_the_sheet_too() -> None:
    result = typed(
        "advise", "-", "--format", "csv", given=squad_sheet("a-x,2024-03-11,,11" + "," * 8)
    )
    *_, last = csv.DictReader(io.StringIO(result.stdout))
    assert (last["verdict"], last["problem"]) == (
        "",
        "soreness_quadriceps (D6) must be from 0 to 10",
    )


def test_comments_that_are_not_understood_are_read_out() -> None:
    assert typed("advise", "-", given=squad_sheet()).stderr.splitlines() == [
        "Columns that were not read: notes",
        "notes: read these comments yourself: "
        "L2 (my note), L3 (my note), L4 (my note), L5 (my note).",
    ]


def test_of_many_comments_the_first_are_read_out() -> None:
    sheet = "athlete_id,date,notes\n" + "".join(f"a-{n},2024-03-11,fine\n" for n in range(50))
    [told] = typed("advise", "-", given=sheet.encode()).stderr.splitlines()[1:]
    assert told.endswith("C40 (fine), C41 (fine); and those in C42\N{EN DASH}C51.")


def test_each_comment_that_tells_of_a_danger_is_named() -> None:
    sheet = "athlete_id,date,notes\n" + "".join(
        f"a-{n},2024-03-11,{said}\n"
        for n, said in enumerate([*["fainted", "fine"] * 42, "fainted"])
    )
    *_, told = typed("advise", "-", given=sheet.encode()).stderr.splitlines()
    assert told.startswith(
        "notes: comments taken as fainted (warning sign), 43 times: C2 (fainted), C4 (fainted), "
    )
    assert told.endswith("C80 (fainted); and those in C82, C84, C86.")


def test_what_comments_are_taken_for_is_said() -> None:
    comments = ["chest a bit tight on stairs", "flu", "no fever but fainted"]
    rows = "".join(f"a-{n},2024-03-11,{said}\n" for n, said in enumerate(comments))
    sheet = f"athlete_id,date,notes\n{rows}".encode()
    assert typed("advise", "-", given=sheet).stderr.splitlines() == [
        "notes: comments taken as pain, once: C2 (chest a bit tight on stairs).",
        "notes: comments taken as fever (illness), once: C3 (flu).",
        "notes: comments taken as fainted (warning sign), with words that a person must read, "
        "once: C4 (no fever but fainted).",
    ]
    in_german = typed("advise", "-", "--language", "de", given=sheet).stderr
    assert "notes: Bemerkungen, die als Schmerz gelten, einmal: C2 (" in in_german
    in_spanish = typed("advise", "-", "--language", "es", given=sheet).stderr
    assert "notes: comentarios tomados como fiebre (enfermedad), una vez: C3 (" in in_spanish


def test_a_workbook_is_advised_into_a_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("dawnrule.cli.advise.now", lambda: datetime(2026, 3, 9, 12, tzinfo=UTC))
    out = tmp_path / "out.xlsx"
    result = typed("advise", BOOK, "--format", "xlsx", "--output", out, "--sheet", "Squad")
    assert (result.exit_code, result.stdout) == (0, "")
    assert "Only the sheet Squad was read, and not: Read me." in result.stderr
    assert out.read_bytes().startswith(b"PK")


def test_a_workbook_is_not_for_the_terminal() -> None:
    result = typed("advise", BOOK, "--format", "xlsx")
    assert result.exit_code == 2
    assert "--output" in result.stderr


def test_a_workbook_of_calc_is_not_answered_as_xlsx_and_no_file_is_left(tmp_path: Path) -> None:
    out = tmp_path / "never.xlsx"
    result = typed("advise", SHEETS / "calc.ods", "--format", "xlsx", "--output", out)
    assert result.exit_code == 1
    assert "ask for csv or json instead" in result.stderr
    assert not out.exists()


def test_a_sheet_that_is_not_there_is_told_with_those_that_are() -> None:
    result = typed("advise", BOOK, "--sheet", "Squat")
    assert result.exit_code == 1
    assert "sheet must be one of Read me, Squad" in result.stderr


def test_every_form_may_go_into_a_file(tmp_path: Path) -> None:
    for form in ("text", "json", "csv"):
        printed = typed("advise", "-", "--format", form, given=squad_sheet())
        typed("advise", "-", "--format", form, "--output", tmp_path / form, given=squad_sheet())
        written = (tmp_path / form).read_bytes()
        assert len(written) == len(printed.stdout_bytes) > 0


def test_times_without_an_offset_are_those_of_the_time_zone() -> None:
    local = squad_sheet().replace(b"T18:00:00+01:00", b" 18:00")
    result = typed("advise", "-", "--time-zone", "Europe/Berlin", given=local)
    assert result.exit_code == 0
    assert "K2 2024-03-11 18:00 is 2024-03-11T18:00:00+01:00" in result.stderr


def test_a_date_order_may_be_declared() -> None:
    american = squad_sheet().replace(b",2024-03-11,", b",03/11/2024,")
    assert "declare the date order" in typed("advise", "-", given=american).stderr
    result = typed("advise", "-", "--date-order", "month-day-year", given=american)
    assert result.exit_code == 0


@pytest.mark.parametrize(
    ("ratings", "found"), [((11,) * 87, "11"), (range(30, 117), "30, 31, 32, ...")]
)
def test_a_cause_that_hits_every_row_is_told_in_short(ratings: Sequence[int], found: str) -> None:
    rows = "".join(f"a-{n},2024-03-11,{rating}\n" for n, rating in enumerate(ratings))
    sheet = f"athlete_id,date,soreness_chest\n{rows}".encode()
    [told] = typed("advise", "-", given=sheet).stderr.splitlines()
    hit = "87 rows (2-88): soreness_chest (C2-C88)"
    assert told.replace("\N{EN DASH}", "-") == f"{hit} must be from 0 to 10 (found: {found})"


def twice(again: str) -> Result:
    return typed("advise", "-", given=f"{HEADER}\n{row('growth')}\n{again}\n".encode())


def test_the_same_check_in_may_stand_in_a_sheet_twice() -> None:
    assert twice(row("growth").replace("my note", "other note")).exit_code == 0


def test_different_check_ins_for_one_morning_are_both_refused() -> None:
    result = twice(row("growth").replace("2024-03-11T18", "2024-03-11T19"))
    assert result.exit_code == 1
    [told] = result.stderr.splitlines()[2:]
    assert told.startswith("2 rows (2, 3): date (")


NEEDS_A_WEEK = ("--format", "json", "--rule-set", "baseline@1.1.0")
OWN_MEDIAN = "resting_hr_above_median_bpm"
CHECK_IN = {"athlete_id": "a-01", "date": "2024-03-11", "illness": "fever", "plan": []}


@pytest.mark.parametrize(
    "plain", [CHECK_IN, [CHECK_IN], {"check_ins": [CHECK_IN]}, {"check_ins": CHECK_IN}]
)
def test_json_is_one_check_in_or_several(plain: Any) -> None:
    result = typed("advise", "-", "--format", "json", given=json.dumps(plain).encode())
    assert result.exit_code == 0
    assert advice_in(result.stdout)["a-01"]["rule"]["id"] == "illness-fever"


def test_athletes_in_the_file_are_called_by_their_names() -> None:
    athlete = {"athlete_id": "a-01", "name": "Ilka", "time_zone": "Europe/Berlin"}
    squad = {"athletes": [athlete], "check_ins": [CHECK_IN]}
    assert "Ilka (a-01)" in typed("advise", "-", given=json.dumps(squad).encode()).stdout


def test_json_comes_back_as_a_sheet_when_asked() -> None:
    wrong = {**CHECK_IN, "athlete_id": "a-02", "illness": "none", "fatigue": 11}
    given = json.dumps([CHECK_IN, wrong]).encode()
    result = typed("advise", "-", "--format", "csv", given=given)
    first, second = csv.DictReader(io.StringIO(result.stdout))
    assert (first["athlete_id"], first["rule"]) == ("a-01", "illness-fever")
    assert (second["athlete_id"], second["problem"]) == ("a-02", "fatigue must be from 0 to 10")
    assert result.stderr.splitlines() == [
        "check-in 2: fatigue must be from 0 to 10 (found: 11)",
        "No verdict for 1 of 2 rows: a-02.",
    ]


def test_earlier_check_ins_of_the_file_are_the_history_of_later_ones() -> None:
    dates = [f"2024-03-{day:02}" for day in range(4, 12)]
    mornings = [{**CHECK_IN, "date": date, "resting_hr_bpm": 50} for date in dates]
    for given in (mornings, mornings[::-1]):
        result = typed("advise", "-", *NEEDS_A_WEEK, given=json.dumps(given).encode())
        advice = json.loads(result.stdout)
        assert [one["date"] for one in advice] == [one["date"] for one in given]
        unknown = [one["date"] for one in advice if OWN_MEDIAN in one["not_reported"]]
        assert sorted(unknown) == dates[:-1]


def test_a_warning_sign_of_an_earlier_row_counts_whatever_later_rows_answer() -> None:
    rows = (
        "athlete_id,date,warning_signs,plan_goal",
        "a-01,2024-03-09,chest-pain,mobility",
        "a-01,2024-03-10,,mobility",
        "a-01,2024-03-11,none,mobility",
        "a-01,2024-03-12,,mobility",
    )
    result = typed("advise", "-", "--format", "json", given="\n".join(rows).encode())
    decided = [one["rule"] and one["rule"]["id"] for one in json.loads(result.stdout)]
    assert decided == ["warning-heart-or-chest", *["open-heart-or-chest"] * 3]


@pytest.mark.parametrize(("zone", "exit_code"), [("UTC", 1), ("Pacific/Kiritimati", 0)])
def test_today_is_that_of_the_time_zone(
    zone: str, exit_code: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("dawnrule.cli.advise.now", lambda: datetime(2024, 3, 10, 12, tzinfo=UTC))
    result = typed("advise", "-", "--time-zone", zone, given=json.dumps(CHECK_IN).encode())
    assert result.exit_code == exit_code
    assert ("check-in 1: date must not be after 2024-03-10" in result.stderr) is bool(exit_code)


@pytest.mark.parametrize(
    ("given", "words"),
    [
        (b"", "missing: athlete_id, date"),
        (b"PK\x03\x04rest", "save the sheet as CSV"),
        (b"{", "JSON cannot be read at line 1"),
        (b'{"check_ins": [], "sessions": []}', "not sessions"),
        (b'{"check_ins": [], "athletes": {}}', "athletes must be a list"),
        (b'{"check_ins": [], "athletes": [{"athlete_id": "a-01"}]}', "name is missing"),
    ],
)
def test_a_file_that_cannot_be_read_is_refused_in_words(given: bytes, words: str) -> None:
    result = typed("advise", "-", given=given)
    assert (result.exit_code, result.stdout) == (1, "")
    assert words in result.stderr


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (("no-such-file.csv",), "No such file"),
        (("-", "--time-zone", "Mars"), "time zone like Europe/Berlin"),
        (("-", "--rule-set", "baseline"), "write it as name@version"),
        (("-", "--rule-set", "baseline@9.0.0"), "there are: baseline@1.0.0"),
        (("-", "--format", "xml"), "'xml' is not one of"),
        (("-", "--date-order", "dmy"), "day-month-year"),
        ((), "Missing argument 'FILE'"),
    ],
)
def test_wrong_use_is_told_with_exit_code_2(options: tuple[str, ...], words: str) -> None:
    result = typed("advise", *options, given=squad_sheet())
    assert (result.exit_code, result.stdout) == (2, "")
    assert words in result.stderr


def test_the_rule_set_may_come_from_the_environment() -> None:
    result = typed("advise", "-", given=squad_sheet(), DAWNRULE_RULE_SET="baseline@9.0.0")
    assert result.exit_code == 2


def test_advice_is_told_in_the_language_asked_for() -> None:
    english, german = (
        typed("advise", "-", "--language", language, given=squad_sheet()).stdout
        for language in ("en", "de")
    )
    assert english == typed("advise", "-", given=squad_sheet()).stdout
    assert "Swap to low-damage work" in english
    assert "Auf schonendes Training wechseln" in german
    assert "Swap to low-damage work" not in german


NEW_YORK = ("--time-zone", "America/New_York")
LOCAL_TIMES = "athlete_id,date,plan_goal,plan_starts_at\na-01,09.03.2024,strength,18:00\n"


@pytest.mark.parametrize(
    ("options", "zone"),
    [((), "as UTC, as no --time-zone was given"), (NEW_YORK, "as America/New_York")],
)
def test_the_zone_and_the_order_that_times_and_dates_were_read_in_are_told(
    options: tuple[str, ...], zone: str
) -> None:
    result = typed("advise", "-", *options, given=LOCAL_TIMES.encode())
    assert result.exit_code == 0
    assert (
        "date: dates, read as day-month-year, once; B2 09.03.2024 is 2024-03-09." in result.stderr
    )
    assert (
        f"read on the date of their row, {zone}, once; D2 18:00 is 2024-03-09T18" in result.stderr
    )


def test_a_training_after_the_report_is_refused() -> None:
    late = row("growth").replace(THIRTY_HOURS_BEFORE, "2024-03-11T08:00:00+01:00")
    result = typed("advise", "-", given=f"{HEADER}\n{late}\n".encode())
    assert (result.exit_code, result.stdout) == (1, "No row could be read.\n")
    assert "last_quadriceps_at (E2) must not be after reported_at" in result.stderr


def test_a_sheet_whose_pain_would_be_left_out_gets_no_verdict() -> None:
    result = typed("advise", "-", given=b"athlete_id,date,painful\na-01,2024-03-11,knee\n")
    assert (result.exit_code, result.stdout) == (1, "")
    assert "Column C, painful, is not known" in result.stderr


def test_ids_that_differ_in_capitals_only_are_not_taken_for_two_athletes() -> None:
    other = row("growth").replace("a-growth", "A-growth").replace("2024-03-11,", "2024-03-10,", 1)
    result = typed("advise", "-", "--format", "json", given=squad_sheet(other))
    assert result.exit_code == 1
    assert "must differ from a-growth in more than capitals" in result.stderr
    assert set(advice_in(result.stdout)) == {f"a-{case}" for case in ROWS}


def test_athletes_of_one_id_in_two_capitals_refuse_the_file() -> None:
    athletes = [{"athlete_id": one, "name": "Kim", "time_zone": "UTC"} for one in ("a-1", "A-1")]
    file = json.dumps({"athletes": athletes, "check_ins": []}).encode()
    result = typed("advise", "-", given=file)
    assert result.exit_code == 2
    assert "must differ from a-1 in more than capitals (found: 'A-1')" in result.stderr


def test_a_row_whose_plan_was_not_read_is_never_shown_as_training(tmp_path: Path) -> None:
    sheet = tmp_path / "squad.csv"
    sheet.write_text(
        "athlete_id,date,goal,muscles,sleep,pain\n"
        "a-01,2026-03-09,strength,quadriceps,as always,knee left\n",
        encoding="utf-8",
    )
    result = typed("advise", str(sheet))
    assert "Train as planned" not in result.stdout
    assert "as always" in result.stderr


def test_pain_in_a_row_that_cannot_be_read_is_shown_and_told_back(tmp_path: Path) -> None:
    sheet = tmp_path / "squad.csv"
    sheet.write_text(
        "athlete_id,date,sleep_hours,pain_where,pain_kind,illness,plan_goal,plan_muscle_groups\n"
        "a-01,2026-03-09,450,knee,joint,,strength,quadriceps\n"
        "a-02,2026-03-09,450,,,fever,strength,quadriceps\n"
        "a-03,2026-03-09,8,,,none,strength,quadriceps\n",
        encoding="utf-8",
    )
    shown = typed("advise", str(sheet))
    assert shown.exit_code == 1
    lines = {line.split()[0]: line for line in shown.stdout.splitlines() if line}
    assert "No verdict" in lines["a-01"]
    assert "Rest" in lines["a-02"]
    assert "a-01: Correct the row to get a verdict. Until then, hold" in shown.stdout
    told = "the pain, illness and warning signs in this row were taken; the rest of it was not"
    assert f"2 rows (2, 3): {told}" in shown.stderr
    assert shown.stderr.endswith("No verdict for 1 of 3 rows: a-01.\n")
    written = typed("advise", str(sheet), "--format", "csv").stdout
    first, second, third = csv.DictReader(io.StringIO(written))
    assert first["verdict"] == "No verdict"
    assert "Until then, hold this athlete's session back." in first["caution"]
    assert told in first["problem"]
    assert told in second["problem"]
    assert third["problem"] == ""
    without, rests, _ = json.loads(typed("advise", str(sheet), "--format", "json").stdout)
    assert (without["verdict"], without["athlete_id"]) == (None, "a-01")
    assert without["caution"] == first["caution"]
    assert rests["verdict"] == "rest"


def test_of_hundreds_without_a_verdict_the_first_are_named() -> None:
    rows = "".join(f"a-{n},2024-03-11,{'x' if n else 2}\n" for n in range(43))
    *_, told = typed(
        "advise", "-", given=f"athlete_id,date,fatigue\n{rows}".encode()
    ).stderr.splitlines()
    assert told.startswith("No verdict for 42 of 43 rows: a-1, a-2, ")
    assert told.endswith("a-39, a-40 and 2 others.")
