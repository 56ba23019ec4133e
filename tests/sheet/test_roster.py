"""Lists of athletes, as coaches keep them."""

from __future__ import annotations

import io
from datetime import date

import pytest
from openpyxl import Workbook

from dawnrule.sheet.roster import MOST_ATHLETES, read_roster


@pytest.mark.parametrize(
    "text",
    [
        "Name;Geboren;Stand\nJörg;17.05.2001;trainiert\n",
        "Vorname\tNachname\tGeburtsdatum\tLevel\nJörg\t\t2001-05-17\ttrained\n",
        "U20 squad,,\n\nathlete,DOB,status\nJörg,17 May 2001,Trained\n",
    ],
)
def test_headings_of_coaches_are_understood_in_two_languages(text: str) -> None:
    [person] = read_roster(text.encode()).athletes
    assert person["name"] == "Jörg"
    assert person["training_status"] == "trained"
    assert person["date_of_birth"] in ("2001-05-17", "17 May 2001")


def test_without_a_heading_the_first_column_holds_the_names() -> None:
    assert [one["name"] for one in read_roster(b"Mina\n\nOdd\n").athletes] == ["Mina", "Odd"]


def test_what_nobody_knows_is_named_and_what_is_too_much_is_counted() -> None:
    rows = "".join(f"Athlete {number};42\n" for number in range(MOST_ATHLETES + 3))
    roster = read_roster(f"Name;Shoe\n{rows}".encode())
    assert (len(roster.athletes), roster.left_out) == (MOST_ATHLETES, 3)
    assert roster.unknown == ("Shoe",)


def test_a_date_that_can_be_read_two_ways_is_left_to_the_coach() -> None:
    [person] = read_roster(b"Name,Born\nMina,03/04/2001\n").athletes
    assert person["date_of_birth"] == "03/04/2001"


def test_a_workbook_is_read_with_its_own_dates() -> None:
    book = Workbook()
    assert book.active is not None
    book.active.append(("First name", "Surname", "Born", "Kg"))
    book.active.append(("Mina", "Adler", date(2001, 5, 17), 61.5))
    file = io.BytesIO()
    book.save(file)
    [person] = read_roster(file.getvalue()).athletes
    assert person == {"name": "Mina Adler", "date_of_birth": "2001-05-17", "body_mass_kg": "61.5"}
