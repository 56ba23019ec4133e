"""Is the service well, and what is its interface?"""

from __future__ import annotations

from flask import Response, current_app

import dawnrule
from dawnrule.errors import EngineFailure
from dawnrule.rules.rule_set import RuleSet
from dawnrule.schemas.health import HealthSchema, ReadinessSchema
from dawnrule.web.answers import YAML, json_answer
from dawnrule.web.incoming import Blueprint
from dawnrule.web.openapi import document_yaml
from dawnrule.web.service import service

operations = Blueprint("operations", __name__, description="Running the service.")


@operations.route("/healthz")
@operations.response(200, HealthSchema)
def get_health() -> Response:
    """Whether the process answers."""
    return json_answer({"status": "ok", "version": dawnrule.__version__})


@operations.route("/readyz")
@operations.response(200, ReadinessSchema)
def get_readiness() -> Response:
    """Whether the store takes writes, and the engine decides a worked example as it should."""
    service().store.write(lambda books: None)
    rule_set = service().store.read(service().in_force_today)
    _try_engine(rule_set)
    named = {"name": rule_set.name, "version": rule_set.version, "digest": rule_set.digest}
    return json_answer({"status": "ok", "version": dawnrule.__version__, "rule_set": named})


@operations.route("/openapi.yaml")
@operations.response(200, {"type": "object"}, content_type=YAML)
def get_openapi() -> Response:
    """This description (OpenAPI 3.1)."""
    return Response(document_yaml(current_app), mimetype=YAML)


def _try_engine(rule_set: RuleSet) -> None:
    """Raises ``EngineFailure`` when the first rule does not come out as its first example says."""
    rule = rule_set.rules[0]
    example = rule.examples[0]
    fired = service().advisor.library.decider(rule_set).fired(rule.scope, example.facts)
    if (rule in fired) is not example.fires:
        raise EngineFailure(f"The engine does not decide the first example of {rule.id} rightly.")
