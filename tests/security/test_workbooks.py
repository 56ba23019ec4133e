"""Workbooks of any kind of bytes: each is read or refused in words, and none ends the service."""

from __future__ import annotations

import io
import re
from pathlib import Path
from zipfile import ZIP_DEFLATED, ZipFile

import pytest

from dawnrule.errors import InvalidInput
from dawnrule.sheet import CHECK_INS, read_sheet
from tests.cli.terminal import typed
from tests.conftest import Client
from tests.effort import tries
from tests.security.workbooks import (
    BOOKS,
    PARTS,
    kind_of_book,
    part,
    read_or_refused,
    spoilt_books,
    with_part,
)

MANY = "9" * 5_000
ENCODINGS = ["x-none", "utf-7", "shift_jis", "utf-32", "hex", "rot13", "punycode", "x" * 5_000]


def with_encoding(book: str, name: str, encoding: str) -> bytes:
    body = re.sub(rb"^<\?xml[^>]*\?>", b"", part(book, name))
    return with_part(book, name, f'<?xml version="1.0" encoding="{encoding}"?>'.encode() + body)


def with_number(book: str, name: str, before: bytes, number: str = MANY) -> bytes:
    """A workbook in which the first number after these bytes is another."""
    found = re.search(re.escape(before) + rb"[0-9]+", part(book, name))
    assert found, before
    content = part(book, name)
    changed = content[: found.start()] + before + number.encode() + content[found.end() :]
    return with_part(book, name, changed)


HARMFUL = {
    f"{book} {name} in {encoding[:9]}": with_encoding(book, name, encoding)
    for book, names in PARTS.items()
    for name in names
    for encoding in ENCODINGS
} | {
    "rows": with_number("calc.ods", "content.xml", b'number-rows-repeated="'),
    "columns": with_number(
        "calc.ods", "content.xml", b'<table:table-cell table:number-columns-repeated="'
    ),
    "place": with_number("calc_formulas.xlsx", "xl/worksheets/sheet1.xml", b'r="A'),
    "text": with_number("calc_formulas.xlsx", "xl/worksheets/sheet1.xml", b't="s"><v>'),
    "texts": with_number("calc_formulas.xlsx", "xl/sharedStrings.xml", b'uniqueCount="'),
}


@pytest.mark.parametrize("data", HARMFUL.values(), ids=HARMFUL.keys())
def test_a_workbook_that_says_what_cannot_be_is_refused_in_words(
    coach: Client, data: bytes
) -> None:
    kind = kind_of_book(".ods" if b"opendocument" in data[:100] else ".xlsx")
    answer = coach.post("/v1/check-ins/batch", data=data, content_type=kind)
    assert answer.status_code == 400
    assert answer.json["type"] == "/problems/malformed-input"


@pytest.mark.parametrize("name", ["texts", "rows", "calc.ods content.xml in utf-7"])
def test_the_command_line_says_it_in_words_too(tmp_path: Path, name: str) -> None:
    (tmp_path / "squad").write_bytes(HARMFUL[name])
    result = typed("advise", tmp_path / "squad")
    assert result.exit_code == 1
    assert "Traceback" not in result.stderr
    assert "damaged" in result.stderr


def test_no_count_of_texts_takes_memory_that_is_not_there() -> None:
    """The library would end the process; it finds the part by its name in any capitals."""
    false = part("calc_formulas.xlsx", "xl/sharedStrings.xml")
    false = re.sub(rb'uniqueCount="[0-9]+"', b'uniqueCount="4294967296"', false)
    for name in ("xl/sharedStrings.xml", "XL/SHAREDSTRINGS.XML"):
        written = io.BytesIO()
        with (
            ZipFile(io.BytesIO(BOOKS["calc_formulas.xlsx"])) as old,
            ZipFile(written, "w", ZIP_DEFLATED) as new,
        ):
            for other in set(old.namelist()) - {"xl/sharedStrings.xml"}:
                new.writestr(other, old.read(other))
            new.writestr(name, false)
        with pytest.raises(InvalidInput, match="damaged"):
            read_sheet(written.getvalue(), CHECK_INS)


@pytest.mark.parametrize("seed", range(tries(10, 300)))
def test_a_workbook_with_any_byte_changed_is_read_or_refused(seed: int) -> None:
    for book in spoilt_books(seed):
        assert read_or_refused(book)
