"""Responses: JSON, text, CSV and workbooks, and the choice between them."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from typing import Any
from zoneinfo import ZoneInfo

from flask import Response, request
from flask.json.provider import DefaultJSONProvider

from dawnrule.advice.summary import reason_text
from dawnrule.application.sessions import Logged
from dawnrule.errors import Conflict, InvalidInput
from dawnrule.i18n.lazy import render, render_error
from dawnrule.model.advice import Advice, NoAdvice
from dawnrule.model.entities import Athlete
from dawnrule.model.time_zones import zone_named
from dawnrule.sheet import CHECK_INS, People, RowAnswer, SessionRowAnswer, Sheet, write_sheet
from dawnrule.web.http.locale import composer, localize, texts

JSON = "application/json"
TEXT = "text/plain"
CSV = "text/csv"
YAML = "application/yaml"
XLSX = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
ODS = "application/vnd.oasis.opendocument.spreadsheet"

FORMS = {"json": JSON, "txt": TEXT, "csv": CSV, "xlsx": XLSX}
"""What an address may say at its end or as ``format``, for clients that set no headers."""


class JsonProvider(DefaultJSONProvider):
    """JSON answers that keep the order of members."""

    sort_keys = False

    def response(self, *args: Any, **kwargs: Any) -> Response:
        """Answer with JSON values."""
        return Response(json.dumps(self._prepare_response_obj(args, kwargs)), mimetype=JSON)


def json_answer(
    values: Mapping[str, Any], status: int = 200, headers: Mapping[str, str] | None = None
) -> Response:
    """Answer with JSON values, their members in the order given."""
    return Response(json.dumps(values), status, headers, mimetype=JSON)


def text_answer(text: str) -> Response:
    """Answer with text in UTF-8, without a final newline, which a spreadsheet's cell would
    show."""
    return Response(text, mimetype=TEXT)


def csv_answer(text: str, file_name: str, status: int = 200) -> Response:
    """Answer with a CSV file in UTF-8; a lone surrogate, which JSON allows, becomes a question
    mark."""
    headers = {"Content-Disposition": f'attachment; filename="{file_name}"'}
    return Response(text.encode("utf-8", "replace"), status, headers, mimetype=CSV)


def preferred_media_type(accepted: Sequence[str], form: str | None = None) -> str:
    """Choose the media type to answer in: that of the form named in the address, if any, else the
    one that the Accept header prefers, else the first."""
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
"""The description of that header."""

_LONGEST_HEADER = 2000  # characters; proxies refuse much longer ones


@contextmanager
def errors_in_request_language() -> Iterator[None]:
    """Render errors of a sheet in the language of the request; programs that send JSON get
    English."""
    try:
        yield
    except InvalidInput as error:
        if request.mimetype == JSON:
            raise
        raise render_error(error, texts()) from error


def advice_in_row(advice: Advice | NoAdvice) -> RowAnswer:
    """Answer a row of a sheet with advice, or with why there is none."""
    return RowAnswer.of_advice(advice, reason_text(advice, composer()), composer().vocabulary)


def advice_sheet(advice: Sequence[Advice | NoAdvice]) -> str:
    """Write the advice of several athletes as CSV text, a row for each."""
    sheet = Sheet.of(CHECK_INS, ((one.athlete_id, one.date.isoformat()) for one in advice))
    return write_sheet(sheet, list(map(advice_in_row, advice)))


def logged_in_row(logged: Logged) -> SessionRowAnswer:
    """Answer a row of a sheet with the session that was logged."""
    if logged.today is None:
        return SessionRowAnswer(logged.session_id)
    advice = localize(logged.today.advice)
    verdict = composer().vocabulary.label(advice.verdict)
    return SessionRowAnswer(logged.session_id, verdict, advice.headline)


def zones_of(athletes: Iterable[Athlete]) -> Callable[[str], ZoneInfo | None]:
    """Look up each athlete's time zone by id; None for an unknown athlete, and for a zone that
    cannot be loaded: both are refused in their rows later."""
    zones = {athlete.id: athlete.time_zone for athlete in athletes}

    def zone_of(athlete_id: str) -> ZoneInfo | None:
        with suppress(KeyError, Conflict):
            return zone_named(zones[athlete_id])
        return None

    return zone_of


def people_of(athletes: Iterable[Athlete]) -> People:
    """Return those whom a sheet may name."""
    return People.of((athlete.id, athlete.name) for athlete in athletes)


def xlsx_answer(workbook: bytes, file_name: str, status: int) -> Response:
    """Answer with a workbook."""
    headers = {"Content-Disposition": f'attachment; filename="{file_name}"'}
    return Response(workbook, status, headers, mimetype=XLSX)


def remarks_header(sheet: Sheet) -> dict[str, str]:
    """Put the remarks on how a sheet was read into one ASCII header, for answers that are sheets
    themselves and have no other place for them."""
    remarks = " ".join(render(remark, texts()) for remark in sheet.remarks())
    printable = (sign if sign.isprintable() else " " for sign in remarks)
    line = " ".join("".join(printable).split())
    plain = line.encode("ascii", "backslashreplace").decode("ascii")
    return {_REMARKS: plain[:_LONGEST_HEADER]} if plain else {}
