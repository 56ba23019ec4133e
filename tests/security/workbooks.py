"""Workbooks with any byte changed: each is read, or refused in words.

``python -m tests.security.workbooks --examples 2000`` is the long run;
``tests/security/test_workbooks.py`` is a short one. An example spoils each part of a workbook of
each kind in three ways.
"""

from __future__ import annotations

import argparse
import io
import random
import sys
import traceback
from collections import Counter
from collections.abc import Iterator
from zipfile import ZipFile

from dawnrule.errors import InvalidInput
from dawnrule.sheet import CHECK_INS, read_sheet
from dawnrule.web.http.responses import ODS, XLSX
from tests.sheet.test_awkward_sheets import FOLDER
from tests.sheets.make import repacked

BOOKS = {name: (FOLDER / name).read_bytes() for name in ("calc_formulas.xlsx", "calc.ods")}
PARTS = {
    "calc_formulas.xlsx": ["xl/workbook.xml", "xl/sharedStrings.xml", "xl/worksheets/sheet1.xml"],
    "calc.ods": ["content.xml"],
}


def kind_of_book(book: str) -> str:
    """The media type of a workbook, by its name."""
    return ODS if book.endswith(".ods") else XLSX


def part(book: str, name: str) -> bytes:
    with ZipFile(io.BytesIO(BOOKS[book])) as packed:
        return packed.read(name)


def with_part(book: str, name: str, content: bytes) -> bytes:
    return repacked(BOOKS[book], **{name.replace("/", "__").replace(".", "_dot_"): content})


def spoiled(content: bytes, chance: random.Random) -> Iterator[bytes]:
    """Some bytes with one changed, a piece cut out, the end missing."""
    place = chance.randrange(len(content))
    yield content[:place] + bytes([chance.randrange(256)]) + content[place + 1 :]
    yield content[:place] + content[place + chance.randrange(1, 40) :]
    yield content[:place]


def spoilt_books(seed: int) -> Iterator[bytes]:
    """The workbooks of one example."""
    chance = random.Random(seed)
    for book, names in PARTS.items():
        for name in names:
            for content in spoiled(part(book, name), chance):
                yield with_part(book, name, content)


def read_or_refused(book: bytes) -> str:
    """What becomes of a workbook: that it was read, or why it was refused. Raises whatever else
    the reader raises, which nobody expects."""
    try:
        read_sheet(book, CHECK_INS)
    except InvalidInput as error:
        return error.detail
    return "read"


def main() -> int:
    """Say how many were read and how many refused; how many ended in any other way."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--examples", type=int, default=2_000)
    parser.add_argument("--seed", type=int, default=1)
    chosen = parser.parse_args()
    became: Counter[str] = Counter()
    for seed in range(chosen.seed, chosen.seed + chosen.examples):
        for book in spoilt_books(seed):
            try:
                became["read" if read_or_refused(book) == "read" else "refused in words"] += 1
            except Exception as error:
                became["neither"] += 1
                print(f"seed {seed}: {error!r}", flush=True)
                traceback.print_exception(error)
    print(", ".join(f"{many} {what}" for what, many in became.items()))
    return became["neither"]


if __name__ == "__main__":
    sys.exit(main() > 0)
