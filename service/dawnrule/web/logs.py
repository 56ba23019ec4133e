"""What does the service write down about each request and each error? Nothing of anybody's health.

A line says which route was called, never at which address: that may hold a private token or an
id. An error is told by its kind and by where in the source it came from, never by its message,
which may repeat what somebody reported. Each line is JSON, or text in which every value is JSON,
so that nothing that was sent can begin a line of its own.
"""

from __future__ import annotations

import json
import logging
import os
import re
import sys
import time
from collections.abc import Iterator, Mapping
from datetime import UTC, datetime
from pathlib import Path
from traceback import walk_tb
from types import TracebackType
from typing import Any

from flask import Flask, Response, g, request

from dawnrule.advice.erasure import DISAGREEMENTS_ENDING
from dawnrule.rules.decider import DISAGREEMENT
from dawnrule.settings import LogForm
from dawnrule.web.metrics import Metrics

_OURS = "dawnrule"
_TOLD = "told"  # under which a record carries what is told besides its message
_NO_ROUTE = "none"
_ADDRESS = re.compile(r"/\S*")
_OWNER_ONLY = 0o600
_MILLISECONDS = 1000

_log = logging.getLogger("dawnrule.web")
_requests = logging.getLogger("dawnrule.requests")


def start_logging(form: LogForm, db: Path) -> None:
    """Log to standard error in a form, from now on and in the whole process, and keep what the
    two evaluations disagree on in a file beside the database."""
    handler = logging.StreamHandler(sys.stderr)
    handler.setFormatter(JsonLines() if form is LogForm.JSON else TextLines())
    root = logging.getLogger()
    root.handlers[:] = [handler]
    logging.getLogger(_OURS).setLevel(logging.INFO)
    _requests.setLevel(logging.WARNING if form is LogForm.OFF else logging.INFO)
    logging.getLogger("dawnrule.rules").addHandler(
        DisagreementsKept(db.with_name(db.name + DISAGREEMENTS_ENDING))
    )


def watch_requests(app: Flask, metrics: Metrics) -> None:
    """Log and measure each request of an application. To be called before anything else asks to
    be called after a request: then this comes last.

    Flask's own log of errors is turned off: it would tell the address, and each error is logged
    where it is answered.
    """
    app.logger.disabled = True

    def start() -> None:
        g.started = time.perf_counter()

    def finish(response: Response) -> Response:
        seconds = time.perf_counter() - g.started
        route = request.url_rule.rule if request.url_rule else _NO_ROUTE
        metrics.answered(route, request.method, response.status_code, seconds)
        if _requests.isEnabledFor(logging.INFO):
            told = _request_told(route, response.status_code, seconds)
            _requests.info("request", extra={_TOLD: told})
        return response

    app.before_request(start)
    app.after_request(finish)


def _request_told(route: str, status: int, seconds: float) -> dict[str, Any]:
    key = g.get("key")
    return {
        "request_id": g.request_id,
        "method": request.method,
        "route": route,
        "status": status,
        "duration_ms": round(seconds * _MILLISECONDS, 1),
        "key_id": key.id if key else None,
        "role": key.role if key else None,
    }


class JsonLines(logging.Formatter):
    """Each record as a line of JSON."""

    def format(self, record: logging.LogRecord) -> str:
        """The line."""
        return json.dumps(_plain(record))


class TextLines(logging.Formatter):
    """Each record as a line of names and values."""

    def format(self, record: logging.LogRecord) -> str:
        """The line."""
        plain = _plain(record)
        head = f"{plain.pop('time')} {plain.pop('level')}"
        return " ".join([head, *(f"{name}={json.dumps(told)}" for name, told in plain.items())])


class DisagreementsKept(logging.Handler):
    """Keeps each disagreement of the two evaluations whole, with its facts, in a private file."""

    def __init__(self, file: Path) -> None:
        super().__init__()
        self._file = file

    def emit(self, record: logging.LogRecord) -> None:
        """Add a line to the file, if the record is of a disagreement. Should that fail, it is
        logged, and the disagreement stays what it is for whoever met it."""
        whole = record.__dict__.get(DISAGREEMENT)
        if whole is None:
            return
        line = json.dumps({"time": _time(record), **whole}) + "\n"
        try:
            kept = os.open(self._file, os.O_WRONLY | os.O_APPEND | os.O_CREAT, _OWNER_ONLY)
            with os.fdopen(kept, "a", encoding="utf-8") as file:
                file.write(line)
        except OSError as error:
            _log.error("a disagreement could not be kept: %s", error.strerror)


def _plain(record: logging.LogRecord) -> dict[str, Any]:
    told: Mapping[str, Any] = record.__dict__.get(_TOLD, {})
    plain = {
        "time": _time(record),
        "level": record.levelname,
        "logger": record.name,
        "message": _message(record),
        **told,
    }
    if record.exc_info and record.exc_info[1] is not None:
        plain["error"] = _error(record.exc_info[1])
    return plain


def _time(record: logging.LogRecord) -> str:
    return datetime.fromtimestamp(record.created, UTC).isoformat(timespec="milliseconds")


def _message(record: logging.LogRecord) -> str:
    """Our own words; those of a library without addresses, which waitress puts in."""
    message = record.getMessage()
    is_ours = record.name.partition(".")[0] == _OURS
    return message if is_ours else _ADDRESS.sub("/...", message)


def _error(error: BaseException) -> dict[str, Any]:
    """What an error is and where it came from: no message, and no value of any variable."""
    told: dict[str, Any] = {
        "type": type(error).__name__,
        "trace": list(_places(error.__traceback__)),
    }
    of_sqlite = getattr(error, "sqlite_errorname", None)
    if of_sqlite is not None:
        told["sqlite"] = of_sqlite
    cause = error.__cause__ or (None if error.__suppress_context__ else error.__context__)
    if cause is not None:
        told["cause"] = _error(cause)
    return told


def _places(traceback: TracebackType | None) -> Iterator[str]:
    for frame, line in walk_tb(traceback):
        code = frame.f_code
        file = Path(code.co_filename)
        yield f"{file.parent.name}/{file.name}:{line} {code.co_name}"
