"""Dates and times of cells: one reading each, never a guess."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, datetime
from zoneinfo import ZoneInfo

import pytest

from dawnrule.schemas.fields import DateOrder
from dawnrule.sheet.datetimes import (
    CellContext,
    date_from_serial,
    date_from_text,
    datetime_from_serial,
    datetime_from_text,
    with_zone,
)
from dawnrule.sheet.errors import CellError

BERLIN = ZoneInfo("Europe/Berlin")
DMY, MDY, YMD = DateOrder
MORNING = date(2026, 3, 9)
THERE = CellContext(None, BERLIN)


@pytest.mark.parametrize("order", [None, *DateOrder])
@pytest.mark.parametrize("text", ["2026-03-09", "2026-3-9", "2026/03/09", "2026.03.09"])
def test_a_year_in_front_stands_before_month_and_day_whatever_is_declared(
    text: str, order: DateOrder | None
) -> None:
    assert date_from_text(text, order) == (MORNING, "")


@pytest.mark.parametrize("text", ["09.03.2026", "9.3.2026", "9.3.2026."])
def test_a_date_with_dots_has_its_day_first(text: str) -> None:
    assert date_from_text(text, None)[0] == MORNING


@pytest.mark.parametrize(
    ("text", "day"),
    [
        ("25/02/2026", date(2026, 2, 25)),
        ("02/25/2026", date(2026, 2, 25)),
        ("25-02-2026", date(2026, 2, 25)),
        ("03/03/2026", date(2026, 3, 3)),
    ],
)
def test_a_date_with_one_reading_needs_no_order(text: str, day: date) -> None:
    assert date_from_text(text, None)[0] == day


@pytest.mark.parametrize("text", ["09/03/2026", "9-3-2026", "03/09/26"])
def test_a_date_with_more_readings_is_refused_with_all_of_them(text: str) -> None:
    with pytest.raises(CellError) as refused:
        date_from_text(text, None)
    words = str(refused.value)
    assert "2026-03-09" in words
    assert "2026-09-03" in words
    assert "or declare the date order" in words


@pytest.mark.parametrize(
    ("text", "order"),
    [
        ("09/03/2026", DMY),
        ("03/09/2026", MDY),
        ("03.09.2026", MDY),
        ("9-3-26", DMY),
        ("3/9/26", MDY),
        ("26/3/9", YMD),
        ("09.03.26", None),
    ],
)
def test_a_declared_order_holds(text: str, order: DateOrder | None) -> None:
    assert date_from_text(text, order)[0] == MORNING


@pytest.mark.parametrize(
    ("text", "order", "read_as"),
    [
        ("09.03.2026", None, "day-month-year"),
        ("25/02/2026", None, "day-month-year"),
        ("02/25/2026", None, "month-day-year"),
        ("03/09/2026", MDY, "month-day-year"),
    ],
)
def test_the_order_of_a_date_that_is_not_iso_is_told(
    text: str, order: DateOrder | None, read_as: str
) -> None:
    assert date_from_text(text, order)[1] == f"dates, read as {read_as}"


def test_a_year_of_two_digits_is_told() -> None:
    assert date_from_text("09.03.26", None)[1] == "years of two digits, read as 20.."


@pytest.mark.parametrize(
    ("text", "order"),
    [
        ("31/02/2026", DMY),
        ("25/02/2026", MDY),
        ("09/03/2026", YMD),
        ("2026-02-29", None),
        ("2026-03-9x", None),
        ("9/3", None),
        ("9/3-2026", None),
        ("9.3.226", None),
        ("0/0/2026", None),
        ("٩.٣.2026", None),
        ("9 Smarch 2026", None),
    ],
)
def test_what_is_no_date_is_refused_with_what_would_do(text: str, order: DateOrder | None) -> None:
    with pytest.raises(CellError, match="a date like 2026-03-09"):
        date_from_text(text, order)


def test_serial_numbers_count_days_as_spreadsheet_programs_do() -> None:
    # 2026-05-04 is 46146: measured with Calc 7.4.
    assert date_from_serial(46146) == date(2026, 5, 4)
    assert datetime_from_serial(46088.75) == datetime(2026, 3, 7, 18)
    third_of_a_day = 46088 + 1 / 3
    assert datetime_from_serial(third_of_a_day) == datetime(2026, 3, 7, 8)


@pytest.mark.parametrize("number", [46146.5, 1e12])
def test_a_serial_number_that_is_no_day_is_refused(number: float) -> None:
    with pytest.raises(CellError, match="a date like"):
        date_from_serial(number)


@pytest.mark.parametrize(
    ("text", "moment"),
    [
        ("2026-03-07T18:00:00+01:00", "2026-03-07T18:00:00+01:00"),
        ("2026-03-07T17:00:00Z", "2026-03-07T17:00:00Z"),
        ("2026-03-07 18:00 +0100", "2026-03-07T18:00:00+01:00"),
        ("2026-03-07 18:00", "2026-03-07T18:00:00+01:00"),
        ("2026-07-07 18:00", "2026-07-07T18:00:00+02:00"),
        ("07.03.2026 18:00:30", "2026-03-07T18:00:30+01:00"),
        ("2026-03-07 6:00 PM", "2026-03-07T18:00:00+01:00"),
        ("2026-03-07 12:00 AM", "2026-03-07T00:00:00+01:00"),
        ("2026-03-07 12:30 pm", "2026-03-07T12:30:00+01:00"),
    ],
)
def test_a_time_is_local_unless_it_says_its_offset(text: str, moment: str) -> None:
    assert datetime_from_text(text, THERE)[0] == moment


def test_only_a_time_without_an_offset_is_told() -> None:
    assert datetime_from_text("2026-03-07T18:00:00+01:00", THERE)[1] == ""
    assert "read where the athlete lives" in datetime_from_text("2026-03-07 18:00", THERE)[1]


def test_the_zone_of_a_local_time_is_told_as_it_was_declared() -> None:
    utc = CellContext(None, ZoneInfo("UTC"), "as UTC")
    how = "dates, read as day-month-year; times without an offset, read as UTC"
    assert datetime_from_text("7.3.2026 18:00", utc) == ("2026-03-07T18:00:00+00:00", how)


def test_a_time_alone_is_on_the_date_of_its_row() -> None:
    moment, how = datetime_from_text("6:00 pm", replace(THERE, day=MORNING), on_the_date=True)
    assert moment == "2026-03-09T18:00:00+01:00"
    assert how == "times without a date, read on the date of their row, where the athlete lives"


def test_a_time_alone_is_no_moment_where_the_date_is_not_known() -> None:
    with pytest.raises(CellError, match="has no date; it must be a date and time like"):
        datetime_from_text("18:00", THERE, on_the_date=True)
    with pytest.raises(CellError, match="has no date"):
        datetime_from_text("18:00", replace(THERE, day=MORNING))


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("2026-03-07", "has no time of day"),
        ("18:00", "has no date; it must be a date and time like"),
        ("2026-03-07 18.00", "must be a date and time like"),
        ("2026-03-07 24:30", "no such time of day"),
        ("2026-03-07 13:00 PM", "no such hour"),
        ("03/07/2026 18:00", "declare the date order"),
        ("yesterday evening", "must be a date and time like"),
    ],
)
def test_what_is_no_moment_is_refused_with_what_would_do(text: str, words: str) -> None:
    with pytest.raises(CellError, match=words):
        datetime_from_text(text, THERE)


def test_an_hour_that_the_clocks_skip_is_refused() -> None:
    with pytest.raises(CellError, match="like 2026-03-29T03:30:00"):
        with_zone(datetime(2026, 3, 29, 2, 30), BERLIN)
    assert with_zone(datetime(2026, 3, 29, 3), BERLIN) == "2026-03-29T03:00:00+02:00"
    assert with_zone(datetime(2026, 3, 29, 1, 59), BERLIN) == "2026-03-29T01:59:00+01:00"


def test_an_hour_that_the_clocks_show_twice_is_refused_with_both() -> None:
    with pytest.raises(CellError, match=r"02:30:00\+02:00 or 2026-10-25T02:30:00\+01:00"):
        with_zone(datetime(2026, 10, 25, 2, 30), BERLIN)
    assert with_zone(datetime(2026, 10, 25, 3), BERLIN) == "2026-10-25T03:00:00+01:00"


def test_a_gap_of_a_whole_day_is_a_gap_too() -> None:
    # Samoa had no 30 December 2011 (IANA time zone database).
    with pytest.raises(CellError, match="did not happen in Pacific/Apia"):
        with_zone(datetime(2011, 12, 30, 12), ZoneInfo("Pacific/Apia"))
