"""Logs and metrics of the service, without anybody's health data.

A line names the route, never the path, which may hold a private token or an id. An error is logged
by its type and its place in the source, never by its message, which may repeat what somebody
reported. Each line is JSON, or text in which every value is JSON, so that nothing that was sent can
begin a line of its own.
"""

from __future__ import annotations

import json
import logging
import os
import re
import sys
import time
from collections.abc import Callable, Iterator, Mapping
from datetime import UTC, datetime
from pathlib import Path
from threading import Lock
from traceback import walk_tb
from types import TracebackType
from typing import Any

from flask import Flask, Response, g, request
from prometheus_client import CollectorRegistry, Counter, Gauge, Histogram, ProcessCollector
from prometheus_client.exposition import choose_encoder

import dawnrule
from dawnrule.advice.advisor import AdvisedMorning
from dawnrule.application.athletes import DISAGREEMENTS_ENDING
from dawnrule.model import Verdict
from dawnrule.rules.evaluation.decider import DISAGREEMENT
from dawnrule.settings import LogForm
from dawnrule.store import Store

OTHER = "other"
"""What stands for a rule, or a method, beyond those that are counted by name."""

RULES_BY_NAME = 500
"""How many rules are counted by their ids; rule sets can be published without end."""

_METHODS = frozenset({"DELETE", "GET", "HEAD", "OPTIONS", "PATCH", "POST", "PUT"})
_SECONDS = (0.001, 0.0025, 0.005, 0.01, 0.025, 0.05, 0.1, 0.25, 0.5, 1, 2.5, 5, 10)
_STATUS_CLASS = 100


class Metrics:
    """The counts and measurements of one application."""

    def __init__(self, store: Store) -> None:
        """Measure an open store, and count disagreements from now on."""
        self.registry = registry = CollectorRegistry()
        ProcessCollector(registry=registry)
        self._verdicts = Counter(
            "dawnrule_verdicts", "Advice stored, by verdict.", ["verdict"], registry=registry
        )
        for verdict in Verdict:
            self._verdicts.labels(verdict)
        self._fired = Counter(
            "dawnrule_rules_fired",
            "In how many advices that were stored each rule fired.",
            ["rule"],
            registry=registry,
        )
        self._disagreements = Counter(
            "dawnrule_engine_disagreements",
            "How often the two evaluations of the rules differed, and no advice was given.",
            registry=registry,
        )
        self._seconds = Histogram(
            "dawnrule_request_seconds",
            "How long requests took, from the first byte read by the application to the answer.",
            ["route", "method", "status"],
            buckets=_SECONDS,
            registry=registry,
        )
        self._last_backup = Gauge(
            "dawnrule_last_backup_timestamp_seconds",
            "When this process last made a back-up; 0 if it has made none.",
            registry=registry,
        )
        self._failed_backups = Counter(
            "dawnrule_backups_failed", "Back-ups that could not be made.", registry=registry
        )
        Gauge(
            "dawnrule_version_info", "The version that runs.", ["version"], registry=registry
        ).labels(dawnrule.__version__).set(1)
        Gauge(
            "dawnrule_writes_waiting", "Writes that wait for their turn.", registry=registry
        ).set_function(lambda: store.writes_waiting)
        Gauge(
            "dawnrule_ledger_position",
            "The position of the newest entry of the ledger: how many entries there are.",
            registry=registry,
        ).set_function(lambda: store.read(lambda transaction: transaction.ledger.head().position))
        self._rules_by_name: dict[str, Counter] = {}
        self._lock = Lock()
        self._listener = _DisagreementCounter(self._disagreements.inc)
        logging.getLogger("dawnrule.rules").addHandler(self._listener)

    def close(self) -> None:
        """Stop counting disagreements."""
        logging.getLogger("dawnrule.rules").removeHandler(self._listener)

    def stored(self, considered: AdvisedMorning) -> None:
        """Count an advice that is being stored, and the rules that fired in it."""
        decision = considered.decision
        self._verdicts.labels(decision.verdict).inc()
        subjects = (decision.day, *decision.parts)
        for rule_id in {rule.id for subject in subjects for rule in subject.fired}:
            self._count_of(rule_id).inc()

    def answered(self, route: str, method: str, status: int, seconds: float) -> None:
        """Measure a request by its route as written in the code, and the class of its status."""
        known = method if method in _METHODS else OTHER
        self._seconds.labels(route, known, f"{status // _STATUS_CLASS}xx").observe(seconds)

    def backed_up(self, timestamp: float) -> None:
        """Set when the last back-up was made, in seconds since 1970."""
        self._last_backup.set(timestamp)

    def backup_failed(self) -> None:
        """Count a back-up that could not be made."""
        self._failed_backups.inc()

    def exposition(self, accept: str) -> tuple[bytes, str]:
        """Return all metrics in the form that an Accept header prefers, and its media type."""
        encode, content_type = choose_encoder(accept)
        return encode(self.registry), content_type

    def _count_of(self, rule_id: str) -> Counter:
        """Return the count of a rule; the number of those by name is bounded."""
        if rule_id in self._rules_by_name:
            return self._rules_by_name[rule_id]
        with self._lock:
            if len(self._rules_by_name) >= RULES_BY_NAME:
                return self._fired.labels(OTHER)
            return self._rules_by_name.setdefault(rule_id, self._fired.labels(rule_id))


class _DisagreementCounter(logging.Handler):
    """A counter of disagreements, wherever in the process they occur: in advice, in a batch, or in
    the shadow."""

    def __init__(self, count: Callable[[], None]) -> None:
        super().__init__(logging.CRITICAL)
        self._count = count

    def emit(self, record: logging.LogRecord) -> None:
        """Count a disagreement."""
        if DISAGREEMENT in record.__dict__:
            self._count()


_OURS = "dawnrule"
_FIELDS = "dawnrule_fields"
"""The attribute of a log record that holds further fields."""
_NO_ROUTE = "none"
_ADDRESS = re.compile(r"/\S*")
_OWNER_ONLY = 0o600
_MILLISECONDS = 1000

_log = logging.getLogger("dawnrule.web")
_requests = logging.getLogger("dawnrule.requests")


def start_logging(form: LogForm, db: Path) -> None:
    """Log to standard error in a form, in the whole process, and write disagreements of the two
    evaluations to a file beside the database."""
    handler = logging.StreamHandler(sys.stderr)
    handler.setFormatter(JsonLines() if form is LogForm.JSON else TextLines())
    root = logging.getLogger()
    root.handlers[:] = [handler]
    logging.getLogger(_OURS).setLevel(logging.INFO)
    _requests.setLevel(logging.WARNING if form is LogForm.OFF else logging.INFO)
    logging.getLogger("dawnrule.rules").addHandler(
        DisagreementFile(db.with_name(db.name + DISAGREEMENTS_ENDING))
    )


def watch_requests(app: Flask, metrics: Metrics) -> None:
    """Log and measure each request of an application.

    Call this before anything else registers ``after_request``, so that it runs last. Flask's own
    log of errors is turned off: it would reveal the path, and each error is logged where it is
    answered.
    """
    app.logger.disabled = True

    def start() -> None:
        g.started = time.perf_counter()

    def finish(response: Response) -> Response:
        seconds = time.perf_counter() - g.started
        route = request.url_rule.rule if request.url_rule else _NO_ROUTE
        metrics.answered(route, request.method, response.status_code, seconds)
        if _requests.isEnabledFor(logging.INFO):
            fields = _request_fields(route, response.status_code, seconds)
            _requests.info("request", extra={_FIELDS: fields})
        return response

    app.before_request(start)
    app.after_request(finish)


def _request_fields(route: str, status: int, seconds: float) -> dict[str, Any]:
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
    """A formatter of records as lines of JSON."""

    def format(self, record: logging.LogRecord) -> str:
        """Format a record."""
        return json.dumps(_plain(record))


class TextLines(logging.Formatter):
    """A formatter of records as lines of names and values."""

    def format(self, record: logging.LogRecord) -> str:
        """Format a record."""
        plain = _plain(record)
        head = f"{plain.pop('time')} {plain.pop('level')}"
        return " ".join([head, *(f"{name}={json.dumps(value)}" for name, value in plain.items())])


class DisagreementFile(logging.Handler):
    """A private file with each disagreement of the two evaluations, facts included."""

    def __init__(self, file: Path) -> None:
        super().__init__()
        self._file = file

    def emit(self, record: logging.LogRecord) -> None:
        """Append a disagreement to the file. A failure is logged, and leaves the disagreement as it
        is."""
        disagreement = record.__dict__.get(DISAGREEMENT)
        if disagreement is None:
            return
        line = json.dumps({"time": _time(record), **disagreement}) + "\n"
        try:
            descriptor = os.open(self._file, os.O_WRONLY | os.O_APPEND | os.O_CREAT, _OWNER_ONLY)
            with os.fdopen(descriptor, "a", encoding="utf-8") as file:
                file.write(line)
        except OSError as error:
            _log.error("a disagreement could not be kept: %s", error.strerror)


def _plain(record: logging.LogRecord) -> dict[str, Any]:
    fields: Mapping[str, Any] = record.__dict__.get(_FIELDS, {})
    plain = {
        "time": _time(record),
        "level": record.levelname,
        "logger": record.name,
        "message": _message(record),
        **fields,
    }
    if record.exc_info and record.exc_info[1] is not None:
        plain["error"] = _error(record.exc_info[1])
    return plain


def _time(record: logging.LogRecord) -> str:
    return datetime.fromtimestamp(record.created, UTC).isoformat(timespec="milliseconds")


def _message(record: logging.LogRecord) -> str:
    """Return the message; paths, which waitress logs, are removed from those of libraries."""
    message = record.getMessage()
    is_ours = record.name.partition(".")[0] == _OURS
    return message if is_ours else _ADDRESS.sub("/...", message)


def _error(error: BaseException) -> dict[str, Any]:
    """Describe an error by type and place: no message, and no value of any variable."""
    fields: dict[str, Any] = {
        "type": type(error).__name__,
        "trace": list(_places(error.__traceback__)),
    }
    of_sqlite = getattr(error, "sqlite_errorname", None)
    if of_sqlite is not None:
        fields["sqlite"] = of_sqlite
    cause = error.__cause__ or (None if error.__suppress_context__ else error.__context__)
    if cause is not None:
        fields["cause"] = _error(cause)
    return fields


def _places(traceback: TracebackType | None) -> Iterator[str]:
    for frame, line in walk_tb(traceback):
        code = frame.f_code
        file = Path(code.co_filename)
        yield f"{file.parent.name}/{file.name}:{line} {code.co_name}"
