"""Errors as problem details (RFC 9457), and the kinds of problems."""

from __future__ import annotations

import json
import logging
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import Any

from flask import Flask, Response, g, request
from werkzeug.exceptions import HTTPException, InternalServerError, NotFound, SecurityError

from dawnrule import errors
from dawnrule.errors import (
    DawnruleError,
    FieldError,
    NotReady,
    StoreBusy,
    TooManyRequests,
    Unauthorized,
)
from dawnrule.web.private.addresses import without_token


@dataclass(frozen=True, slots=True)
class ProblemType:
    """A kind of problem; ``kind`` names its page under /problems."""

    kind: str
    title: str
    what_to_do: str


@dataclass(frozen=True, slots=True)
class Problem:
    """One problem of one request."""

    kind: str
    title: str
    status: int
    detail: str
    errors: Sequence[FieldError] = ()


def _of(error: type[DawnruleError], what_to_do: str) -> ProblemType:
    return ProblemType(error.kind, error.title, what_to_do)


METHOD_NOT_ALLOWED = ProblemType(
    "method-not-allowed",
    "This address does not take that method",
    "The header Allow names the methods that it takes.",
)
BODY_TOO_LARGE = ProblemType(
    "body-too-large",
    "The body is too large",
    "Send less at a time: a long sheet can be posted in pieces.",
)
UNSUPPORTED_MEDIA_TYPE = ProblemType(
    "unsupported-media-type",
    "The body is of a type that is not taken here",
    "The detail names the media types that are taken; say one of them in the header Content-Type.",
)
NOT_FOUND = _of(
    errors.NotFound,
    "Check the address and the id in it. A key that may see one athlete only is told the same "
    "about all others, whether they exist or not.",
)
MALFORMED_INPUT = _of(
    errors.MalformedInput,
    "The body must be JSON in UTF-8, or a CSV file where that is taken. A name may stand once in "
    "an object, and NaN is no number. The detail says where the reading stopped.",
)
INTERNAL = _of(
    DawnruleError,
    "This is a fault of the service. Nothing was stored. Send the request again later, and name "
    "its request_id to whoever runs the service.",
)

PROBLEM_TYPES: Mapping[str, ProblemType] = {
    problem_type.kind: problem_type
    for problem_type in (
        _of(
            errors.InvalidInput,
            "Each entry of errors says where a value stands, which it was, and what would be "
            "accepted. Mend these and send the request again; nothing of it was stored.",
        ),
        MALFORMED_INPUT,
        _of(
            errors.Unauthorized,
            "Send a key in the header Authorization: the word Bearer, a space, and the key. Keys "
            "are made by whoever runs the service, with dawnrule keys create.",
        ),
        _of(
            errors.Forbidden,
            "The key is known, but its role may not do this. A coach's key may do everything.",
        ),
        NOT_FOUND,
        METHOD_NOT_ALLOWED,
        _of(errors.Conflict, "Look at what is stored now, and decide anew."),
        _of(
            errors.TooManyRequests,
            "Wait as many seconds as the header Retry-After says, then send the request again. A "
            "whole squad can be posted as one batch.",
        ),
        BODY_TOO_LARGE,
        UNSUPPORTED_MEDIA_TYPE,
        _of(
            errors.NotProved,
            "Simplify the conditions of the rules: fewer tests in one rule, fewer ways to meet it.",
        ),
        _of(
            errors.StoreBusy,
            "Wait as many seconds as the header Retry-After says, and send the same request again; "
            "a check-in that is sent twice changes nothing the second time. After an erasure the "
            "store may be busy for as long as its files are written anew.",
        ),
        _of(
            errors.NotReady,
            "Each entry of errors names a part of the service that cannot do its work now: the "
            "store, the rules, the disk, or the service itself while it ends. Tell whoever runs "
            "it.",
        ),
        _of(errors.StoreUnusable, "Tell whoever runs the service: the database needs a look."),
        _of(
            errors.EngineDisagreement,
            "The rules are evaluated twice, and the two results were not the same; then it is "
            "better to give no advice. Tell whoever runs the service, and plan this day by hand.",
        ),
        _of(
            errors.EngineFailure,
            "The rules could not be evaluated. Tell whoever runs the service, and plan this day "
            "by hand.",
        ),
        _of(errors.RuleSetInvalid, "The detail says what is wrong, and in which line of the file."),
        INTERNAL,
    )
}

_OF_STATUS = {
    400: MALFORMED_INPUT,
    404: NOT_FOUND,
    405: METHOD_NOT_ALLOWED,
    413: BODY_TOO_LARGE,
    415: UNSUPPORTED_MEDIA_TYPE,
}


def problem_type_of(status: int) -> ProblemType:
    """Return the kind of problem of an HTTP status."""
    return _OF_STATUS.get(status, INTERNAL)


PROBLEM_JSON = "application/problem+json"

_log = logging.getLogger("dawnrule.web")

_HEADERS: Mapping[type[DawnruleError], Mapping[str, str]] = {
    Unauthorized: {"WWW-Authenticate": "Bearer"},
    StoreBusy: {"Retry-After": "1"},
    TooManyRequests: {"Retry-After": "60"},  # where no limit by the minute knows better
}
_LOST_IN_TRANSLATION = ("content-type", "content-length")
_SERVER_ERROR = 500
_OTHER_HOST = "The service does not answer to the name in the header Host."
_NOTHING_HERE = "There is nothing at this address. All that there is stands at /docs."


def register_problems(app: Flask) -> None:
    """Answer every error of an application with problem details."""
    app.register_error_handler(DawnruleError, answer_error)
    app.register_error_handler(HTTPException, answer_http_error)


def answer_error(error: DawnruleError) -> Response:
    """Answer one of our own errors."""
    if error.status >= _SERVER_ERROR and not isinstance(error, NotReady):  # that tells itself
        _log.error("request %s: %s", g.request_id, error.title, exc_info=error)
    return problem_answer(problem_of(error), headers_of(error))


def headers_of(error: DawnruleError) -> Mapping[str, str]:
    """Return the headers of one of our own errors."""
    return _HEADERS.get(type(error), {})


def answer_http_error(error: HTTPException) -> Response:
    """Answer an error of Flask or werkzeug, with its headers (Allow for 405)."""
    status = error.code or _SERVER_ERROR
    if isinstance(error, InternalServerError):
        _log.error("request %s failed", g.request_id, exc_info=error.original_exception)
        detail = f"Something went wrong here. Name {g.request_id} when asking about it."
    elif isinstance(error, SecurityError):  # its own words repeat the host
        detail = _OTHER_HOST
    elif error.description == NotFound.description:
        detail = _NOTHING_HERE
    else:
        detail = error.description or error.name
    kept = {k: v for k, v in error.get_headers() if k.lower() not in _LOST_IN_TRANSLATION}
    found = problem_type_of(status)
    return problem_answer(Problem(found.kind, found.title, status, detail), kept)


def problem_of(error: DawnruleError) -> Problem:
    """Describe one of our own errors."""
    return Problem(error.kind, error.title, error.status, _sentence(error), error.errors)


def _sentence(error: DawnruleError) -> str:
    """Join the detail and the first fault: a client may show one sentence only."""
    if not error.errors or error.errors[0].detail in error.detail:
        return error.detail
    return f"{error.detail} {error.errors[0].pointer} {error.errors[0].detail}."


def problem_answer(
    problem: Problem,
    headers: Mapping[str, str] | None = None,
    extension: Mapping[str, Any] | None = None,
) -> Response:
    """Answer this request with a problem; ``extension`` has further members of its JSON (RFC 9457,
    section 3.2)."""
    members = {
        "type": f"/problems/{problem.kind}",
        "title": problem.title,
        "status": problem.status,
        "detail": problem.detail,
        "instance": without_token(request.path),
        "errors": [asdict(error) for error in problem.errors],
        "request_id": g.request_id,
    }
    text = json.dumps(members | dict(extension or {}))
    return Response(text, problem.status, headers, mimetype=PROBLEM_JSON)
