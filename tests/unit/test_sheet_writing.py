"""Does a squad sheet come back as it was, safe to open, with the advice beside each row?"""

from __future__ import annotations

import csv
import io

import pytest

from dawnrule.sheet import CHECK_INS, RowAnswer, read_sheet, write_sheet

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
    ["=1+1", "+1+1", "-2+3", "@SUM(A1)", "\tx", "\rx", "-", "=HYPERLINK(1)", "\uff1d1+1", "-5%"],
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


@pytest.mark.parametrize("cell", ["-5", "+5", "-2.5", "-2,5"])
def test_numbers_are_left_alone(cell: str) -> None:
    text = written(f'athlete_id,date,change\na-01,2026-03-09,"{cell}"\n', ADVISED)
    _, row = csv.reader(io.StringIO(text, newline=""))
    assert row[2] == cell


def test_cells_with_quotes_and_lines_come_back_as_they_were() -> None:
    given = 'athlete_id,date,notes\r\na-01,2026-03-09,"said ""no"",\nthen; slept"\r\n'
    again = read_sheet(written(given, ADVISED).encode("utf-8"), CHECK_INS)
    assert again.rows[0].cells["notes"] == 'said "no",\nthen; slept'


def test_each_row_needs_its_answer() -> None:
    with pytest.raises(ValueError, match="shorter"):
        written("athlete_id,date\na-01,2026-03-09\na-02,2026-03-09\n", ADVISED)
