"""How does what was found become a response?"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from typing import Any
from zoneinfo import ZoneInfo

from flask import Response, request

from dawnrule.advice.summary import reason_text
from dawnrule.application.sessions import Logged
from dawnrule.errors import InvalidInput
from dawnrule.i18n.lazy import render, render_error
from dawnrule.sheet import CHECK_INS, RowAnswer, SessionRowAnswer, Sheet, write_sheet
from dawnrule.web.context import context
from dawnrule.web.http.locale import composer, texts, told_again

JSON = "application/json"
TEXT = "text/plain"
CSV = "text/csv"
YAML = "application/yaml"
XLSX = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
ODS = "application/vnd.oasis.opendocument.spreadsheet"

FORMS = {"json": JSON, "txt": TEXT, "csv": CSV, "xlsx": XLSX}
"""What an address may say at its end or as ``format``, for clients that set no headers."""


def json_answer(
    plain: Mapping[str, Any], status: int = 200, headers: Mapping[str, str] | None = None
) -> Response:
    """Plain JSON values, their members in the order given."""
    return Response(json.dumps(plain), status, headers, mimetype=JSON)


def text_answer(text: str) -> Response:
    """Plain text in UTF-8, just as it is: a final newline would stand in a spreadsheet's cell."""
    return Response(text, mimetype=TEXT)


def csv_answer(text: str, file_name: str, status: int = 200) -> Response:
    """A CSV file in UTF-8; half a character that JSON let through becomes a question mark."""
    headers = {"Content-Disposition": f'attachment; filename="{file_name}"'}
    return Response(text.encode("utf-8", "replace"), status, headers, mimetype=CSV)


def preferred_media_type(accepted: Sequence[str], form: str | None = None) -> str:
    """The media type to answer in: that of the form which the address chooses, if it does, else
    the one that the Accept header likes best, else the first."""
    if form in FORMS:
        return FORMS[form]
    return request.accept_mimetypes.best_match(accepted, accepted[0])


_REMARKS = "Sheet-Remarks"
DESCRIBED_REMARKS = {
    _REMARKS: {
        "description": "How the sheet was read, in sentences; ASCII with backslash escapes.",
        "schema": {"type": "string"},
    }
}
"""How that header is described."""

_LONGEST_HEADER = 2000  # characters; servers between refuse much longer ones


@contextmanager
def told_to_its_sender() -> Iterator[None]:
    """What is wrong with a sheet is told in the language of the request; programs that send JSON
    are told in English."""
    try:
        yield
    except InvalidInput as error:
        if request.mimetype == JSON:
            raise
        raise render_error(error, texts()) from error


def advice_in_row(advice: Mapping[str, Any]) -> RowAnswer:
    """What of an advice (plain JSON values) stands beside its row; why there is none, if so."""
    why = reason_text(advice, composer())
    return RowAnswer.of_advice({**advice, "reason": why}, composer().vocabulary)


def advice_sheet(advice: Sequence[Mapping[str, Any]]) -> str:
    """Advice of several athletes (plain JSON values) as CSV text, a row for each."""
    sheet = Sheet.of(CHECK_INS, ((one["athlete_id"], one["date"]) for one in advice))
    return write_sheet(sheet, list(map(advice_in_row, advice)))


def logged_in_row(logged: Logged) -> SessionRowAnswer:
    """What stands beside the row of a session that was logged."""
    if logged.today is None:
        return SessionRowAnswer(logged.session_id)
    advice = told_again(logged.today.advice)
    verdict = composer().vocabulary.label(advice["verdict"])
    return SessionRowAnswer(logged.session_id, verdict, advice["headline"])


def zones_of_athletes() -> Callable[[str], ZoneInfo | None]:
    """Where each athlete lives, by id; None for who is not known."""
    athletes = context().store.read(lambda transaction: transaction.athletes.all())
    zones = {athlete.id: athlete.time_zone for athlete in athletes}
    return lambda athlete_id: ZoneInfo(zones[athlete_id]) if athlete_id in zones else None


def xlsx_answer(workbook: bytes, file_name: str, status: int) -> Response:
    """A workbook."""
    headers = {"Content-Disposition": f'attachment; filename="{file_name}"'}
    return Response(workbook, status, headers, mimetype=XLSX)


def remarks_header(sheet: Sheet) -> dict[str, str]:
    """What whoever sent a sheet should hear of the reading, where the answer is a sheet itself:
    in one header, as far as letters without accents can say it."""
    remarks = " ".join(render(remark, texts()) for remark in sheet.remarks())
    seen = (sign if sign.isprintable() else " " for sign in remarks)
    said = " ".join("".join(seen).split())
    plain = said.encode("ascii", "backslashreplace").decode("ascii")
    return {_REMARKS: plain[:_LONGEST_HEADER]} if plain else {}
