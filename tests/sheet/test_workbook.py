"""Workbooks: harmful ones rejected before they can do harm, faulty ones by cell."""

from __future__ import annotations

import io
import warnings
from collections.abc import Callable, Mapping
from zipfile import ZIP_BZIP2, ZIP_DEFLATED, ZIP_LZMA, ZipFile

import pytest
from openpyxl import Workbook, load_workbook

from dawnrule.errors import MalformedInput
from dawnrule.sheet import CHECK_INS, AnswerBook, RowAnswer, Sheet, read_sheet, write_sheet
from tests.sheet.test_awkward_sheets import FOLDER
from tests.sheets.make import PLAIN_BOOK, TEXTS, repacked, saved

SQUAD_PART = "xl/worksheets/sheet1.xml"


def with_parts(parts: Mapping[str, bytes]) -> bytes:
    written = io.BytesIO()
    with ZipFile(written, "w", ZIP_DEFLATED) as new:
        for name, part in parts.items():
            new.writestr(name, part)
    return written.getvalue()


def changed(part: str, change: Callable[[bytes], bytes]) -> bytes:
    """Return the plain workbook with one part changed."""
    with ZipFile(io.BytesIO(PLAIN_BOOK)) as packed:
        parts = {name: packed.read(name) for name in packed.namelist()}
    return with_parts(parts | {part: change(parts[part])})


def read(data: bytes) -> Sheet:
    return read_sheet(data, CHECK_INS)


def test_the_text_files_are_those_that_the_script_makes() -> None:
    assert {name: (FOLDER / name).read_bytes() for name in TEXTS} == TEXTS


def test_a_part_that_is_listed_twice_is_refused() -> None:
    written = io.BytesIO()
    with warnings.catch_warnings(), ZipFile(written, "w") as new:
        warnings.simplefilter("ignore")
        new.writestr("xl/workbook.xml", b"<a/>")
        new.writestr("xl/workbook.xml", b"<b/>")
    with pytest.raises(MalformedInput, match="damaged"):
        read(written.getvalue())


def test_parts_together_may_not_grow_too_large(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("dawnrule.sheet.workbook.MOST_BYTES_UNPACKED", 5_000)
    with pytest.raises(MalformedInput, match="unpack to more"):
        read(PLAIN_BOOK)


def test_a_long_text_that_is_shared_too_often_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("dawnrule.sheet.workbook.MOST_CHARACTERS_OF_TABLE", 50)
    with pytest.raises(MalformedInput, match="repeats long texts"):
        read((FOLDER / "calc_formulas.xlsx").read_bytes())


@pytest.mark.parametrize("compression", [ZIP_BZIP2, ZIP_LZMA])
@pytest.mark.parametrize("is_spoiled", [False, True])
def test_a_workbook_that_is_packed_as_none_is_packed_is_refused(
    compression: int, is_spoiled: bool
) -> None:
    made = io.BytesIO()
    with ZipFile(io.BytesIO(PLAIN_BOOK)) as given, ZipFile(made, "w", compression) as packed:
        for part in given.infolist():
            packed.writestr(part.filename, given.read(part))
    data = bytearray(made.getvalue())
    if is_spoiled:
        data[80:140] = bytes(60)
    with pytest.raises(MalformedInput, match="cannot be read"):
        read(bytes(data))


def test_a_part_with_a_password_is_refused() -> None:
    flag = PLAIN_BOOK.index(b"PK\x01\x02") + 8
    with pytest.raises(MalformedInput, match="password"):
        read(PLAIN_BOOK[:flag] + b"\x01" + PLAIN_BOOK[flag + 1 :])


@pytest.mark.parametrize(
    ("offset", "value"),
    [(6, 70), (8, 1 << 5), (8, 1 << 6)],
    ids=["a version that zipfile does not know", "patched data", "strong encryption"],
)
def test_a_part_that_needs_what_no_workbook_needs_is_refused(offset: int, value: int) -> None:
    """Version needed and flags of a part (from memory: PKWARE APPNOTE, 4.4.3, 4.4.4)."""
    place = PLAIN_BOOK.index(b"PK\x01\x02") + offset
    with pytest.raises(MalformedInput):
        read(PLAIN_BOOK[:place] + bytes([value]) + PLAIN_BOOK[place + 1 :])


@pytest.mark.parametrize("encoding", ["utf-8", "utf-16"])
def test_entities_are_refused_wherever_they_stand(encoding: str) -> None:
    text = '<?xml version="1.0"?>' + " " * 5000 + '<!DOCTYPE x [<!ENTITY a "a">]><sst/>'
    with pytest.raises(MalformedInput, match="entities"):
        read(repacked(PLAIN_BOOK, xl__sharedStrings_dot_xml=text.encode(encoding)))


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (lambda xml: xml.replace(b'r="C2"', b""), "cells without a place"),
        (lambda xml: xml.replace(b"</sheetData>", b""), "damaged"),
    ],
)
def test_a_sheet_whose_cells_cannot_be_placed_is_refused(
    change: Callable[[bytes], bytes], words: str
) -> None:
    with pytest.raises(MalformedInput, match=words):
        read(changed(SQUAD_PART, change))


def test_a_form_of_workbook_that_would_hide_its_errors_is_refused() -> None:
    strict = (b"http://schemas.openxmlformats.org/", b"http://purl.oclc.org/ooxml/")
    with pytest.raises(MalformedInput, match="form that is not read"):
        read(changed("xl/workbook.xml", lambda xml: xml.replace(*strict)))


def test_a_sheet_of_too_many_rows_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("dawnrule.sheet.shape.MOST_ROWS", 1)
    with pytest.raises(MalformedInput, match="more than 1 rows"):
        read(PLAIN_BOOK)


def test_answers_of_an_earlier_reply_are_written_over_where_they_stand() -> None:
    once = AnswerBook.open(read(PLAIN_BOOK)).with_answers([RowAnswer("Rest"), RowAnswer("Rest")])
    sheet = read(once)
    assert sheet.unknown_headers == ("notes",)
    twice = AnswerBook.open(sheet).with_answers([RowAnswer("Train"), RowAnswer(problem="no")])
    [header, *rows] = load_workbook(io.BytesIO(twice))["Squad"].iter_rows(values_only=True)
    assert header[5:] == ("verdict", "rule", "reason", "caution", "problem")
    assert [(row[5], row[9]) for row in rows] == [("Train", None), (None, "no")]


def test_an_answer_with_signs_that_no_workbook_holds_is_written_all_the_same() -> None:
    answers = [RowAnswer(problem="sleep\x1fhours (C2) is no number\x07"), RowAnswer()]
    written = AnswerBook.open(read(PLAIN_BOOK)).with_answers(answers)
    problem = load_workbook(io.BytesIO(written))["Squad"].cell(2, 10).value
    assert problem == "sleep\ufffdhours (C2) is no number\ufffd"


def test_an_error_that_reads_like_a_formula_is_neutralised_in_an_answer() -> None:
    with ZipFile(FOLDER / "calc_formulas.ods") as packed:
        parts = {name: packed.read(name) for name in packed.namelist()}
    content = parts["content.xml"].replace(b"#DIV/0!", b"=HYPERLINK(1)")
    sheet = read(with_parts(parts | {"content.xml": content}))
    text = write_sheet(sheet, [RowAnswer() for _ in sheet.rows])
    assert ",'=HYPERLINK(1)," in text


def test_a_time_without_a_format_is_a_part_of_the_day_of_its_row() -> None:
    sheet = read(saved_rows(["athlete_id", "date", "plan_starts_at"], ["a-04", 46090, 0.75]))
    assert sheet.rows[0].read["plan", 0, "starts_at"] == "2026-03-09T18:00:00+00:00"
    assert "plan_starts_at: times without a date, read on the date of their row" in str(
        sheet.remarks()
    )


def test_a_part_of_a_day_is_no_moment_where_only_the_past_is_meant() -> None:
    sheet = read(saved_rows(["athlete_id", "date", "last_chest_at"], ["a-04", 46090, 0.75]))
    assert [(one.value, one.detail.partition(";")[0]) for one in sheet.rows[0].errors] == [
        ("0.75", "has no date")
    ]


def test_whoever_sends_the_wrong_sheet_is_told_which_was_read() -> None:
    book = Workbook()
    book.create_sheet("Squad")
    with pytest.raises(MalformedInput, match="Only the sheet Sheet was read, and not: Squad"):
        read(saved(book))


def saved_rows(*rows: list[str | float]) -> bytes:
    book = Workbook()
    assert book.active is not None
    for row in rows:
        book.active.append(row)
    return saved(book)


def test_macros_are_left_out_of_what_comes_back() -> None:
    written = AnswerBook.open(
        read(repacked(PLAIN_BOOK, xl__vbaProject_dot_bin=b"macro"))
    ).with_answers([RowAnswer(), RowAnswer()])
    with ZipFile(io.BytesIO(written)) as packed:
        assert "xl/vbaProject.bin" not in packed.namelist()


def test_other_sheets_formats_and_formulas_come_back() -> None:
    workbook = Workbook()
    squad = workbook.active
    assert squad is not None
    squad.append(["athlete_id", "date", "load", "double"])
    squad.append(["a-01", "2026-03-09", 0.5, "=C2*2"])
    squad["C2"].number_format = "0.00%"
    workbook.create_sheet("own")["A1"] = "kept"
    sheet = read(saved(workbook))
    back = load_workbook(io.BytesIO(AnswerBook.open(sheet).with_answers([RowAnswer("Rest")])))
    assert back["own"]["A1"].value == "kept"
    assert back.worksheets[0]["C2"].number_format == "0.00%"
    assert back.worksheets[0]["D2"].value == "=C2*2"
