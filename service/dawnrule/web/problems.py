"""How is an error told over HTTP? As problem details (RFC 9457), whatever went wrong."""

from __future__ import annotations

import json
import logging
from collections.abc import Mapping
from dataclasses import asdict
from typing import Any

from flask import Flask, Response, g, request
from werkzeug.exceptions import HTTPException, InternalServerError, NotFound

from dawnrule.errors import DawnruleError, NotReady, StoreBusy, Unauthorized
from dawnrule.web.phone.paths import without_token
from dawnrule.web.problem_types import problem_type_of

PROBLEM_JSON = "application/problem+json"

_log = logging.getLogger("dawnrule.web")

_HEADERS: Mapping[type[DawnruleError], Mapping[str, str]] = {
    Unauthorized: {"WWW-Authenticate": "Bearer"},
    StoreBusy: {"Retry-After": "1"},
}
_LOST_IN_TRANSLATION = ("content-type", "content-length")
_SERVER_ERROR = 500
_NOTHING_HERE = "There is nothing at this address. All that there is stands at /docs."


def register_problems(app: Flask) -> None:
    """Tell every error of an application as problem details."""
    app.register_error_handler(DawnruleError, answer_error)
    app.register_error_handler(HTTPException, answer_http_error)


def answer_error(error: DawnruleError) -> Response:
    """One of our own errors."""
    if error.status >= _SERVER_ERROR and not isinstance(error, NotReady):  # that tells itself
        _log.error("request %s: %s", g.request_id, error.title, exc_info=error)
    return problem_answer(problem_of(error), headers_of(error))


def headers_of(error: DawnruleError) -> Mapping[str, str]:
    """The headers that tell of one of our own errors, however else it is told."""
    return _HEADERS.get(type(error), {})


def answer_http_error(error: HTTPException) -> Response:
    """An error of Flask or werkzeug, with the headers that it asks for (Allow with 405)."""
    status = error.code or _SERVER_ERROR
    if isinstance(error, InternalServerError):
        _log.error("request %s failed", g.request_id, exc_info=error.original_exception)
        detail = f"Something went wrong here. Name {g.request_id} when asking about it."
    elif error.description == NotFound.description:
        detail = _NOTHING_HERE
    else:
        detail = error.description or error.name
    kept = {k: v for k, v in error.get_headers() if k.lower() not in _LOST_IN_TRANSLATION}
    found = problem_type_of(status)
    return problem_answer(_problem(found.kind, found.title, status, detail), kept)


def problem_of(error: DawnruleError) -> dict[str, Any]:
    """One of our own errors as plain JSON values."""
    problem = _problem(error.kind, error.title, error.status, _sentence(error))
    return problem | {"errors": [asdict(fault) for fault in error.errors]}


def _sentence(error: DawnruleError) -> str:
    """The detail, with the first fault: who sees one sentence only shall see what to mend."""
    if not error.errors or error.errors[0].detail in error.detail:
        return error.detail
    return f"{error.detail} {error.errors[0].pointer} {error.errors[0].detail}."


def problem_answer(
    problem: Mapping[str, Any], headers: Mapping[str, str] | None = None
) -> Response:
    """A problem as the response to this request."""
    return Response(json.dumps(problem), problem["status"], headers, mimetype=PROBLEM_JSON)


def _problem(kind: str, title: str, status: int, detail: str) -> dict[str, Any]:
    return {
        "type": f"/problems/{kind}",
        "title": title,
        "status": status,
        "detail": detail,
        "instance": without_token(request.path),
        "errors": [],
        "request_id": g.request_id,
    }
