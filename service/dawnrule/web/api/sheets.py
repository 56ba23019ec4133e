"""Sheets: look at the columns of one, introduce it, list and forget."""

from __future__ import annotations

from typing import Any

from flask import Response, request

from dawnrule.application.introductions import LAYOUTS, chosen_meanings, forget
from dawnrule.application.introductions import introduce as introduce_sheet
from dawnrule.schemas.introduction import (
    NEW_INTRODUCTION,
    ColumnsQuery,
    ColumnsQuerySchema,
    ColumnsSchema,
    IntroducedSchema,
    IntroducedSheetsSchema,
)
from dawnrule.sheet import ReadOptions, SheetColumns, all_meanings, read_columns
from dawnrule.store import IntroducedSheet
from dawnrule.web.context import context
from dawnrule.web.http.authorization import caller
from dawnrule.web.http.requests import Blueprint, refuse_other_than
from dawnrule.web.http.responses import CSV, ODS, XLSX, people_of

sheets = Blueprint(
    "sheets",
    __name__,
    url_prefix="/v1",
    description="A coach's own sheet is introduced once; sheets with its headers are read so.",
)

_FILE = {"type": "string", "format": "binary"}
_FILES = {
    "required": True,
    "content": {
        kind: {"schema": {"type": "string"} if kind == CSV else _FILE} for kind in (CSV, XLSX, ODS)
    },
}
_SHEET_ID = {
    "name": "sheet_id",
    "in": "path",
    "schema": {"type": "string", "pattern": "^[0-9a-f]{16}$"},
}


def columns_of(data: bytes, kind: str, table: str | None) -> SheetColumns:
    """Look at the columns of a sheet, with what was said of it before. Raises
    ``MalformedInput``."""
    athletes, chosen = context().store.read(
        lambda transaction: (transaction.athletes.all(), chosen_meanings(transaction))
    )
    options = ReadOptions(table=table, people=people_of(athletes), chosen=chosen)
    return read_columns(data, LAYOUTS[kind], options)


@sheets.route("/sheet-columns", methods=["POST"])
@sheets.arguments(ColumnsQuerySchema, location="query")
@sheets.doc(requestBody=_FILES)
@sheets.response(200, ColumnsSchema)
def post_columns(query: ColumnsQuery) -> dict[str, Any]:
    """Show the columns of a sheet with what each is taken to mean and three of its values. Nothing
    is stored."""
    request.max_content_length = context().settings.batch_body_limit_bytes
    data = request.get_data()
    refuse_other_than(CSV, XLSX, ODS)
    found = columns_of(data, query.kind, query.sheet)
    return {
        "kind": query.kind,
        "columns": found.columns,
        "unknown_athletes": found.unknown_athletes,
        "meanings": all_meanings(LAYOUTS[query.kind]),
    }


@sheets.route("/sheets")
@sheets.response(200, IntroducedSheetsSchema)
def list_sheets() -> dict[str, list[IntroducedSheet]]:
    """All sheets that were introduced."""
    return {"sheets": context().store.read(lambda b: b.introduced_sheets.all())}


@sheets.route("/sheets", methods=["POST"])
@sheets.arguments(NEW_INTRODUCTION, as_kwargs=True)
@sheets.response(200, IntroducedSchema, description="Replaced, or the same as before.")
@sheets.alt_response(201, schema=IntroducedSchema, description="New.")
def introduce(kind: str, columns: dict[str, str]) -> tuple[IntroducedSheet, int]:
    """Say what the columns of a sheet mean: sheets with the same headers, in any order, are read so
    from now on, whoever posts them."""
    by, at = caller().id, context().clock()
    sheet, is_new = context().store.write(
        lambda transaction: introduce_sheet(transaction, kind, columns, by=by, at=at)
    )
    return sheet, 201 if is_new else 200


@sheets.route("/sheets/<sheet_id>", methods=["DELETE"], parameters=[_SHEET_ID])
@sheets.response(204)
@sheets.alt_response(404, "NOT_FOUND")
def delete_sheet(sheet_id: str) -> Response:
    """Forget what was said of a sheet. What was read from it stays."""
    by, at = caller().id, context().clock()
    context().store.write(lambda transaction: forget(transaction, sheet_id, by=by, at=at))
    return Response(status=204)
