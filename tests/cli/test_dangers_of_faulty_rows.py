"""What ``dawnrule advise`` says of pain, illness and warning signs in rows that it cannot take."""

from __future__ import annotations

import json
from typing import Any

import pytest

from tests.cli.terminal import typed

HOLD = "hold this athlete's session back"
HEADER = "athlete_id,date,fatigue,warning_signs,plan_goal"
MORNING = {"athlete_id": "a-1", "date": "2026-03-09"}
WRONG = {"plan": [{"goal": "xyz"}]}


def advised(given: str, *options: str) -> tuple[dict[str, list[str]], str, str]:
    """Return the verdicts by athlete, with the answer and what is told of it."""
    result = typed("advise", "-", *options, given=given.encode())
    table = result.stdout.split("\n\n")[0].splitlines()[2:]
    verdicts: dict[str, list[str]] = {}
    for line in table:
        verdicts.setdefault(line.split()[0], []).append(line)
    return verdicts, result.stdout, result.stderr


def of_rows(*rows: str, header: str = HEADER) -> tuple[dict[str, list[str]], str, str]:
    return advised("\n".join([header, *rows]))


@pytest.mark.parametrize("days", [("09", "08"), ("09", "09"), ("08", "09")])
@pytest.mark.parametrize("sign_first", [False, True])
def test_nobody_trains_by_either_spelling_of_an_id_by_which_a_danger_is_told(
    days: tuple[str, str], sign_first: bool
) -> None:
    rows = [
        f"A-3,2026-03-{days[0]},7,none,strength",
        f"a-3,2026-03-{days[1]},7,chest-pain,strength",
    ]
    verdicts, shown, told = of_rows(*(reversed(rows) if sign_first else rows))
    assert "Train as planned" not in shown
    [by_sign] = verdicts["a-3"]
    assert "Rest" in by_sign
    assert "must differ from a" in told.replace("A-3", "a-3")
    if not sign_first:
        [other] = verdicts["A-3"]
        assert "No verdict" in other
        assert f"A-3: Correct the row to get a verdict. Until then, {HOLD}." in shown
        assert "2 rows (2, 3): another row, by an id with other capitals, tells of" in told


def test_pain_by_another_spelling_holds_all_mornings_back_and_names_every_row() -> None:
    rows = (
        "A-3,2026-03-07,7,,strength",
        "A-3,2026-03-09,7,,strength",
        "a-3,2026-03-08,7,knee,strength",
        "a-4,2026-03-09,7,,strength",
    )
    header = HEADER.replace("warning_signs", "pain_where")
    verdicts, _, told = of_rows(*rows, header=header)
    assert ["No verdict" in line for line in verdicts["A-3"]] == [True, True]
    assert ["No verdict" in line for line in verdicts["a-3"]] == [True]
    assert ["Train as planned" in line for line in verdicts["a-4"]] == [True]
    assert "3 rows (2\N{EN DASH}4): another row, by an id with other capitals, tells of" in told
    assert told.endswith("No verdict for 3 of 4 rows: A-3, a-3.\n")


def test_a_danger_by_another_spelling_keeps_the_faults_of_its_row() -> None:
    rows = ("A-3,2026-03-09,7,none,strength", "a-3,2026-03-08,7,chest-pain,xyz")
    _, shown, told = of_rows(*rows)
    assert "Train as planned" not in shown
    assert "plan_goal (E3) must be one of" in told
    assert "athlete_id (A3) must differ from A-3 in more than capitals" in told


def test_another_spelling_without_a_danger_is_refused_alone() -> None:
    rows = ("A-3,2026-03-09,7,none,strength", "a-3,2026-03-08,7,none,strength")
    verdicts, _, told = of_rows(*rows)
    assert "Train as planned" in verdicts["A-3"][0]
    assert "a-3" not in verdicts
    assert HOLD not in told


@pytest.mark.parametrize(
    ("danger", "verdict"),
    [
        ({"warning_signs": ["chest-pain"]}, "Rest"),
        ({"warning_signs": ["dizzy", "chest-pain"]}, "Rest"),
        ({"warning_signs": "chest-pain"}, "Rest"),
        ({"illness": "fever"}, "Rest"),
        ({"temperature_c": 39.2}, "Rest"),
        ({"pain": [{"where": "knee", "kind": "joint"}]}, "No verdict"),
        ({"pain": [{"where": "knee", "kind": "ache"}]}, "No verdict"),
        ({"pain": {"where": "knee"}}, "No verdict"),
        ({"pain": [{"where": ["knee"], "kind": ["joint"], "muscle_groups": 7}]}, "No verdict"),
        ({"pain": ["knee"]}, "No verdict"),
    ],
)
def test_of_a_faulty_check_in_in_json_the_dangers_are_taken(
    danger: dict[str, Any], verdict: str
) -> None:
    given = json.dumps([{**MORNING, **danger, **WRONG}, {**MORNING, "athlete_id": "a-2"} | WRONG])
    verdicts, shown, told = advised(given)
    assert [verdict in line for line in verdicts["a-1"]] == [True]
    assert "check-in 1: the pain, illness and warning signs in this row were taken" in told
    assert "check-in 1: plan/0/goal must be one of" in told
    assert "a-2" not in verdicts
    if verdict == "No verdict":
        assert HOLD in shown


@pytest.mark.parametrize(
    "odd",
    [
        {"warning_signs": [["chest-pain"], {}, None, 7], "pain": [None, 7, [], {}]},
        {"warning_signs": {"chest-pain": True}, "pain": 7, "illness": ["fever"]},
        {"illness": "none", "warning_signs": [], "pain": [], "temperature_c": "39"},
        {"temperature_c": 36.6, "illness": None, "warning_signs": None, "pain": None},
    ],
)
def test_what_is_no_danger_in_json_is_not_taken_for_one(odd: dict[str, Any]) -> None:
    _, _, told = advised(json.dumps([{**MORNING, **odd, **WRONG}, 7, None, "chest-pain"]))
    assert "check-in 1: plan/0/goal must be one of" in told
    assert HOLD not in told
    assert "were taken" not in told


def test_of_two_check_ins_in_json_for_one_morning_the_danger_counts() -> None:
    told_of = [{**MORNING, "plan": [], "warning_signs": signs} for signs in ([], ["chest-pain"])]
    verdicts, _, told = advised(json.dumps(told_of))
    assert ["Rest" in line for line in verdicts["a-1"]] == [True]
    assert "check-in 2: the pain, illness and warning signs in this row were taken" in told


@pytest.mark.parametrize(
    "row",
    [
        "a-1,Monday,7,chest-pain,strength",
        "a-1,,7,chest-pain,strength",
        ",2026-03-09,7,chest-pain,strength",
        "a-1,2126-03-09,7,chest-pain,strength",
        "a-1,2126-03-09,7,chest-pain,xyz",
    ],
)
def test_a_row_that_cannot_be_placed_says_that_it_tells_of_a_danger(row: str) -> None:
    verdicts, _, told = of_rows(row, "a-2,Monday,7,none,strength")
    assert verdicts == {}
    named = [line for line in told.splitlines() if HOLD in line]
    assert named == [
        f"row 2: the row tells of pain, illness or a warning sign: {HOLD} until it is corrected"
    ]


@pytest.mark.parametrize("day", ["Monday", None, "2126-03-09"])
def test_a_check_in_in_json_that_cannot_be_placed_says_that_it_tells_of_a_danger(
    day: str | None,
) -> None:
    check_in = {"athlete_id": "a-1", "date": day, "warning_signs": ["chest-pain"], "plan": []}
    _, _, told = advised(json.dumps(check_in))
    assert "check-in 1: date" in told
    assert f"check-in 1: the row tells of pain, illness or a warning sign: {HOLD}" in told


@pytest.mark.parametrize("form", ["csv", "json"])
def test_a_danger_that_cannot_be_placed_is_named_in_every_form_of_answer(form: str) -> None:
    given = f"{HEADER}\na-1,Monday,7,chest-pain,strength\n"
    result = typed("advise", "-", "--format", form, given=given.encode())
    assert HOLD in result.stderr
    assert (HOLD in result.stdout) is (form == "csv")


def test_a_temperature_of_a_fever_counts_whatever_else_in_the_row_cannot_be_read() -> None:
    header = HEADER.replace("warning_signs", "temperature_c")
    verdicts, _, _ = of_rows("a-1,2026-03-09,7,39.1,xyz", "a-2,2026-03-09,7,37,xyz", header=header)
    assert ["Rest" in line for line in verdicts["a-1"]] == [True]
    assert "a-2" not in verdicts
