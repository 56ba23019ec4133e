"""Dawnrule's answer to each row of this sheet: a macro for LibreOffice Calc.

It sends the sheet "check-ins" of the open document and writes the answer into each row. It needs
nothing but LibreOffice, whose own Python may be as old as 3.8. README.md explains how to install it
and where to keep the key.
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
KEY = re.compile(r"[\w.~+/=-]+", re.ASCII)  # others cannot be sent; an error would repeat them
PATIENCE_SECONDS = 60
MINUTES_A_DAY = 24 * 60


class CannotAsk(Exception):
    """The reason why nothing was sent or answered, in words for the person at the sheet."""


class Access(NamedTuple):
    """The service's address, and the key to it."""

    address: str
    key: str


def ask_dawnrule(*_: Any) -> None:
    """Send the sheet, and write verdict, rule, reason, caution and problem into its rows."""
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


g_exportedScripts = (ask_dawnrule,)


# ---- the sheet, read ----------------------------------------------------------------------


def sheet_of(document: Any) -> Any:
    """Return the sheet that is sent."""
    sheets = getattr(document, "Sheets", None)
    if sheets is None or not sheets.hasByName(SHEET):
        raise CannotAsk(f"This document has no sheet “{SHEET}”. Nothing was sent.")
    return sheets.getByName(SHEET)


def header_of(sheet: Any) -> list[str]:
    """Return the names of the columns, as Dawnrule reads them; each answer needs a column."""
    (first, *_) = used_range(sheet).getDataArray()
    header = ["_".join(str(name).lower().split()) for name in first]
    missing = [name for name in ANSWERS if header.count(name) != 1]
    if missing:
        names = ", ".join(missing)
        raise CannotAsk(f"The first row must name, once: {names}. Nothing was sent.")
    return header


def used_range(sheet: Any) -> Any:
    """Return all cells from the first one to the last with content."""
    cursor = sheet.createCursor()
    cursor.gotoEndOfUsedArea(False)
    last = cursor.RangeAddress
    return sheet.getCellRangeByPosition(0, 0, last.EndColumn, last.EndRow)


def texts_of(document: Any, sheet: Any, header: list[str]) -> list[list[str]]:
    """Return all rows, each cell as text, without earlier answers."""
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
    """Return the content of a cell as Dawnrule reads it: 7, 6.5, 2026-03-09, 2026-03-09T18:00 or
    text.

    Calc stores every number as a fraction, and a date as the days since its first day; only the
    cell's format tells them apart. A formula that failed has no value: it is sent as it is shown,
    so that it is rejected.
    """
    if isinstance(value, str):
        return value
    cell = sheet.getCellByPosition(*place)
    if value is None:
        return str(cell.String)
    kind = document.NumberFormats.getByKey(cell.NumberFormat).Type
    if kind & (DATE | TIME):
        return datetime_text(document.NullDate, value, kind)
    return str(int(value)) if value.is_integer() else repr(value)


def datetime_text(first_day: Any, days: float, kind: int) -> str:
    """Write a date, a time of day, or both, whatever the format in which it is shown."""
    start = datetime.datetime(first_day.Year, first_day.Month, first_day.Day)
    moment = start + datetime.timedelta(minutes=round(days * MINUTES_A_DAY))
    if not kind & TIME:
        return moment.date().isoformat()
    return moment.isoformat(timespec="minutes") if kind & DATE else f"{moment:%H:%M}"


# ---- the question -------------------------------------------------------------------------


def access() -> Access:
    """Read the address and the key from a file in the person's own LibreOffice folder.

    They are not taken from the document: a sheet from somebody else could name an address of
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
    """Return the file that holds the address and the key."""
    services = uno.getComponentContext().ServiceManager
    substitution = services.createInstance("com.sun.star.util.PathSubstitution")
    folder = uno.fileUrlToSystemPath(substitution.substituteVariables("$(user)", True))
    return Path(folder) / KEY_FILE


class NotElsewhere(urllib.request.HTTPRedirectHandler):
    """A handler that follows no redirect, so the key goes to no other address."""

    def redirect_request(self, *_: Any) -> None:
        """Refuse to follow; an answer that points elsewhere is an error."""


def answers_of(access: Access, rows: list[list[str]]) -> tuple[list[dict[str, str]], str]:
    """Return the answer to each row that is not blank, by column name, and the service's remarks on
    how it read the sheet, such as unknown columns."""
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
    """Return the answer's headers and text. A refusal by the service is an answer too."""
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
    """Return headers and text, of the media types that the service sends."""
    kind = response.headers.get("Content-Type", "")
    if not kind.startswith(("text/csv", "application/problem+json")):
        raise ValueError(f"this is no answer of the service (status {response.status})")
    return response.headers, response.read().decode("utf-8-sig")


# ---- the answer ---------------------------------------------------------------------------


def clear_answers(sheet: Any, header: list[str]) -> None:
    """Clear earlier answers, so that yesterday's verdict never stands beside today's row."""
    last_row = used_range(sheet).RangeAddress.EndRow
    for column in map(header.index, ANSWERS if last_row else ()):
        cells = sheet.getCellRangeByPosition(column, 1, column, last_row)
        cells.clearContents(VALUE | DATETIME | STRING | FORMULA)


def write_answers(
    sheet: Any, header: list[str], rows: list[list[str]], answers: list[dict[str, str]]
) -> None:
    """Write the answers into the rows as text: nothing from outside becomes a formula."""
    places = [place for place, row in enumerate(rows) if place and any(map(str.strip, row))]
    if len(places) != len(answers):
        raise CannotAsk("The answer does not fit the sheet, so nothing was written.")
    for number, answer in enumerate(answers):
        for name in ANSWERS:
            cell = sheet.getCellByPosition(header.index(name), places[number])
            cell.setString(answer.get(name) or "")


def summary_of(answers: list[dict[str, str]]) -> str:
    """Summarize the outcome in a line."""
    refused = sum(bool(answer.get("problem")) for answer in answers)
    more = f" {refused} refused: see the column “problem”." if refused else ""
    return f"{len(answers)} rows sent, {datetime.datetime.now():%Y-%m-%d %H:%M}.{more}"


def tell(document: Any, message: str) -> None:
    """Show a message in the named cell, if the document has it, and in a box, if there is a
    window."""
    names = getattr(document, "NamedRanges", None)
    if names is not None and names.hasByName(MESSAGE_CELL):
        area = names.getByName(MESSAGE_CELL).getReferredCells()
        area.getCellByPosition(0, 0).setString(message)
    controller = document.CurrentController
    if controller is not None:
        window = controller.Frame.ContainerWindow
        window.Toolkit.createMessageBox(window, INFOBOX, 1, "Dawnrule", message).execute()
