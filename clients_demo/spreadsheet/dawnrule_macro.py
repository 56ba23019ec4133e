"""What does Dawnrule say to each row of this sheet? A macro for LibreOffice Calc.

It sends the sheet "check-ins" of the open document and writes the answer beside each row. It
needs nothing but LibreOffice, whose own Python may be as old as 3.8. README.md says how to install
it and where the key is kept.
"""

from __future__ import annotations

import configparser
import csv
import datetime
import io
import json
import re
import urllib.error
import urllib.request
from http.client import HTTPException
from pathlib import Path
from typing import Any, NamedTuple

import uno
from com.sun.star.awt.MessageBoxType import INFOBOX
from com.sun.star.sheet.CellFlags import DATETIME, FORMULA, STRING, VALUE
from com.sun.star.util.NumberFormat import DATE, TIME

SHEET = "check-ins"
ANSWERS = ("verdict", "rule", "reason", "caution", "problem")
MESSAGE_CELL = "dawnrule_message"
KEY_FILE = "dawnrule.ini"
KEY = re.compile(r"[\w.~+/=-]+", re.ASCII)  # no other can be sent, and an error would repeat it
PATIENCE_SECONDS = 60
MINUTES_A_DAY = 24 * 60


class CannotAsk(Exception):
    """Why nothing was asked or nothing was answered, in words for the person at the sheet."""


class Access(NamedTuple):
    """Where the service is, and the key that opens it."""

    address: str
    key: str


def ask_dawnrule(*_: Any) -> None:
    """Send the sheet, and write verdict, rule, reason, caution and problem beside its rows."""
    document = globals()["XSCRIPTCONTEXT"].getDocument()  # LibreOffice puts it here
    try:
        sheet = sheet_of(document)
        header = header_of(sheet)
        clear_answers(sheet, header)
        rows = texts_of(document, sheet, header)
        answers, remarks = answers_of(access(), rows)
        write_answers(sheet, header, rows, answers)
        tell(document, f"{summary_of(answers)} {remarks}".strip())
    except CannotAsk as reason:
        tell(document, str(reason))


g_exportedScripts = (ask_dawnrule,)  # noqa: N816 - LibreOffice lists the macros by this name


# ---- the sheet, read ----------------------------------------------------------------------


def sheet_of(document: Any) -> Any:
    """The sheet that is sent."""
    sheets = getattr(document, "Sheets", None)
    if sheets is None or not sheets.hasByName(SHEET):
        raise CannotAsk(f"This document has no sheet “{SHEET}”. Nothing was sent.")
    return sheets.getByName(SHEET)


def header_of(sheet: Any) -> list[str]:
    """The names of the columns, as Dawnrule reads them. The answers must have a place."""
    (first, *_) = used_range(sheet).getDataArray()
    header = ["_".join(str(name).lower().split()) for name in first]
    missing = [name for name in ANSWERS if header.count(name) != 1]
    if missing:
        names = ", ".join(missing)
        raise CannotAsk(f"The first row must name, once: {names}. Nothing was sent.")
    return header


def used_range(sheet: Any) -> Any:
    """All cells from the first one to the last that holds something."""
    cursor = sheet.createCursor()
    cursor.gotoEndOfUsedArea(False)
    last = cursor.RangeAddress
    return sheet.getCellRangeByPosition(0, 0, last.EndColumn, last.EndRow)


def texts_of(document: Any, sheet: Any, header: list[str]) -> list[list[str]]:
    """All rows, each cell as text. Earlier answers are left out."""
    data = used_range(sheet).getDataArray()  # all at once: cell by cell is slow
    return [
        [
            text_of(document, sheet, (column, row), data[row][column])
            if row == 0 or name not in ANSWERS
            else ""
            for column, name in enumerate(header)
        ]
        for row in range(len(data))
    ]


def text_of(document: Any, sheet: Any, place: tuple[int, int], value: Any) -> str:
    """What a cell holds, as Dawnrule reads it: 7, 6.5, 2026-03-09, 2026-03-09T18:00 or text.

    Calc keeps every number as a fraction, and a date as the days since its first day; only the
    cell's format tells them apart. A formula that failed has no value: it is sent as it is shown,
    so that it is refused.
    """
    if isinstance(value, str):
        return value
    cell = sheet.getCellByPosition(*place)
    if value is None:
        return str(cell.String)
    kind = document.NumberFormats.getByKey(cell.NumberFormat).Type
    if kind & (DATE | TIME):
        return moment_text(document.NullDate, value, kind)
    return str(int(value)) if value.is_integer() else repr(value)


def moment_text(first_day: Any, days: float, kind: int) -> str:
    """A date, a time of day, or both, whatever the format in which it is shown."""
    start = datetime.datetime(first_day.Year, first_day.Month, first_day.Day)
    moment = start + datetime.timedelta(minutes=round(days * MINUTES_A_DAY))
    if not kind & TIME:
        return moment.date().isoformat()
    return moment.isoformat(timespec="minutes") if kind & DATE else f"{moment:%H:%M}"


# ---- the question -------------------------------------------------------------------------


def access() -> Access:
    """The service and the key, from a file in the person's own LibreOffice folder.

    They are not taken from the document: a sheet that somebody else sent could name an address of
    theirs, and the key would go there.
    """
    file = key_file()
    parser = configparser.ConfigParser(interpolation=None)
    try:
        parser.read_string(file.read_text(encoding="utf-8-sig"))
        address, key = (parser["dawnrule"][name] for name in Access._fields)
    except (OSError, KeyError, ValueError, configparser.Error):
        address = key = ""
    if not address or not KEY.fullmatch(key):
        raise CannotAsk(
            f"The address of the service and your key must stand in {file}, "
            "as README.md shows. Nothing was sent."
        )
    return Access(address.rstrip("/"), key)


def key_file() -> Path:
    """Where the address and the key are kept."""
    services = uno.getComponentContext().ServiceManager
    substitution = services.createInstance("com.sun.star.util.PathSubstitution")
    folder = uno.fileUrlToSystemPath(substitution.substituteVariables("$(user)", True))
    return Path(folder) / KEY_FILE


class NotElsewhere(urllib.request.HTTPRedirectHandler):
    """Takes the key to no other address than the one that stands beside it."""

    def redirect_request(self, *_: Any) -> None:
        """Never: an answer that points elsewhere is an error."""


def answers_of(access: Access, rows: list[list[str]]) -> tuple[list[dict[str, str]], str]:
    """What the service says to each row that is not blank, by the names of the columns; and what
    it remarks on the reading, as columns that mean nothing to it."""
    text = io.StringIO(newline="")
    csv.writer(text).writerows(rows)
    try:
        headers, answer = answer_to(access, text.getvalue().encode("utf-8"))
        if "json" in headers["Content-Type"]:
            problem = json.loads(answer)
            raise CannotAsk(f"{problem['title']}: {problem['detail']}")
    except (OSError, HTTPException, ValueError, LookupError) as error:
        raise CannotAsk(f"There is no answer from {access.address}: {error}") from error
    return list(csv.DictReader(io.StringIO(answer, newline=""))), headers.get("Sheet-Remarks", "")


def answer_to(access: Access, sheet: bytes) -> tuple[Any, str]:
    """The answer's headers and text. A refusal is an answer too, if the service gave it."""
    request = urllib.request.Request(
        f"{access.address}/v1/check-ins/batch?format=csv",
        data=sheet,
        headers={
            "Authorization": f"Bearer {access.key}",
            "Content-Type": "text/csv; charset=utf-8",
        },
    )
    opener = urllib.request.build_opener(NotElsewhere)
    try:
        with opener.open(request, timeout=PATIENCE_SECONDS) as response:
            return text_in(response)
    except urllib.error.HTTPError as refusal:
        return text_in(refusal)


def text_in(response: Any) -> tuple[Any, str]:
    """Headers and text, of the kinds that the service gives."""
    kind = response.headers.get("Content-Type", "")
    if not kind.startswith(("text/csv", "application/problem+json")):
        raise ValueError(f"this is no answer of the service (status {response.status})")
    return response.headers, response.read().decode("utf-8-sig")


# ---- the answer ---------------------------------------------------------------------------


def clear_answers(sheet: Any, header: list[str]) -> None:
    """So that yesterday's verdict never stands beside today's row."""
    last_row = used_range(sheet).RangeAddress.EndRow
    for column in map(header.index, ANSWERS if last_row else ()):
        cells = sheet.getCellRangeByPosition(column, 1, column, last_row)
        cells.clearContents(VALUE | DATETIME | STRING | FORMULA)


def write_answers(
    sheet: Any, header: list[str], rows: list[list[str]], answers: list[dict[str, str]]
) -> None:
    """Beside each row, as text: what comes from outside never becomes a formula."""
    places = [place for place, row in enumerate(rows) if place and any(map(str.strip, row))]
    if len(places) != len(answers):
        raise CannotAsk("The answer does not fit the sheet, so nothing was written.")
    for number, answer in enumerate(answers):
        for name in ANSWERS:
            cell = sheet.getCellByPosition(header.index(name), places[number])
            cell.setString(answer.get(name) or "")


def summary_of(answers: list[dict[str, str]]) -> str:
    """What became of the sheet, in a line."""
    refused = sum(bool(answer.get("problem")) for answer in answers)
    more = f" {refused} refused: see the column “problem”." if refused else ""
    return f"{len(answers)} rows sent, {datetime.datetime.now():%Y-%m-%d %H:%M}.{more}"


def tell(document: Any, message: str) -> None:
    """In the named cell, if the document has it, and in a box, if there is a window."""
    names = getattr(document, "NamedRanges", None)
    if names is not None and names.hasByName(MESSAGE_CELL):
        area = names.getByName(MESSAGE_CELL).getReferredCells()
        area.getCellByPosition(0, 0).setString(message)
    controller = document.CurrentController
    if controller is not None:
        window = controller.Frame.ContainerWindow
        window.Toolkit.createMessageBox(window, INFOBOX, 1, "Dawnrule", message).execute()
