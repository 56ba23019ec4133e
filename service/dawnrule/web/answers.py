"""How does what was found become a response?"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from typing import Any

from flask import Response, request

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


def wanted(accepted: Sequence[str], form: str | None = None) -> str:
    """The media type to answer in: that of the form which the address chooses, if it does, else
    the one that the Accept header likes best, else the first."""
    if form in FORMS:
        return FORMS[form]
    return request.accept_mimetypes.best_match(accepted, accepted[0])
