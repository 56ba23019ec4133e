"""Sheets from any program: what is written is read back, and no file crashes the reader."""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from dawnrule.errors import InvalidInput
from dawnrule.sheet import CHECK_INS, RowAnswer, Sheet, read_sheet, write_sheet
from tests.effort import tries

AWKWARD = sorted(
    path
    for path in (Path(__file__).parents[1] / "sheets").iterdir()
    if path.suffix in {".csv", ".txt", ".xls", ".xlsx", ".ods"}
)
HEADER = ("athlete_id", "date", "sleep_hours", "soreness_chest", "pain_where", "own notes")
LETTERS = st.characters(codec="cp1252", exclude_categories=["Cc"])

notes = st.text(LETTERS | st.sampled_from("\n\r\t;,|\"'=+-@\uff1d"), max_size=12)
hours = st.integers(0, 2400).map(lambda hundredths: hundredths / 100)
ids = st.integers(0, 99).map("a-{:02}".format)
days = st.dates(date(1900, 1, 1), date(2199, 12, 31))
rows = st.tuples(ids, days, hours, st.integers(0, 10), st.text(LETTERS, max_size=9), notes)

MORNINGS = st.lists(rows, max_size=5, unique_by=lambda row: row[:2])


@st.composite
def files(draw: st.DrawFn) -> bytes:
    """Write a sheet as some program would."""
    delimiter = draw(st.sampled_from(",;\t|"))
    decimal = draw(st.sampled_from(".,"))
    encoding = draw(st.sampled_from(["utf-8", "utf-8-sig", "utf-16", "cp1252"]))
    text = io.StringIO(newline="")
    writer = csv.writer(text, delimiter=delimiter, lineterminator=draw(st.sampled_from(ENDS)))
    writer.writerow(HEADER)
    for athlete_id, day, slept, sore, where, note in draw(MORNINGS):
        number = f"{slept:.2f}".replace(".", decimal)
        morning = draw(st.sampled_from([day.isoformat(), f"{day:%d.%m.%Y}"]))
        writer.writerow([athlete_id, morning, number, sore, where, note])
    return text.getvalue().encode(encoding, "replace")


ENDS = ["\n", "\r\n", "\r"]


def said(sheet: Sheet) -> list[dict[str, Any] | None]:
    return [row.to_json() for row in sheet.rows]


def own_notes(sheet: Sheet) -> Sequence[str]:
    return [row.cells["own notes"] for row in sheet.rows]


def read_or_refused(data: bytes) -> Sheet | str:
    """Read the sheet, or return the refusal; any other error is raised."""
    try:
        return read_sheet(data, CHECK_INS)
    except InvalidInput as refused:
        return refused.detail


@settings(deadline=None, max_examples=tries(20, 80))
@given(files())
def test_a_sheet_that_comes_back_says_the_same_again(data: bytes) -> None:
    sheet = read_sheet(data, CHECK_INS)
    answers = [RowAnswer("Rest", reason="=1+1") for _ in sheet.rows]
    back = write_sheet(sheet, answers).encode("utf-8")
    again = read_sheet(back, CHECK_INS)
    assert said(again) == said(sheet)
    assert None not in said(sheet)
    for before, after in zip(own_notes(sheet), own_notes(again), strict=True):
        assert after.removeprefix("'") == before.removeprefix("'")
    assert write_sheet(again, answers).encode("utf-8") == back


@settings(deadline=None, max_examples=tries(30, 200))
@given(
    st.sampled_from(AWKWARD), st.floats(0, 1, exclude_max=True), st.binary(max_size=4), st.data()
)
def test_a_damaged_file_is_read_or_refused_in_words(
    path: Path, where: float, new: bytes, data: st.DataObject
) -> None:
    whole = path.read_bytes()
    place = int(where * len(whole))
    cut = data.draw(st.integers(0, 8))
    damaged = whole[:place] + new + whole[place + cut :]
    assert read_or_refused(damaged)


@settings(deadline=None, max_examples=tries(50, 300))
@given(st.binary(max_size=200) | st.text(max_size=100).map(lambda text: text.encode("utf-16")))
def test_any_bytes_are_read_or_refused_in_words(data: bytes) -> None:
    assert read_or_refused(data)
    assert read_or_refused(b"athlete_id,date\n" + data)


@pytest.mark.parametrize("path", AWKWARD, ids=lambda path: path.name)
def test_an_awkward_file_that_breaks_off_is_read_or_refused_in_words(path: Path) -> None:
    whole = path.read_bytes()
    for share in range(1, 8):
        assert read_or_refused(whole[: len(whole) * share // 8])
