"""Operations: health, readiness, metrics and the description of the interface."""

from __future__ import annotations

import logging
import shutil
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from functools import partial

from flask import Response, current_app, request

import dawnrule
from dawnrule.errors import DawnruleError, EngineFailure, FieldError, NotReady
from dawnrule.model.advice import RuleSetName
from dawnrule.rules.rule_set import RuleSet
from dawnrule.schemas.advice import HealthSchema, ReadinessSchema
from dawnrule.store import Key, Role, Transaction
from dawnrule.web.context import context
from dawnrule.web.http.requests import Blueprint
from dawnrule.web.http.responses import TEXT, YAML
from dawnrule.web.openapi import document_yaml

operations = Blueprint("operations", __name__, description="Running the service.")

_log = logging.getLogger("dawnrule.web")

_WRITTEN_WITHIN_SECONDS = 2.0
_MEGABYTE = 1_000_000
_OPENMETRICS = "application/openmetrics-text"


@dataclass(frozen=True, slots=True, kw_only=True)
class Health:
    """The answer of a live process, with its version."""

    status: str = "ok"
    version: str = dawnrule.__version__


@dataclass(frozen=True, slots=True, kw_only=True)
class Readiness(Health):
    """The answer of a service that can do its work; ``rule_set`` decides today."""

    rule_set: RuleSetName


@operations.route("/healthz")
@operations.response(200, HealthSchema)
def get_health() -> Health:
    """Whether the process answers."""
    return Health()


@operations.route("/readyz")
@operations.response(200, ReadinessSchema)
@operations.alt_response(503, "DEFAULT_ERROR")
def get_readiness() -> Readiness:
    """Whether the service can do its work: the store takes writes, both evaluations decide a
    worked example as they should, there is room on the disk, and it is not about to end."""
    missing = [fault for name, check in _CHECKS.items() if (fault := _fault(name, check))]
    if missing:
        summary = "; ".join(
            f"{fault.pointer.removeprefix('/')}: {fault.detail}" for fault in missing
        )
        _log.error("not ready: %s", summary)
        raise NotReady(f"{summary}.", missing)
    return Readiness(rule_set=RuleSetName.of(context().store.read(context().rule_set_today)))


@operations.route("/metrics")
@operations.response(200, {"type": "string"}, content_type=TEXT)
def get_metrics() -> Response:
    """What was counted and measured since the start, for Prometheus.

    In its text format, or in that of OpenMetrics when the header Accept asks for it. Nothing of a
    person is said; but of a small squad, how many had to rest says something of those who
    are known to train in it. So it takes a key, unless whoever runs the service opens it.
    """
    metrics, content_type = context().metrics.exposition(request.headers.get("Accept", ""))
    return Response(metrics, content_type=content_type)


@operations.route("/openapi.yaml")
@operations.response(200, {"type": "object"}, content_type=YAML)
def get_openapi() -> Response:
    """This description (OpenAPI 3.1)."""
    return Response(document_yaml(current_app), mimetype=YAML)


def _fault(name: str, check: Callable[[], str | None]) -> FieldError | None:
    """Run a check and return what it finds missing; of an error the title alone, as anybody may
    ask."""
    try:
        detail = check()
    except DawnruleError as error:
        detail = error.title
    return FieldError(f"/{name}", None, detail) if detail else None


def _service() -> str | None:
    return "the service is about to end" if context().stopping.is_set() else None


def _store() -> None:
    now = context().clock()
    context().store.rehearse(partial(_write_something, now), _WRITTEN_WITHIN_SECONDS)


def _rules() -> None:
    """Evaluate the first example of the first rule. Raises ``EngineFailure`` or
    ``EngineDisagreement`` where it does not come out as it should."""
    _try_engine(context().store.read(context().rule_set_today))


def _disk() -> str | None:
    folder, floor = context().store.file.parent, context().settings.free_disk_megabytes
    free = shutil.disk_usage(folder).free // _MEGABYTE
    return f"{free} MB are free, fewer than {floor}" if free < floor else None


_CHECKS = {"service": _service, "store": _store, "rules": _rules, "disk": _disk}


def _write_something(now: datetime, transaction: Transaction) -> None:
    """Add a key that is rolled back; no real key has such a hash."""
    transaction.keys.add(Key("readiness", Role.POSTER, None, None, now), "readiness")


def _try_engine(rule_set: RuleSet) -> None:
    rule = rule_set.rules[0]
    example = rule.examples[0]
    fired = context().advisor.library.decider(rule_set).fired(rule.scope, example.facts)
    if (rule in fired) is not example.fires:
        raise EngineFailure(f"The engine does not decide the first example of {rule.id} rightly.")
