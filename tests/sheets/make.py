"""The awkward sheets of this folder, made as various programs write them.

    python -m tests.sheets.make

What each of them must give stands in expected.yaml, written by hand. The files that Calc writes
are made only where soffice is installed.
"""

from __future__ import annotations

import io
import shutil
import subprocess
import tempfile
from collections.abc import Callable, Sequence
from datetime import date, datetime, time
from pathlib import Path
from typing import Any
from zipfile import ZIP_DEFLATED, ZipFile

from openpyxl import Workbook
from openpyxl.utils.datetime import CALENDAR_MAC_1904
from openpyxl.worksheet.worksheet import Worksheet

FOLDER = Path(__file__).parent

HEADER = ("athlete_id", "date", "sleep_hours", "illness", "notes")
FEVER = ("a-03", "2026-03-09", "6.5", "fever", "hot")
WELL = ("a-04", "2026-03-09", "7.5", "none", "")
MORNING = date(2026, 3, 9)


def text(
    *rows: Sequence[str], delimiter: str = ",", end: str = "\n", encoding: str = "utf-8"
) -> bytes:
    """Rows as they are, not quoted."""
    return "".join(delimiter.join(row) + end for row in rows).encode(encoding)


def excel(
    rows: Sequence[Sequence[str]], delimiter: str = ";", encoding: str = "cp1252", first: str = ""
) -> bytes:
    """Write CSV as Excel does: the code page, CRLF, the list separator of the region."""
    stated = text([first], end="\r\n") if first else b""
    return stated + text(*rows, delimiter=delimiter, end="\r\n", encoding=encoding)


def local(day: str, decimal: str = ".", header: Sequence[str] = HEADER) -> list[Sequence[str]]:
    """Write the two mornings in the dates and numbers of a region."""
    return [
        header,
        ("a-03", day, f"6{decimal}5", "fever", "hot"),
        ("a-04", day, f"7{decimal}5", "none", ""),
    ]


GERMAN = ("Athlet", "Datum", "Schlafstunden", "Krankheit", "Müdigkeit")
LONG = (
    "athlete_id",
    "date",
    "sleep_hours",
    "muscle_group",
    "soreness",
    "last_trained_at",
    "last_trained_goal",
)
GERMAN_WIDE = (
    "Athletin;Tag;Schlaf;Muskelkater Quadrizeps;Brust;Zuletzt Quadrizeps;Zuletzt Quadrizeps Ziel;"
    "Plan Ziel;Plan Muskelgruppen"
)

TEXTS: dict[str, bytes] = {
    # Separators, line ends, encodings.
    "plain.csv": text(HEADER, FEVER, WELL),
    "semicolons.csv": text(HEADER, FEVER, WELL, delimiter=";"),
    "tabs.csv": text(HEADER, FEVER, WELL, delimiter="\t"),
    "bars.csv": text(HEADER, FEVER, WELL, delimiter="|"),
    "cr_only.csv": text(HEADER, FEVER, WELL, end="\r"),
    "sep_line.csv": excel([HEADER, FEVER, WELL], first="sep=;"),
    "sep_caret.csv": excel([HEADER, FEVER, WELL], "^", first="SEP=^"),
    "excel_csv_utf8.csv": excel(local("2026-03-09", ","), encoding="utf-8-sig"),
    "excel_unicode_text.txt": excel(local("2026-03-09"), "\t", "utf-16"),
    "utf16_big_end.csv": b"\xfe\xff" + text(HEADER, FEVER, WELL, encoding="utf-16-be"),
    "utf16_no_mark.csv": text(HEADER, FEVER, WELL, encoding="utf-16-le"),
    "neither_encoding.csv": text(HEADER, FEVER) + b"a-04,2026-03-09,7.5,none,\x81\xff\n",
    # The regions of Excel and Calc.
    "excel_us.csv": excel(local("3/9/2026"), ","),
    "excel_gb.csv": excel(local("09/03/2026"), ","),
    "excel_de.csv": excel(
        [
            GERMAN,
            ("a-03", "09.03.2026", "6,5", "fever", "4"),
            ("", "", "", ""),
            ("a-04", "9.3.2026", "7,5", "none", ""),
            ("", "", "", "", "", "", ""),
        ]
    ),
    "calc_de_short_year.csv": text(*local("09.03.26", ","), delimiter=";"),
    "calc_us_short_year.csv": text(*local("03/09/26")),
    "excel_fr.csv": excel(
        [(*HEADER, "pas"), ("a-03", "09/03/2026", "6,5", "fever", "éveillé", "12\xa0345,00")]
    ),
    "excel_it.csv": excel(local("25/02/2026", ",")),
    "excel_ch.csv": excel(
        [
            ("athlete_id", "date", "sleep_hours", "plan_goal", "plan_rest_seconds"),
            ("a-04", "09.03.2026", "7.5", "strength", "1'200.0"),
        ]
    ),
    "excel_sv.csv": excel(
        [("athlete_id", "date", "sleep_hours", "change"), ("a-04", "2026-03-09", "7,5", "-3")]
    ),
    "excel_nl.csv": excel(local("09-03-2026", ",")),
    # Cells and rows.
    "quoted_newlines.csv": text(
        HEADER, ("a-03", "2026-03-09", "6.5", "fever", '"said ""hot"",\nthen; slept"'), WELL
    ),
    "trailing_blanks.csv": excel(
        [(*HEADER, "", "", ""), (*FEVER, "", "", ""), ("",) * 8, (), WELL, ("",) * 8, ("",) * 8]
    ),
    "blank_rows_above.csv": text((), ("", "", ""), HEADER, FEVER, WELL),
    "title_above.csv": text(("Squad", "week 11"), HEADER, FEVER),
    "columns_in_any_order.csv": text(
        ("notes", "Illness", " SLEEP HOURS ", "Date", "athlete-id"),
        ("hot", "Fever", "6.5", "2026-03-09", "a-03"),
    ),
    "typing_errors.csv": text(
        ("athlete_id", "date", "sleep_hour", "plan_gaol", "coach"),
        ("a-04", "2026-03-09", "7.5", "power", "me"),
    ),
    "mistyped_signs.csv": text(
        ("athlete_id", "date", "ilness", "sore_quads"), ("a-04", "2026-03-09", "fever", "9")
    ),
    "duplicate_columns.csv": text((*HEADER, "Sleep Hours"), (*FEVER, "7")),
    "duplicate_by_other_name.csv": text((*HEADER, "Schlafstunden"), (*FEVER, "7")),
    "own_columns_twice.csv": text((*HEADER, "notes"), (*FEVER, "still hot")),
    "decimal_comma_unquoted.csv": text(
        ("athlete_id", "date", "illness", "sleep_hours"), ("a-04", "2026-03-09", "none", "7", "5")
    ),
    "open_quote.csv": text(HEADER, ("a-03", "2026-03-09", "6.5", "fever", '"hot'), WELL),
    "long_cell.csv": text(HEADER, (*FEVER[:4], "x" * 2001), WELL),
    "three_hundred_columns.csv": text((*HEADER, *(f"own{n}" for n in range(295))), FEVER),
    "three_hundred_blank_columns.csv": text((*HEADER, *("",) * 295), (*FEVER, *("",) * 295)),
    "header_only.csv": text(HEADER),
    "empty.csv": b"",
    # Numbers.
    "narrow_blanks_in_numbers.csv": text(
        ("athlete_id", "date", "sleep_hours", "plan_goal", "plan_rest_seconds"),
        ("a-04", "2026-03-09", "\xa07,5", "strength", "1\u202f200"),
        delimiter=";",
    ),
    "true_minus.csv": text(HEADER, ("a-03", "2026-03-09", "\u22126.5", "fever", ""), WELL),
    "two_meanings.csv": text(
        ("athlete_id", "date", "plan_goal", "plan_rest_seconds"),
        ("a-04", "2026-03-09", "strength", "1.200"),
    ),
    "no_numbers.csv": text(
        ("athlete_id", "date", "sleep_hours", "fatigue", "stress", "resting_hr_bpm"),
        ("a-03", "2026-03-09", "6h", "1e1", "٣", "n/a"),
        ("a-04", "2026-03-09", "6:30", "80%", "two", "52 bpm"),
    ),
    "percent_of_session.csv": text(
        ("athlete_id", "starts_at", "minutes", "block_goal", "output", "output_drop_percent"),
        ("a-03", "2026-03-08 18:00", "60", "strength", "dropped", "12 %"),
    ),
    # Dates and times.
    "impossible_dates.csv": text(
        HEADER,
        ("a-03", "2026-02-30", "6.5", "fever", ""),
        ("a-04", "31.02.2026", "7.5", "none", ""),
        ("a-04", "13/13/2026", "7.5", "none", ""),
        ("a-04", "yesterday", "7.5", "none", ""),
    ),
    "serial_numbers.csv": text(
        ("athlete_id", "date", "sleep_hours", "last_chest_at", "last_chest_goal"),
        ("a-04", "46090", "7,5", "46088,75", "strength"),
        delimiter=";",
    ),
    "midnight_in_dates.csv": text(
        HEADER,
        ("a-03", "2026-03-09 00:00:00", "6.5", "fever", ""),
        ("a-04", "2026-03-09 06:40", "7.5", "none", ""),
    ),
    "local_times.csv": text(
        ("athlete_id", "date", "last_chest_at", "last_chest_goal"),
        ("a-03", "2026-03-09", "2026-03-07 18:00", "strength"),
        ("a-04", "2026-03-09", "07.03.2026 6:00 PM", "strength"),
        ("a-05", "2026-03-08", "2026-03-07T18:00:00-08:00", "strength"),
    ),
    "skipped_and_doubled_hours.csv": text(
        ("athlete_id", "date", "last_chest_at", "last_chest_goal"),
        ("a-05", "2026-03-08", "2026-03-08 02:30", "strength"),
        ("a-03", "2025-10-27", "2025-10-26 02:30", "strength"),
    ),
    "days_for_times.csv": text(
        ("athlete_id", "date", "last_chest_at", "last_chest_goal"),
        ("a-03", "2026-03-09", "2026-03-07", "strength"),
        ("a-04", "2026-03-09", "2026-03-07 25:00", "strength"),
        ("a-05", "2026-03-08", "46088", "strength"),
    ),
    # Wide and long.
    "german_wide.csv": text(
        [GERMAN_WIDE],
        ["a-04;09.03.2026;7,5;4;1;07.03.2026 18:00;hypertrophy;strength;chest triceps"],
    ),
    "plain_muscle_names.csv": text(
        ("athlete", "day", "Quads", "Lower Back", "calves"), ("a-04", "2026-03-09", "4", "0", "")
    ),
    "long.csv": text(
        LONG,
        ("a-03", "2026-03-09", "6.5", "quadriceps", "4", "2026-03-07 18:00", "hypertrophy"),
        ("a-04", "2026-03-09", "7.5", "chest", "0", "", ""),
        ("a-03", "2026-03-09", "6.5", "Quads", "4", "", ""),
        ("a-03", "2026-03-09", "", "lower back", "1", "", ""),
    ),
    "long_contradictions.csv": text(
        LONG,
        ("a-03", "2026-03-09", "6.5", "quadriceps", "4", "", ""),
        ("a-03", "2026-03-09", "7.5", "chest", "0", "", ""),
        ("a-04", "2026-03-09", "", "calves", "1", "", ""),
        ("a-04", "2026-03-09", "", "calves", "2", "", ""),
    ),
    "long_without_groups.csv": text(
        LONG,
        ("a-03", "2026-03-09", "", "quadrizepz", "4", "", ""),
        ("a-04", "2026-03-09", "7.5", "", "4", "", ""),
    ),
    "same_morning_twice.csv": text(
        HEADER, FEVER, (*FEVER[:4], "same"), WELL, (*WELL[:2], "3", *WELL[3:])
    ),
    # What is meant to do harm, and what is no sheet.
    "formulas_injected.csv": text(
        (*HEADER, "=cmd"),
        ("a-03", "2026-03-09", "6.5", "fever", "=1+1", "@SUM(A1)"),
        ("a-04", "2026-03-09", "7.5", "none", "\uff1d1+1", "-2+3"),
        ("a-05", "2026-03-08", "7.5", "none", '"\t=1"', "-5"),
    ),
    "guarded_text.csv": text(
        ("athlete_id", "date", "pain_where", "pain_kind"),
        ("a-04", "2026-03-09", "'-left knee", "joint"),
    ),
    "web_page.xls": b"<html><body><table><tr><td>athlete_id</td></tr></table></body></html>",
    "old_excel.xls": b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(504),
    "picture.csv": b"\x89PNG\r\n\x1a\n" + bytes(range(256)),
    "nul.csv": text(HEADER, FEVER, ("a-04", "2026-03-09", "7.5", "none", "a\0b")),
    "print.csv": b"%PDF-1.7\n",
}


def saved(workbook: Workbook) -> bytes:
    """Return the bytes of a workbook."""
    written = io.BytesIO()
    workbook.save(written)
    return written.getvalue()


def book(fill: Callable[[Worksheet], None], header: Sequence[str] = HEADER) -> bytes:
    """Make a workbook with one sheet."""
    workbook = Workbook()
    table = workbook.active
    assert table is not None
    table.title = "Squad"
    table.append(list(header))
    fill(table)
    return saved(workbook)


def rows(*cells: Sequence[Any]) -> Callable[[Worksheet], None]:
    """Rows below the header."""

    def fill(table: Worksheet) -> None:
        for row in cells:
            table.append(list(row))

    return fill


FEVER_CELLS = ("a-03", MORNING, 6.5, "fever", "hot")
WELL_CELLS = ("a-04", MORNING, 7.5, "none", None)


def several() -> bytes:
    workbook = Workbook()
    first = workbook.active
    assert first is not None
    first.title = "Read me"
    first["A1"] = "How to fill in the sheet"
    squad = workbook.create_sheet("Squad")
    for row in (HEADER, FEVER_CELLS, WELL_CELLS):
        squad.append(list(row))
    return saved(workbook)


def hidden_first() -> bytes:
    workbook = Workbook()
    lists = workbook.active
    assert lists is not None
    lists.title = "Lists"
    lists["A1"] = "fever"
    lists.sheet_state = "hidden"
    squad = workbook.create_sheet("Squad")
    for row in (HEADER, FEVER_CELLS, WELL_CELLS):
        squad.append(list(row))
    return saved(workbook)


def hidden_and_merged(table: Worksheet) -> None:
    rows(FEVER_CELLS, WELL_CELLS)(table)
    table["E2"] = "hot all week"
    table.merge_cells("E2:E3")
    table.row_dimensions[3].hidden = True
    table.column_dimensions["C"].hidden = True


def errors(table: Worksheet) -> None:
    rows(FEVER_CELLS, WELL_CELLS)(table)
    table["C2"] = "#N/A"
    table["C2"].data_type = "e"
    table["C3"] = "=7+0.5"


def gaps() -> bytes:
    """Put the header in C3, a blank row below it, an unnamed column between, and one row far
    below."""
    workbook = Workbook()
    table = workbook.active
    assert table is not None
    table.title = "Squad"
    placed: dict[int, Sequence[Any]] = {3: HEADER, 5: FEVER_CELLS, 40: WELL_CELLS}
    for row, cells in placed.items():
        for column, cell in enumerate(cells, start=3):
            table.cell(row, column if column < 7 else column + 1, cell)
    table["G5"] = "between"
    return saved(workbook)


def of_1904() -> bytes:
    """Count days as Excel for the Mac once did."""
    workbook = Workbook()
    workbook.epoch = CALENDAR_MAC_1904
    table = workbook.active
    assert table is not None
    table.title = "Squad"
    for row in (HEADER, FEVER_CELLS, WELL_CELLS):
        table.append(list(row))
    return saved(workbook)


def percent(table: Worksheet) -> None:
    rows(("a-03", datetime(2026, 3, 8, 18), 60, "strength", "dropped", 0.12))(table)
    table["F2"].number_format = "0%"


def repacked(data: bytes, **changed: bytes) -> bytes:
    """Replace or add parts of a workbook; their names have __ for / and _dot_ for a dot."""
    parts = {n.replace("__", "/").replace("_dot_", "."): part for n, part in changed.items()}
    written = io.BytesIO()
    with ZipFile(io.BytesIO(data)) as old, ZipFile(written, "w", ZIP_DEFLATED) as new:
        for name in {**dict.fromkeys(old.namelist()), **parts}:
            new.writestr(name, parts.get(name) or old.read(name))
    return written.getvalue()


def lying_about_its_size(data: bytes, claimed: int) -> bytes:
    """Return a workbook whose largest part claims to be small once unpacked."""
    with ZipFile(io.BytesIO(data)) as packed:
        largest = max(packed.infolist(), key=lambda part: part.file_size)
    true, lie = (size.to_bytes(4, "little") for size in (largest.file_size, claimed))
    return data.replace(true, lie)


def far_cell() -> bytes:
    workbook = Workbook()
    table = workbook.active
    assert table is not None
    table.append(list(HEADER))
    table["XFD1048576"] = "far"
    return saved(workbook)


PLAIN_BOOK = book(rows(FEVER_CELLS, WELL_CELLS))
SQUAD_PART = "xl__worksheets__sheet1_dot_xml"
SESSION = ("athlete_id", "starts_at", "minutes", "block_goal", "output", "output_drop_percent")

ODS = """<?xml version="1.0" encoding="UTF-8"?>
<office:document-content office:version="1.3"
 xmlns:office="urn:oasis:names:tc:opendocument:xmlns:office:1.0"
 xmlns:table="urn:oasis:names:tc:opendocument:xmlns:table:1.0"
 xmlns:text="urn:oasis:names:tc:opendocument:xmlns:text:1.0">
<office:body><office:spreadsheet><table:table table:name="Squad">
<table:table-row table:number-rows-repeated="1048576"><table:table-cell
 office:value-type="string" table:number-columns-repeated="16384"><text:p>athlete_id</text:p>
</table:table-cell></table:table-row></table:table></office:spreadsheet></office:body>
</office:document-content>"""


def repeated_ods() -> bytes:
    written = io.BytesIO()
    with ZipFile(written, "w", ZIP_DEFLATED) as new:
        new.writestr("mimetype", "application/vnd.oasis.opendocument.spreadsheet")
        new.writestr("content.xml", ODS)
    return written.getvalue()


def word_document() -> bytes:
    written = io.BytesIO()
    with ZipFile(written, "w", ZIP_DEFLATED) as new:
        new.writestr("word/document.xml", "<document/>")
    return written.getvalue()


def with_text_like_a_formula(table: Worksheet) -> None:
    rows(FEVER_CELLS, WELL_CELLS)(table)
    for cell in ("E2", "E3"):
        table[cell] = "=1+1"
        table[cell].data_type = "s"


BOOKS: dict[str, bytes] = {
    "real_dates.xlsx": PLAIN_BOOK,
    "numbers_as_text.xlsx": book(
        rows(("a-03", "2026-03-09", "6,5", "fever"), ("a-04", "9.3.2026", "7.5", "none"))
    ),
    "serial_numbers.xlsx": book(
        rows(("a-04", 46090, 7.5, 46088.75, "strength")),
        ("athlete_id", "date", "sleep_hours", "last_chest_at", "last_chest_goal"),
    ),
    "real_times.xlsx": book(
        rows(
            ("a-04", MORNING, datetime(2026, 3, 7, 18), "strength"),
            ("a-05", date(2026, 3, 8), datetime(2026, 3, 8, 2, 30), "strength"),
            ("a-03", datetime(2026, 3, 9, 6, 40), date(2026, 3, 7), "strength"),
        ),
        ("athlete_id", "date", "last_chest_at", "last_chest_goal"),
    ),
    "wrong_types.xlsx": book(
        rows(
            ("a-03", MORNING, True, "none", None),
            ("a-04", MORNING, time(7, 30), "none", None),
            ("a-05", MORNING, date(2026, 5, 6), True, None),
        )
    ),
    "errors.xlsx": book(errors),
    "percent.xlsx": book(percent, SESSION),
    "hidden_and_merged.xlsx": book(hidden_and_merged),
    "several_sheets.xlsx": several(),
    "hidden_first_sheet.xlsx": hidden_first(),
    "text_like_a_formula.xlsx": book(with_text_like_a_formula),
    "whole_numbers.xlsx": book(
        rows((7, MORNING, 7.0, 4.0, "none")),
        ("athlete_id", "date", "sleep_hours", "fatigue", "illness"),
    ),
    "gaps.xlsx": gaps(),
    "days_from_1904.xlsx": of_1904(),
    "far_cell.xlsx": far_cell(),
    "bomb.xlsx": repacked(PLAIN_BOOK, xl__media__big_dot_bin=bytes(3_000_000)),
    "lying_bomb.xlsx": lying_about_its_size(
        repacked(PLAIN_BOOK, xl__media__big_dot_bin=bytes(900_000)), 100
    ),
    "entities.xlsx": repacked(
        PLAIN_BOOK, xl__sharedStrings_dot_xml=b'<!DOCTYPE x [<!ENTITY a "aaaa">]><sst/>'
    ),
    "cut_short.xlsx": PLAIN_BOOK[: len(PLAIN_BOOK) // 2],
    "letter.xlsx": word_document(),
    "repeated.ods": repeated_ods(),
}


def with_calc(data: bytes, form: str) -> bytes:
    """Convert a workbook to another form with Calc."""
    with tempfile.TemporaryDirectory() as folder:
        (Path(folder) / "sheet.xlsx").write_bytes(data)
        profile = f"-env:UserInstallation={(Path(folder) / 'profile').as_uri()}"
        out = Path(folder) / "out"
        words = ["soffice", profile, "--headless", "--convert-to", form, "--outdir", str(out)]
        subprocess.run([*words, f"{folder}/sheet.xlsx"], check=True, capture_output=True)
        return (out / f"sheet.{form}").read_bytes()


def calculated(table: Worksheet) -> None:
    rows(("a-03", MORNING, "=13/2", "fever", "=1/0"), ("a-04", MORNING, "=NA()", "none"))(table)


def main() -> None:
    for name, data in (TEXTS | BOOKS).items():
        (FOLDER / name).write_bytes(data)
    if shutil.which("soffice"):
        (FOLDER / "calc.ods").write_bytes(with_calc(PLAIN_BOOK, "ods"))
        (FOLDER / "calc_gaps.ods").write_bytes(with_calc(gaps(), "ods"))
        (FOLDER / "calc_formulas.ods").write_bytes(with_calc(book(calculated), "ods"))
        (FOLDER / "calc_formulas.xlsx").write_bytes(with_calc(book(calculated), "xlsx"))
        (FOLDER / "calc.csv").write_bytes(with_calc(PLAIN_BOOK, "csv"))


if __name__ == "__main__":
    main()
