"""Answered sheets: as they were, safe to open, with the advice in each row."""

from __future__ import annotations

import csv
import io

import pytest

from dawnrule.model import Verdict, Vocabulary
from dawnrule.model.advice import Note, RuleName
from dawnrule.sheet import CHECK_INS, RowAnswer, read_sheet, write_sheet
from tests.factories import advice_of

ADVISED = RowAnswer("Rest", "illness-fever", "Fever was reported.", "Rest, and drink.")


def written(text: str, *answers: RowAnswer) -> str:
    return write_sheet(read_sheet(text.encode("utf-8"), CHECK_INS), answers)


def test_the_answer_stands_beside_the_given_columns() -> None:
    assert written("notes,athlete_id,date\n tired ,a-01,2026-03-09\n", ADVISED) == (
        "notes,athlete_id,date,verdict,rule,reason,caution,problem\r\n"
        ' tired ,a-01,2026-03-09,Rest,illness-fever,Fever was reported.,"Rest, and drink.",\r\n'
    )


def test_a_sheet_keeps_its_delimiter_and_its_byte_order_mark() -> None:
    text = written("\ufeffathlete_id;date\na-01;2026-03-09\n", RowAnswer(problem="a;b"))
    assert text.startswith("\ufeffathlete_id;date;verdict;")
    assert text.endswith('a-01;2026-03-09;;;;;"a;b"\r\n')


def test_answers_of_an_earlier_reply_are_replaced() -> None:
    once = written("athlete_id,date,notes\na-01,2026-03-09,x\n", RowAnswer("Rest"))
    assert written(once, RowAnswer("Train")) == once.replace("Rest", "Train")


@pytest.mark.parametrize(
    "cell",
    [
        "=1+1",
        "+1+1",
        "-2+3",
        "@SUM(A1)",
        "\tx",
        "\rx",
        "\nx",
        "-",
        "-1.234,5.6",
        "=HYPERLINK(1)",
        "\uff1d1+1",
        "-5%",
    ],
)
def test_text_that_looks_like_a_formula_is_neutralised(cell: str) -> None:
    quoted = cell.replace('"', '""')
    text = written(f'athlete_id,date,notes\na-01,2026-03-09,"{quoted}"\n', RowAnswer(reason=cell))
    _, row = csv.reader(io.StringIO(text, newline=""))
    assert (row[2], row[5]) == (f"'{cell}", f"'{cell}")


def test_a_header_that_looks_like_a_formula_is_neutralised() -> None:
    assert written("athlete_id,date,=1+1\na-01,2026-03-09,x\n", ADVISED).startswith(
        "athlete_id,date,'=1+1,"
    )


@pytest.mark.parametrize("cell", ["-5", "+5", "-2.5", "-2,5", "-1.234,5", "-1'234.5"])
def test_numbers_are_left_alone(cell: str) -> None:
    text = written(f'athlete_id,date,change\na-01,2026-03-09,"{cell}"\n', ADVISED)
    _, row = csv.reader(io.StringIO(text, newline=""))
    assert row[2] == cell


@pytest.mark.parametrize("encoding", ["cp1252", "utf-16"])
def test_a_sheet_that_was_no_plain_utf_8_comes_back_with_the_mark_of_utf_8(encoding: str) -> None:
    data = "athlete_id,date,notes\na-01,2026-03-09,éveillé\n".encode(encoding)
    text = write_sheet(read_sheet(data, CHECK_INS), [ADVISED])
    assert text.startswith("\ufeffathlete_id")
    assert "éveillé" in text


def test_rows_of_one_morning_keep_their_places_and_have_the_same_answer() -> None:
    header, *rows = csv.reader(
        io.StringIO(
            written(
                "athlete_id,date,muscle_group,soreness\na-01,2026-03-09,chest,1\n"
                "a-02,2026-03-09,chest,2\na-01,2026-03-09,calves,3\n",
                ADVISED,
                RowAnswer("Train as planned"),
            )
        )
    )
    assert header[4] == "verdict"
    assert [(row[0], row[3], row[4]) for row in rows] == [
        ("a-01", "1", "Rest"),
        ("a-02", "2", "Train as planned"),
        ("a-01", "3", "Rest"),
    ]


def test_cells_with_quotes_and_lines_come_back_as_they_were() -> None:
    given = 'athlete_id,date,notes\r\na-01,2026-03-09,"said ""no"",\nthen; slept"\r\n'
    again = read_sheet(written(given, ADVISED).encode("utf-8"), CHECK_INS)
    assert again.rows[0].cells["notes"] == 'said "no",\nthen; slept'


def test_each_row_needs_its_answer() -> None:
    with pytest.raises(ValueError, match="shorter"):
        written("athlete_id,date\na-01,2026-03-09\na-02,2026-03-09\n", ADVISED)


@pytest.mark.parametrize(
    ("verdict", "caution"),
    [
        ("train-as-planned", "Stop if it hurts. Have the pain looked at."),
        ("swap-to-low-damage", "Stop if it hurts. Have the pain looked at."),
        ("rest", "Stop if it hurts."),
    ],
)
def test_notes_are_heeded_beside_a_row_that_trains(verdict: str, caution: str) -> None:
    note = Note(RuleName("pain", "Pain"), "Have the pain looked at.")
    advice = advice_of(Verdict(verdict), notes=[note])
    answer = RowAnswer.of_advice(advice, advice.reason, Vocabulary.bundled())
    assert (answer.reason, answer.caution) == ("No rule stops it.", caution)
