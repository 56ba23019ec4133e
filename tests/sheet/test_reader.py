"""Reading of squad sheets as a coach means them, whatever program wrote them."""

from __future__ import annotations

from typing import Any

import pytest

from dawnrule.errors import FieldError, InvalidInput, MalformedInput
from dawnrule.model import Vocabulary
from dawnrule.model.entities import CheckIn
from dawnrule.model.serialization import to_json
from dawnrule.schemas import load_check_in
from dawnrule.sheet import CHECK_INS, SESSIONS, Layout, ReadOptions, Sheet, SheetRow, read_sheet
from dawnrule.sheet.cells import NONE, find_id, ids_by_word
from dawnrule.sheet.columns import plain_name
from dawnrule.sheet.errors import CellFault
from tests.factories import EFFORT_IN_FULL, PAIN_IN_FULL

SIMPLE = "athlete_id,date,sleep_hours\na-01,2026-03-09,6.5\n"


IS_NO_NUMBER = "is not a number; write it like 7 or 6.5"


def sheet_of(text: str) -> Sheet:
    return read_sheet(text.encode("utf-8"), CHECK_INS)


def row_of(**cells: str) -> SheetRow:
    named = {"athlete_id": "a-01", "date": "2026-03-09"} | cells
    quoted = (f'"{cell}"' for cell in named.values())
    [row] = sheet_of(",".join(named) + "\n" + ",".join(quoted) + "\n").rows
    return row


def check_in_of(**cells: str) -> dict[str, Any]:
    check_in = row_of(**cells).to_json()
    assert check_in is not None
    return check_in


def test_a_row_becomes_the_check_in_of_the_interface() -> None:
    assert check_in_of(
        reported_at="2026-03-09T06:40:00+01:00",
        sleep_hours="6.5",
        sleep_quality="3",
        soreness_quadriceps="4",
        last_quadriceps_at="2026-03-07T18:00:00+01:00",
        last_quadriceps_goal="hypertrophy",
        fatigue="4",
        stress="3",
        resting_hr_bpm="52",
        hrv_rmssd_ms="71",
        illness="none",
        warning_signs="chest-pain",
        pain_where="left knee",
        pain_kind="joint",
        pain_muscle_groups="quadriceps",
        plan_goal="hypertrophy",
        plan_muscle_groups="quadriceps",
        plan_modality="free-weights",
        plan_starts_at="2026-03-09T18:00:00+01:00",
        plan_minutes="60",
        plan_sets="4",
        plan_reps="8",
        plan_rest_seconds="120",
    ) == {
        "athlete_id": "a-01",
        "date": "2026-03-09",
        "reported_at": "2026-03-09T06:40:00+01:00",
        "sleep": {"hours": 6.5, "quality": 3},
        "soreness": {"quadriceps": 4},
        "last_trained": {"quadriceps": {"at": "2026-03-07T18:00:00+01:00", "goal": "hypertrophy"}},
        "fatigue": 4,
        "stress": 3,
        "resting_hr_bpm": 52,
        "hrv_rmssd_ms": 71,
        "illness": "none",
        "warning_signs": ["chest-pain"],
        "pain": [{"where": "left knee", "kind": "joint", "muscle_groups": ["quadriceps"]}],
        "plan": [
            {
                "goal": "hypertrophy",
                "muscle_groups": ["quadriceps"],
                "modality": "free-weights",
                "starts_at": "2026-03-09T18:00:00+01:00",
                "minutes": 60,
                "sets": 4,
                "reps": 8,
                "rest_seconds": 120,
            }
        ],
    }


def test_every_muscle_group_has_its_columns() -> None:
    known = set(CHECK_INS.columns())
    for group in Vocabulary.bundled().muscle_groups:
        name = group.replace("-", "_")
        assert {f"soreness_{name}", f"last_{name}_at", f"last_{name}_goal"} <= known


@pytest.mark.parametrize("delimiter", [",", ";", "\t", "|"])
@pytest.mark.parametrize("line_end", ["\n", "\r\n", "\r"])
@pytest.mark.parametrize("mark", ["", "\ufeff"])
def test_what_separates_cells_and_lines_does_not_matter(
    delimiter: str, line_end: str, mark: str
) -> None:
    text = mark + SIMPLE.replace(",", delimiter).replace("\n", line_end)
    [row] = sheet_of(text).rows
    assert row.to_json() == {
        "athlete_id": "a-01",
        "date": "2026-03-09",
        "sleep": {"hours": 6.5},
        "plan": [],
    }


def test_notes_full_of_other_separators_do_not_mislead() -> None:
    text = 'notes;athlete_id;date\n"a, b, c, d, e";a-01;2026-03-09\nf, g, h;a-02;2026-03-09\n'
    assert [row.cells["notes"] for row in sheet_of(text).rows] == ["a, b, c, d, e", "f, g, h"]


def test_a_stated_separator_is_honoured_and_not_counted() -> None:
    [row] = sheet_of("sep=|\r\nathlete_id|date|notes\r\na-01|2026-03-09|a, b; c\r\n").rows
    assert (row.number, row.cells["notes"]) == (2, "a, b; c")


def test_column_names_are_known_whatever_their_case_and_joints() -> None:
    text = " Athlete ID ,DATE,Soreness_Upper-Back,soreness_lower_back\na-01,2026-03-09,2,3\n"
    [row] = sheet_of(text).rows
    form = row.to_json()
    assert form is not None
    assert form["soreness"] == {"upper-back": 2, "lower-back": 3}


def test_rows_are_numbered_as_a_spreadsheet_program_does() -> None:
    text = '\nathlete_id,date,notes\n\na-01,2026-03-09,"two\nlines"\n,,\na-02,2026-03-09,\n'
    assert [row.number for row in sheet_of(text).rows] == [4, 6]


def test_empty_columns_at_the_end_are_left_out() -> None:
    sheet = sheet_of("athlete_id,date,,,\na-01,2026-03-09,,,\n")
    assert sheet.header == ("athlete_id", "date")
    assert sheet.rows[0].errors == ()


def test_a_row_longer_than_the_header_is_not_shifted() -> None:
    [row] = sheet_of("athlete_id,date,sleep_hours\na-01,2026-03-09,6,5\n").rows
    assert row.to_json() is None
    assert [(error.value, "header" in error.detail) for error in row.errors] == [("5", True)]


def test_own_columns_are_kept_and_named_as_unread() -> None:
    sheet = sheet_of("athlete_id,notes,colour,date,Verdict\na-01,tired,red,2026-03-09,Rest\n")
    assert sheet.unknown_headers == ("notes", "colour")
    assert sheet.rows[0].cells["notes"] == "tired"
    assert sheet.rows[0].to_json() == {"athlete_id": "a-01", "date": "2026-03-09", "plan": []}


@pytest.mark.parametrize(
    ("cell", "hours"),
    [
        ("7", 7),
        (" 6.5 ", 6.5),
        ("6,5", 6.5),
        ("6,25", 6.25),
        ("7.333", 7.333),
        ("0,125", 0.125),
        ("-1", -1),
        ("\N{MINUS SIGN}1", -1),
        ("6.333333333333333", 6.333333333333333),
        ("1.234,5", 1234.5),
        ("1,234.5", 1234.5),
        ("1'234.5", 1234.5),
        ("1\N{RIGHT SINGLE QUOTATION MARK}234", 1234),
        ("1 234,5", 1234.5),
        ("1\N{NO-BREAK SPACE}234,5", 1234.5),
        ("1\N{NARROW NO-BREAK SPACE}234\N{NARROW NO-BREAK SPACE}567", 1234567),
        ("1.234.567", 1234567),
    ],
)
def test_numbers_are_read_with_a_decimal_point_or_comma(cell: str, hours: float) -> None:
    assert check_in_of(sleep_hours=cell)["sleep"] == {"hours": hours}


@pytest.mark.parametrize(
    "cell",
    [
        "six",
        "6 o'clock",
        "22:30-06:45",
        "1.2.3",
        "1,23,456",
        "1.234 567",
        "12 34",
        "1.234.567.8",
        "1'23",
        "1e3",
        "nan",
        "inf",
        "true",
        "٣",
        "6 5",
        "--6",
        "9" * 1999,
    ],
)
def test_what_is_no_number_is_named_by_its_column(cell: str) -> None:
    row = row_of(sleep_hours=cell)
    assert row.to_json() is None
    [fault] = row.errors
    assert (fault.pointer, fault.detail) == ("/sleep_hours", IS_NO_NUMBER)
    assert fault == CellFault("/sleep_hours", cell if len(cell) < 200 else None, fault.detail, "C2")


@pytest.mark.parametrize("cell", ["1,200", "1.200"])
def test_a_number_with_two_meanings_is_refused(cell: str) -> None:
    [error] = row_of(plan_goal="strength", plan_rest_seconds=cell).errors
    assert error.pointer == "/plan_rest_seconds"
    assert error.detail == "may mean 1.2 or 1200; write it as one of these"


def test_an_empty_cell_was_not_reported() -> None:
    assert check_in_of(sleep_hours="", soreness_chest=" ", warning_signs="", pain_kind="") == {
        "athlete_id": "a-01",
        "date": "2026-03-09",
        "plan": [],
    }


@pytest.mark.parametrize(
    "cell",
    ["chest-pain fainting", "chest-pain, fainting", "Chest_Pain;fainting", "chest-pain;;fainting"],
)
def test_a_list_is_separated_by_spaces_commas_or_semicolons(cell: str) -> None:
    assert check_in_of(warning_signs=cell)["warning_signs"] == ["chest-pain", "fainting"]


@pytest.mark.parametrize(
    ("cell", "signs"),
    [
        ("chest pain", ["chest-pain"]),
        ("Dark Urine; fainting", ["dark-urine", "fainting"]),
        ("dunkler Urin", ["dark-urine"]),
        ("dunkler Urin, wie Tee oder Cola", ["dark-urine"]),
        ("chest pain or pressure, head injury", ["chest-pain", "head-injury"]),
        ("keine", []),
    ],
)
def test_a_warning_sign_may_be_several_words(cell: str, signs: list[str]) -> None:
    assert check_in_of(warning_signs=cell)["warning_signs"] == signs


@pytest.mark.parametrize("cell", ["no chest-pain", "chest pain fainting", "not fainting", "Brust"])
def test_words_around_a_warning_sign_are_refused_and_not_passed_over(cell: str) -> None:
    with pytest.raises(InvalidInput) as refused:
        row_of(warning_signs=cell).load(load_check_in)
    assert {error.pointer for error in refused.value.errors} == {"/warning_signs"}


@pytest.mark.parametrize(
    ("column", "cell", "said"),
    [
        ("illness", "keine", {"illness": "none"}),
        ("illness", "Gesund", {"illness": "none"}),
        ("illness", "Fieber", {"illness": "fever"}),
        ("illness", "above the neck only", {"illness": "above-neck"}),
        ("pain_where", "keine", {"pain": []}),
        ("pain_muscle_groups", "Oberer Rücken", {"pain": [{"muscle_groups": ["upper-back"]}]}),
        ("pain_kind", "im Gelenk", {"pain": [{"kind": "joint"}]}),
        ("plan_goal", "Kraft", {"plan": [{"goal": "strength"}]}),
        ("plan_goal", "growth_work", {"plan": [{"goal": "hypertrophy"}]}),
        ("Ziel", "Aufbautraining", {"plan": [{"goal": "hypertrophy"}]}),
        ("Muster", "Kniebeuge", {"plan": [{"pattern": "squat"}]}),
        ("Trainingsmittel", "Freie Gewichte", {"plan": [{"modality": "free-weights"}]}),
        (
            "Muskelgruppen",
            "Quadrizeps, lower back, Waden Brust",
            {"plan": [{"muscle_groups": ["quadriceps", "lower-back", "calves", "chest"]}]},
        ),
    ],
)
def test_cells_are_known_by_the_labels_of_every_language(
    column: str, cell: str, said: dict[str, Any]
) -> None:
    check_in = check_in_of(**{column: cell})
    assert {name: check_in[name] for name in said} == said


@pytest.mark.parametrize(
    ("header", "meant"),
    [
        ("ilness", "illness"),
        ("warning", "warning_signs"),
        ("pain_location", "pain_where"),
        ("painful", "pain_where"),
        ("Kopfschmerzen", "pain_"),
        ("Knie weh", "pain_"),
        ("Erkrankung", "illness"),
        ("Bewusstlosigkeit", "warning_signs"),
        ("flu", "illness"),
        ("coughing", "illness"),
        ("Kater Brust", "soreness_"),
        ("sleep_hour", "sleep_hours"),
        ("plan_gaol", "plan_goal"),
        ("Sore", "soreness_all"),
        ("Sore legz", "soreness_legs"),
        ("sorenes_chest", "soreness_chest"),
        ("Quadrcieps", "soreness_quadriceps"),
    ],
)
def test_a_column_that_may_speak_for_rest_is_never_left_unread(header: str, meant: str) -> None:
    result = f"Column C, {header}, is not known, .* Did you mean {meant}.* call it x_"
    with pytest.raises(MalformedInput, match=result):
        sheet_of(f"athlete_id,date,{header}\na-01,2026-03-09,yes\n")


@pytest.mark.parametrize(
    "header",
    [
        "x_painful",
        "skill",
        "wellness",
        "training",
        "coach",
        "Sprache",
        "last",
        "late",
        "drill",
        "chest_press",
        "Belastung",
        "Gruppe",
        "coaches",
        "influence",
        "water",
        "caution",
    ],
)
def test_a_column_of_ones_own_is_left_unread(header: str) -> None:
    [row] = sheet_of(f"athlete_id,date,{header}\na-01,2026-03-09,yes\n").rows
    assert row.to_json() == {"athlete_id": "a-01", "date": "2026-03-09", "plan": []}


def test_two_different_rows_of_a_morning_are_refused_with_what_differs() -> None:
    text = "athlete_id,date,plan_goal\na-01,2026-03-09,strength\na-02,2026-03-09,power\n"
    rows = sheet_of(text + "a-01,9.3.2026,mobility\n").rows
    assert [len(row.errors) for row in rows] == [1, 0, 1]
    assert [
        (fault.cell, fault.detail) for fault in rows[2].errors if isinstance(fault, CellFault)
    ] == [
        (
            "B4",
            "is the date of 2 rows of a-01 (rows 2 and 4) that differ in plan_goal; keep one row, "
            "and put a second block of training into its plan2_ columns",
        )
    ]


def test_none_says_that_there_is_nothing_to_list() -> None:
    check_in = check_in_of(warning_signs="none", pain_kind="None")
    assert (check_in["warning_signs"], check_in["pain"]) == ([], [])


def test_words_are_known_whatever_their_case_and_joints() -> None:
    check_in = check_in_of(plan_goal="Steady Endurance", plan_modality="uphill_walking")
    assert check_in["plan"] == [{"goal": "steady-endurance", "modality": "uphill-walking"}]


def test_a_plan_may_start_at_a_time_alone() -> None:
    row = row_of(plan_starts_at="18:00", last_chest_at="18:00")
    assert row.read[("plan", 0, "starts_at")] == "2026-03-09T18:00:00+00:00"
    assert [error.detail for error in row.errors] == [
        "has no date; it must be a date and time like 2026-03-07 18:00"
    ]


def test_a_report_at_a_time_alone_is_of_the_date_of_its_row() -> None:
    [row] = sheet_of("athlete_id,Time reported,date\na-01,07:00,2026-03-09\n").rows
    assert row.read["reported_at",] == "2026-03-09T07:00:00+00:00"
    [told] = row.interpretations
    assert told.remark.startswith("times without a date, read on the date of their row")


def test_a_row_without_a_plan_is_a_day_off() -> None:
    assert check_in_of(plan_goal="", plan_minutes="")["plan"] == []


def test_more_blocks_follow_in_their_order_without_gaps() -> None:
    plan = check_in_of(plan4_goal="mobility", plan2_goal="strength", plan_goal="skill")["plan"]
    assert plan == [{"goal": "skill"}, {"goal": "strength"}, {"goal": "mobility"}]


def test_the_guard_of_an_exported_cell_is_taken_off() -> None:
    assert check_in_of(pain_where="'-left knee", pain_kind="joint")["pain"] == [
        {"where": "-left knee", "kind": "joint"}
    ]


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"", "missing: athlete_id, date"),
        (b"\n\n", "missing: athlete_id, date"),
        (b"who,day\nx,y\n", "commonest columns are athlete_id, date, sleep_hours"),
        (b"athlet_no,date\nx,y\n", "missing: athlete_id. Is athlet_no meant for athlete_id?"),
        (b"athlete_id,sleep_hours\na-01,7\n", "missing: date"),
        (b"athlete_id,date,Date\na,b,c\n", "in the sheet twice: date"),
        (b"athlete_id,date\na-01\x81,2026-03-09\n", "Line 2 is neither UTF-8 nor Windows-1252"),
        (SIMPLE.encode("utf-16")[:-1], "says that it is UTF-16-LE, and is not"),
        (SIMPLE.encode("utf-16-le"), "Line 1 holds a character that is no text"),
        (b"PK\x03\x04rest", "save the sheet as CSV"),
        (b'athlete_id,date\na-01,"2026-03-09\n', "Line 2 cannot be read"),
        (b'athlete_id,date\n"a"01,2026-03-09\n', "quotation marks"),
        (b"athlete_id,date\na-01," + b"9" * 200_000, "field larger than field limit"),
    ],
)
def test_a_file_that_cannot_be_read_is_refused_with_what_would_do(data: bytes, words: str) -> None:
    with pytest.raises(MalformedInput, match=words):
        read_sheet(data, CHECK_INS)


def refuse(*errors: FieldError) -> Any:
    def load(plain: dict[str, Any]) -> CheckIn:
        raise InvalidInput("no", errors)

    return load


@pytest.mark.parametrize(
    ("pointer", "column"),
    [
        ("/sleep/hours", "/Sleep Hours"),
        ("/soreness/upper-back", "/soreness_upper_back"),
        ("/last_trained/chest/goal", "/last_chest_goal"),
        ("/plan/0/goal", "/plan_goal"),
        ("/plan/1/goal", "/plan3_goal"),
        ("/plan/1/muscle_groups/0", "/plan3_muscle_groups"),
        ("/plan/1", "/plan3_muscle_groups"),
        ("/pain/0/kind", "/pain_kind"),
        ("/pain", "/pain_where"),
        ("", ""),
    ],
)
def test_faults_that_the_schemas_find_are_named_by_column(pointer: str, column: str) -> None:
    text = (
        "athlete_id,date,Sleep Hours,plan_minutes,plan3_muscle_groups,pain_where\n"
        "a-01,2026-03-09,65,10,arms,knee\n"
    )
    [row] = sheet_of(text).rows
    with pytest.raises(InvalidInput) as refused:
        row.load(refuse(FieldError(pointer, 65, "must be less")))
    [fault] = refused.value.errors
    assert (fault.pointer, fault.value, fault.detail) == (column, 65, "must be less")


@pytest.mark.parametrize(
    ("pointer", "cell"),
    [
        ("/sleep/hours", "C2"),
        ("/plan/1/goal", ""),
        ("/plan/1/muscle_groups/0", "E2"),
        ("/pain/0/where", "F2"),
        ("/pain/0/kind", "F2"),
    ],
)
def test_faults_name_their_cell_where_the_sheet_has_it(pointer: str, cell: str) -> None:
    text = (
        "athlete_id,date,Sleep Hours,plan_minutes,plan3_muscle_groups,pain_where\n"
        "a-01,2026-03-09,65,10,arms,knee\n"
    )
    [fault] = sheet_of(text).rows[0].in_columns([FieldError(pointer, 65, "must be less")])
    assert isinstance(fault, CellFault)
    assert fault.cell == cell


def test_a_cell_that_cannot_be_read_is_not_called_missing_too() -> None:
    row = row_of(date="yesterday", sleep_hours="7")
    with pytest.raises(InvalidInput) as refused:
        row.load(refuse(FieldError("/date", None, "is missing"), FieldError("/plan", 1, "no")))
    assert [error.pointer for error in refused.value.errors] == ["/date", "/plan_goal"]


LONG = "athlete_id,date,muscle_group,soreness,last_trained_at,last_trained_goal\n"


def test_each_fault_of_a_morning_in_several_rows_names_its_own() -> None:
    [row] = sheet_of(
        LONG + "a-01,2026-03-09,chest,x,,\na-01,2026-03-09,calves,11,yesterday,strength\n"
    ).rows
    with pytest.raises(InvalidInput) as refused:
        row.load(load_check_in)
    faults = [error for error in refused.value.errors if isinstance(error, CellFault)]
    assert [(fault.cell, fault.value) for fault in faults] == [
        ("D2", "x"),
        ("E3", "yesterday"),
        ("D3", 11),
    ]


@pytest.mark.parametrize("column", ["soreness", "doms", "last_trained_goal"])
def test_what_speaks_of_a_muscle_group_needs_a_column_that_names_it(column: str) -> None:
    [fault] = row_of(**{column: "3"}).errors
    assert isinstance(fault, CellFault)
    detail = "stands beside no muscle group; name one in the row, under muscle_group"
    assert (fault.pointer, fault.cell, fault.detail) == (f"/{column}", "C2", detail)


def test_all_faults_of_a_row_are_told_at_once() -> None:
    row = row_of(sleep_hours="six", fatigue="11")
    with pytest.raises(InvalidInput, match="Row 2 cannot be accepted") as refused:
        row.load(refuse(FieldError("/fatigue", 11, "must be from 0 to 10")))
    assert [error.pointer for error in refused.value.errors] == ["/sleep_hours", "/fatigue"]


def test_a_row_that_cannot_be_read_is_not_loaded_without_that_cell() -> None:
    def load(plain: dict[str, Any]) -> CheckIn:
        return CheckIn(athlete_id=plain["athlete_id"], date=plain["date"], plan=())

    with pytest.raises(InvalidInput):
        row_of(sleep_hours="six").load(load)
    assert row_of(sleep_hours="6").load(load).athlete_id == "a-01"


# ---- what else a morning and a session can say

MORE = {
    "sleep_hours": "6.5",
    "naps_hours": "0.75",
    "temperature_c": "37,4",
    "fever_medicine": "nein",
    "jump_height_cm": "38,5 / 39.5 / 40",
    "grip_kg": "52.5",
    "bar_speed_pattern": "squat",
    "bar_speed_load_kg": "100",
    "bar_speed_metres_per_second": "0.62",
    "pain_where": "left shin",
    "pain_kind": "one-sided",
    "pain_place": "Schienbein",
    "pain_side": "links",
    "pain_onset": "gradual",
    "pain_severity": "3.5",
    "pain_after": "long-journey",
    "pain_warm": "ja",
    "pain_swollen": "no",
    "pain_numbness": "0",
    "time_zones_crossed": "6",
    "arrived_on": "2026-03-07",
    "heat_wbgt_c": "28.5",
    "heat_acclimatised": "x",
    "caffeine_mg": "200",
    "creatine_g": "5",
    "takes_other": "beetroot juice",
    "plan_goal": "strength",
    "plan_effort": "7.5",
    "plan_reps_in_reserve": "2",
    "plan_to_failure": "false",
    "plan_new_exercise": "true",
    "plan_action": "eccentric",
    "plan_contacts": "40",
    "plan_sprint_metres": "300",
    "plan_kilometres": "8.25",
    "plan_contact": "y",
    "plan_indoors": "yes",
    "plan_competition": "n",
}
SAID = {
    "sleep": {"hours": 6.5, "naps_hours": 0.75},
    "temperature_c": 37.4,
    "fever_medicine": False,
    "jump_height_cm": [38.5, 39.5, 40],
    "grip_kg": 52.5,
    "bar_speed": [{"pattern": "squat", "load_kg": 100, "metres_per_second": 0.62}],
    "pain": [PAIN_IN_FULL],
    "journey": {"time_zones_crossed": 6, "arrived_on": "2026-03-07"},
    "heat": {"wbgt_c": 28.5, "acclimatised": True},
    "takes": {"caffeine_mg": 200, "creatine_g": 5, "other": "beetroot juice"},
    "plan": [
        {
            "goal": "strength",
            **EFFORT_IN_FULL,
            "sprint_metres": 300,
        }
    ],
}


def test_all_that_a_check_in_can_say_has_a_column() -> None:
    head = ";".join(("athlete_id", "date", *MORE))
    row = ";".join(("a-01", "2026-03-09", *MORE.values()))
    [read] = read_sheet(f"{head}\n{row}\n".encode(), CHECK_INS).rows
    assert read.errors == ()
    plain = read.to_json()
    assert plain == {"athlete_id": "a-01", "date": "2026-03-09", **SAID}
    assert to_json(read.load(load_check_in)) == plain


def test_what_a_block_of_a_session_can_say_has_a_column() -> None:
    head = "athlete_id,starts_at,minutes,block_goal,block_output,block_output_drop_percent"
    row = "a-01,2026-03-08T18:00:00+01:00,60,strength,dropped,8"
    sheet = f"{head},block_longest_run_km\n{row},12.5\n".encode()
    [read] = read_sheet(sheet, SESSIONS).rows
    assert (read.to_json() or {})["blocks"] == [
        {"goal": "strength", "output": "dropped", "output_drop_percent": 8, "longest_run_km": 12.5}
    ]


def test_a_long_sheet_with_a_short_row_is_counted_too() -> None:
    counted: list[int] = []
    sheet = b"muscle_group,soreness,athlete_id,date\nchest,1,a-03,2026-03-09\nchest,1\n"
    read_sheet(sheet, CHECK_INS, ReadOptions(check_count=counted.append))
    assert counted == [2]


@pytest.mark.parametrize("layout", [CHECK_INS, SESSIONS], ids=lambda layout: layout.name)
def test_an_id_in_a_cell_means_itself_whatever_else_words_mean(layout: Layout) -> None:
    lists = {column.words for column in layout.columns().values() if column.words}
    for name in lists:
        ids = [one for one in Vocabulary.bundled().values_of(name) if one != NONE]
        assert [find_id(name, one) for one in ids] == ids
        assert [ids_by_word(name)[plain_name(one)] for one in ids] == ids


def test_what_several_rows_say_is_read_in_each() -> None:
    said, wrong = "2026-03-09,5,cold", "2026-03-09,x,cold"
    rows = ["athlete_id,date,fatigue,illness", f"a,{said}", f"b,{said}", f"c,{wrong}", f"d,{wrong}"]
    sheet = sheet_of("\n".join(rows))
    read = {"date": "2026-03-09", "fatigue": 5, "illness": "above-neck", "plan": []}
    forms = [row.to_json() for row in sheet.rows]
    assert forms == [{"athlete_id": "a", **read}, {"athlete_id": "b", **read}, None, None]
    assert [in_cell(row) for row in sheet.rows[2:]] == ["C4", "C5"]


def in_cell(row: SheetRow) -> str:
    [fault] = row.errors
    assert isinstance(fault, CellFault)
    return fault.cell


@pytest.mark.parametrize(
    "athlete",
    ["athlete_id", "Athlete-ID", "Athlete ID:", "Name:", "ATHLETE  ID", "First-Name", "Who"],
)
@pytest.mark.parametrize("day", ["date", "Date:", "Datum"])
def test_a_second_header_with_other_columns_is_seen_however_its_words_are_written(
    athlete: str, day: str
) -> None:
    first, row = "Who,date,fatigue,stress", "a-1,2026-03-09,3,2"
    sheet = f"{first}\n{row}\n{athlete},{day},stress,fatigue\na-2,2026-03-09,2,8\n"
    options = ReadOptions(chosen=lambda _layout, _headers: {"who": "athlete_id"})
    with pytest.raises(MalformedInput, match="Row 3 names other columns than the header above"):
        read_sheet(sheet.encode(), CHECK_INS, options)


def test_a_second_header_is_seen_beside_a_cell_that_is_as_long_as_a_question() -> None:
    question = "How sore are you today? " * 10
    sheet = f"athlete_id,date,fatigue\na-1,2026-03-09,3\nAthlete-ID,date,stress,{question}\n"
    with pytest.raises(MalformedInput, match="Row 3 names other columns"):
        sheet_of(sheet)


@pytest.mark.parametrize("again", ["Athlete-ID,Date:,Fatigue,X-Seat", "Name,Datum,tired,x_seat"])
def test_a_header_that_comes_again_in_other_words_is_no_row_of_answers(again: str) -> None:
    sheet = sheet_of(
        f"athlete_id,date,fatigue,x_seat\na-1,2026-03-09,3,4\n{again}\na-2,2026-03-09,8,4\n"
    )
    assert [row.number for row in sheet.rows] == [2, 4]
    assert "Rows that name the columns again: 3." in sheet.remarks()
