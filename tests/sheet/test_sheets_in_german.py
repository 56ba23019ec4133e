"""Remarks and faults of sheets in the language that was asked for, with no English left."""

from __future__ import annotations

import ast
import copy
import io
import re
from collections.abc import Iterator
from dataclasses import asdict
from datetime import UTC, datetime, timedelta
from functools import cache
from pathlib import Path

import pytest
from openpyxl import Workbook

import dawnrule
from dawnrule.errors import FieldError, InvalidInput
from dawnrule.i18n.catalog import Texts
from dawnrule.i18n.lazy import lazy, lazy_join, lazy_list, lazy_number, render, render_error
from dawnrule.schemas import load_check_in, load_session
from dawnrule.sheet import CHECK_INS, SESSIONS, Layout, Sheet, read_sheet
from tests.cli.terminal import typed
from tests.sheet.test_awkward_sheets import TABLE, Awkward
from tests.sheet.test_coaches import sheets as coaches_sheets
from tests.sheet.test_workbook import SQUAD_PART, changed
from tests.sheets.make import PLAIN_BOOK

PACKAGE = Path(dawnrule.__file__).parent
ENGLISH, GERMAN = Texts.bundled(), Texts.bundled("de")
NAMES = [name for name in ENGLISH.entries if name.startswith(("sheet.", "field."))]
SAME_IN_BOTH = {"sheet.one_date", "sheet.heard_in_comments"}
THREE_WORDS = re.compile(r"[A-Za-z]+ [a-z]+ [a-z]+")

FURTHER_FILES = {
    "another encoding than its mark says": "athlete_id,date\n".encode("utf-16")[:-1],
    "many comments": b"athlete_id,date,notes\n" + b"a-01,2026-03-09,fine\n" * 50,
    "a danger beside a denied one": b"athlete_id,date,notes\na-01,2026-03-09,no flu but fainted",
    "a column under nearly its name": b"athlet_no,date\nx,y\n",
    "another table below": b"name,date,legs\na-01,2026-03-09,3\nname,date,back\na-01,,4\n",
    "a cell without end": b"athlete_id,date\na-01," + b"9" * 200_000,
    "a workbook that breaks off": changed(SQUAD_PART, lambda x: x.replace(b"</sheetData>", b"")),
    "cells without a place": changed(SQUAD_PART, lambda xml: xml.replace(b'r="C2"', b"")),
    "another form of workbook": changed(
        "xl/workbook.xml", lambda xml: xml.replace(b"schemas.openxmlformats", b"purl.oclc")
    ),
    "no sheet that is seen": changed(
        "xl/workbook.xml", lambda xml: xml.replace(b'state="visible"', b'state="hidden"')
    ),
}
FURTHER_CELLS = {
    "no time": ("reported_at", "yesterday evening"),
    "a time without its date": ("reported_at", "18:00"),
    "an hour past noon": ("reported_at", "2026-03-07 13:00 PM"),
    "years before people": ("reported_at", "1850-03-07 18:00"),
    "a time that needs its date": ("last_chest_at", "18:00"),
    "a time on the row's date": ("plan_goal,plan_starts_at", "strength,18:00"),
    "a year in the wrong place": ("date", "9.3.126"),
    "a day to come": ("date", "2300-03-09"),
    "no muscle group at all": ("muscle_group,soreness", "xyz,3"),
    "an id with a blank": ("athlete_id", "a 01"),
    "a word that is near another": ("illness", "fevr"),
    "a pain without its kind": ("pain_where,pain_kind", "knee,"),
    "a danger that is denied": ("comment", "no chest pain any more"),
    "an illness in more words": ("illness", "high fever since Sunday"),
    "sets without repetitions": ("plan_goal,sets_x_reps", "strength,many"),
    "a place that goes on": ("pain_where,pain_kind", f"{'knee ' * 30},joint"),
    "half a character": ("pain_where,pain_kind", "knee\x7f,joint"),
    "a word twice": ("warning_signs", "fainting fainting"),
    "words without end": ("warning_signs", " ".join(["fainting"] * 50)),
    "half a set": ("plan_goal,plan_sets", "strength,2.5"),
    "muscle groups and a pattern": (
        "plan_goal,plan_muscle_groups,plan_pattern",
        "strength,chest,squat",
    ),
    "neither yes nor no": ("fever_medicine", "perhaps"),
    "a jump of no height": ("jump_height_cm", "38 0"),
    "bar speed of no movement": ("bar_speed_load_kg,bar_speed_metres_per_second", "100,0.5"),
    "heat told twice": (
        "heat_wbgt_c,heat_temperature_c,heat_humidity_percent",
        "28,30,60",
    ),
    "air without its humidity": ("heat_temperature_c", "30"),
    "more than a day": (
        "plan_goal,plan_minutes,plan2_goal,plan2_minutes",
        "strength,1000,strength,1000",
    ),
}
FURTHER_SESSIONS = {
    "no block": ("minutes", "60"),
    "an effort of 11": ("minutes,rpe,block_goal", "60,11,strength"),
    "a drop of nothing": ("minutes,output,block_goal", "60,dropped,strength"),
    "a drop that was none": (
        "minutes,output,output_drop_percent,block_goal",
        "60,held,12,strength",
    ),
}
TWO_PLANS = b"athlete_id,date,plan_goal\na-01,2026-03-09,strength\na-01,2026-03-09,mobility\n"

NOT_TOLD_HERE = {
    # What a file must be made for by a limit, or by what a library refuses: that it is said from
    # the catalogue is looked at in the code.
    "sheet.too_many_rows",
    "sheet.too_much_text",
    "sheet.unreadable",
    "sheet.something_else",
    "sheet.answer_not_written",
    # What the command line and the interface say around it: by their own tests.
    "field.no_restriction",
    "sheet.as_zone",
    "sheet.say_what_it_is",
    "sheet.still_asked",
    "sheet.dangers_taken",
    "sheet.dangers_not_taken",
    "sheet.danger_of_one_alike",
    "sheet.without_verdict",
    "sheet.and_others",
    "sheet.no_meaning",
    "sheet.meaning_twice",
    "sheet.other_scale",
    "sheet.wrong_meanings",
    "sheet.meanings_missing",
    "sheet.as_assumed_zone",
    "sheet.at_row",
    "sheet.at_rows",
    "sheet.process_ended",
    "sheet.at_check_in",
    "sheet.found",
    "sheet.answer_needs_xlsx",
    "sheet.all_or_none",
    "sheet.others_rejected",
    "sheet.many_check_ins",
    "sheet.many_sessions",
    "sheet.how_many",
    "sheet.nothing_stored",
    "field.no_athlete",
    "field.no_group",
    "field.group_taken",
    "field.id_taken",
    "sheet.somewhere",
    "field.untrue_check_in",
    "field.untrue_session",
    "field.after_today",
    "field.in_future",
    "field.long_before_date",
    "field.after_report",
    "field.after_date",
    "field.starts_elsewhere",
    "field.too_long_ago",
    "field.impossible_age",
    # Faults that only JSON can have, not a cell.
    "field.a_list",
    "field.blank",
    "field.no_plan",
    "field.no_such_day",
    "field.number_as_text",
    "field.once_or_the_same",
    "field.two_check_ins",
    "field.true_or_false",
    # Faults of fields that have no column.
    "field.clock_time",
    "field.ends_before_begins",
    "field.one_of_two",
    "field.week_is_over",
    "field.wish_twice",
    "field.zones_differ",
    "field.wish_without_start",
    "field.air_and_humidity",
    "field.arrived_after",
    "field.arrived_long_ago",
    "field.competition_elsewhere",
    "field.concern_member",
    "field.incomplete_concern",
    "field.one_movement",
    "field.other_phase",
    "field.phase_backwards",
    "field.untrue_concern",
    "field.wbgt_or_air",
}


def one_row(columns: str, cells: str, subject: tuple[str, str]) -> bytes:
    """Make a sheet with one row; the cells may replace those of its subject."""
    known = dict(zip(("athlete_id", subject[0]), ("a-01", subject[1]), strict=True))
    known |= dict(zip(columns.split(","), cells.split(","), strict=True))
    return f"{','.join(known)}\n{','.join(known.values())}\n".encode()


def wrong_types() -> bytes:
    """Make a workbook with a boolean and a duration where a date-time and a date should stand."""
    workbook, written = Workbook(), io.BytesIO()
    assert workbook.active is not None
    workbook.active.append(["athlete_id", "date", "reported_at"])
    workbook.active.append(["a-01", timedelta(hours=30), True])
    workbook.save(written)
    return written.getvalue()


def refused(data: bytes, layout: Layout) -> Iterator[str]:
    """Yield every lazy text about a sheet."""
    try:
        yield from all_of(read_sheet(data, layout), layout)
    except InvalidInput as error:
        yield from of_error(error)


def of_awkward(entry: Awkward) -> Iterator[str]:
    layout = SESSIONS if entry.layout == "sessions" else CHECK_INS
    try:
        yield from all_of(entry.read(), layout)
    except InvalidInput as error:
        yield from of_error(error)


def all_of(sheet: Sheet, layout: Layout) -> Iterator[str]:
    yield from sheet.remarks()
    for row in sheet.rows:
        try:
            row.load(load_check_in if layout == CHECK_INS else load_session)
        except InvalidInput as error:
            yield from of_error(error)


def of_error(error: InvalidInput) -> Iterator[str]:
    yield from (error.detail, *(fault.detail for fault in error.errors))


@cache
def everything() -> dict[str, list[str]]:
    """Yield every lazy text about every awkward sheet, and every further one."""
    found = {str(entry): list(of_awkward(entry)) for entry in TABLE}
    for about, data in FURTHER_FILES.items():
        found[about] = list(refused(data, CHECK_INS))
    for about, (columns, cells) in FURTHER_CELLS.items():
        data = one_row(columns, cells, ("date", "2026-03-09"))
        found[about] = list(refused(data, CHECK_INS))
    for about, (columns, cells) in FURTHER_SESSIONS.items():
        data = one_row(columns, cells, ("starts_at", "2026-03-08T18:00:00+01:00"))
        found[about] = list(refused(data, SESSIONS))
    for sheet in coaches_sheets():
        layout = SESSIONS if sheet.kind == "sessions" else CHECK_INS
        try:
            found[f"coaches: {sheet}"] = list(all_of(sheet.read(sheet.cells), layout))
        except InvalidInput as error:
            found[f"coaches: {sheet}"] = list(of_error(error))
    locked = PLAIN_BOOK.index(b"PK\x01\x02") + 8
    a_password = PLAIN_BOOK[:locked] + b"\x01" + PLAIN_BOOK[locked + 1 :]
    found["a password"] = list(refused(a_password, CHECK_INS))
    found["types"] = list(refused(wrong_types(), CHECK_INS))
    found["two plans"] = list(refused(TWO_PLANS, CHECK_INS))
    return found


def pieces(sentence: str) -> list[str]:
    """Return the text between the places of a sentence that are filled in."""
    return re.split(r"{[^}]*}", sentence)


def is_in(sentence: str, text: str) -> bool:
    return bool(re.search(".*".join(map(re.escape, pieces(sentence))), text, re.DOTALL))


ENGLISH_PIECES = {
    piece.strip()
    for name in NAMES
    for piece in pieces(ENGLISH.entries[name])
    if len(re.findall(r"[A-Za-z]+", piece)) > 1
}


def english_in(text: str) -> list[str]:
    """Return the parts of the English catalogue that a text contains."""
    return sorted(piece for piece in ENGLISH_PIECES if piece in text)


def test_each_sentence_is_another_in_german() -> None:
    same = {name for name in NAMES if ENGLISH.entries[name] == GERMAN.entries[name]}
    assert same == SAME_IN_BOTH


def test_english_is_noticed() -> None:
    assert english_in("sleep_hours (C2) must be from 0 to 24") == ["must be", "must be from"]
    assert english_in("sleep_hours (C2) muss zwischen 0 und 24 liegen") == []


def test_nothing_that_is_told_of_a_sheet_stays_english(subtests: pytest.Subtests) -> None:
    for about, told in everything().items():
        with subtests.test(about):
            for said in told:
                assert said == render(said, ENGLISH)
                assert render(said, GERMAN) != said
                assert english_in(render(said, GERMAN)) == []


def test_every_kind_of_refusal_and_of_reading_is_told_in_german() -> None:
    in_german = {render(one, GERMAN) for said in everything().values() for one in said}
    missing = {n for n in NAMES if not any(is_in(GERMAN.entries[n], one) for one in in_german)}
    assert missing - NOT_TOLD_HERE == set()


def test_no_sentence_stands_in_the_code_that_reads_sheets() -> None:
    for file in (PACKAGE / "sheet").glob("*.py"):
        tree = ast.parse(file.read_text(encoding="utf-8"))
        alone = {id(node.value) for node in ast.walk(tree) if isinstance(node, ast.Expr)}
        texts = [
            node.value
            for node in ast.walk(tree)
            if isinstance(node, ast.Constant) and isinstance(node.value, str)
            if id(node) not in alone  # a docstring
        ]
        assert [text for text in texts if THREE_WORDS.search(text)] == [], file.name


def test_no_sentence_on_sheets_is_kept_that_nobody_says() -> None:
    code = "\n".join(file.read_text(encoding="utf-8") for file in PACKAGE.rglob("*.py"))
    assert [name for name in NAMES if f'"{name}"' not in code] == []


SQUAD = b"""\
Athlet,Datum,Schlaf,notes
a-01,11.03.2024,65,x
a-02,11.03.2024,7,x
"""


def advised(*options: str, given: bytes = SQUAD) -> tuple[str, str]:
    result = typed("advise", "-", *options, given=given)
    return result.stdout, result.stderr


def test_the_command_line_tells_of_a_sheet_in_german() -> None:
    _, heard = advised("--language", "de")
    assert heard.splitlines() == [
        "Spalten, die unter anderem Namen gelesen wurden: Athlet als athlete_id, Datum als date, "
        "Schlaf als sleep_hours.",
        "Spalten, die nicht gelesen wurden: notes",
        "notes: bitte lies diese Bemerkungen selbst: D2 (x), D3 (x).",
        "Datum: Datum, gelesen als Tag-Monat-Jahr, 2-mal; B2 11.03.2024 heißt 2024-03-11.",
        "Zeile 2: Schlaf (C2) muss zwischen 0 und 24 liegen (gefunden: 65)",
        "Kein Urteil für 1 von 2 Zeilen: a-01.",
    ]


def test_the_problem_beside_a_row_is_told_in_german() -> None:
    in_german, _ = advised("--language", "de", "--format", "csv")
    assert "Schlaf (C2) muss zwischen 0 und 24 liegen" in in_german
    assert english_in(in_german) == []


def test_the_command_line_says_in_german_in_which_zone_times_were_read() -> None:
    times = b"athlete_id,date,plan_goal,plan_starts_at\na-01,2024-03-11,strength,18:00\n"
    assert (
        "als UTC, weil --time-zone nicht angegeben ist"
        in advised("--language", "de", given=times)[1]
    )
    assert (
        "gelesen am Datum ihrer Zeile, als Asia/Tokyo, einmal"
        in advised("--language", "de", "--time-zone", "Asia/Tokyo", given=times)[1]
    )


@pytest.mark.parametrize(
    ("given", "options", "words"),
    [
        (b"who,day\nx,y\n", (), "Es fehlt: athlete_id"),
        (PLAIN_BOOK, ("--sheet", "Squat"), "sheet muss eine von diesen sein: Squad"),
        (SQUAD, ("--format", "xlsx", "--output", "x.xlsx"), "braucht eine Frage als .xlsx"),
    ],
)
def test_a_file_that_is_refused_as_a_whole_is_refused_in_german(
    given: bytes, options: tuple[str, ...], words: str, tmp_path: Path
) -> None:
    options = tuple(str(tmp_path / one) if one == "x.xlsx" else one for one in options)
    result = typed("advise", "-", "--language", "de", *options, given=given)
    assert result.exit_code == 1
    assert words in result.stderr
    assert english_in(result.stderr) == []


def test_json_at_the_command_line_is_refused_in_german_too() -> None:
    given = b'{"athlete_id": "a-01", "date": "2024-03-11", "fatigue": 11, "plan": []}'
    _, heard = advised("--language", "de", given=given)
    assert heard == "Check-in 1: fatigue muss zwischen 0 und 10 liegen (gefunden: 11)\n"


def test_what_was_said_is_english_until_it_is_told() -> None:
    day = datetime(2026, 3, 9, tzinfo=UTC).date()
    either = lazy_join([lazy("sheet.one_date", day=day, order="x"), "y"], lazy("sheet.or"))
    said = lazy("sheet.two_dates", either=either, day=day)
    assert (
        said == "may mean 2026-03-09 (x) or y; write it like 2026-03-09, or declare the date order"
    )
    assert render(said, GERMAN).startswith("kann 2026-03-09 (x) oder y heißen")
    assert render(lazy_number(6.5), GERMAN) == "6,5"
    assert render(lazy_list(["a", "b", "c"]), GERMAN) == "a, b und c"
    assert render(7, GERMAN) == 7


def test_an_error_that_was_not_said_from_the_catalogue_stays_as_it_is() -> None:
    error = InvalidInput("Nobody knows.", [FieldError("/x", 1, lazy("sheet.no_number"))])
    in_german = render_error(error, GERMAN)
    assert (type(in_german), in_german.detail) == (InvalidInput, "Nobody knows.")
    assert in_german.errors == (FieldError("/x", 1, GERMAN.entries["sheet.no_number"]),)


def test_a_copy_of_what_was_said_is_plain_text() -> None:
    fault = FieldError("/x", 1, lazy("sheet.no_number"))
    assert type(asdict(fault)["detail"]) is str
    assert copy.deepcopy(fault) == fault
