"""Which rules are there, word for word, what was found in them, and how did they do?"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from flask import Response

from dawnrule.advice.scorecard import scorecard
from dawnrule.rules.plain import name_to_plain, rule_set_to_plain
from dawnrule.schemas.publishing import DifferenceSchema, FindingsSchema, TwoRuleSetsSchema
from dawnrule.schemas.replay import DatesSchema, ScorecardSchema
from dawnrule.schemas.rule_set import RuleSetSchema, RuleSetsSchema
from dawnrule.store import Books
from dawnrule.web.answers import json_answer
from dawnrule.web.incoming import Blueprint
from dawnrule.web.publishing import told_activations
from dawnrule.web.service import service

rule_sets = Blueprint(
    "rule-sets", __name__, url_prefix="/v1", description="The rules by which advice is given."
)


@rule_sets.route("/rule-sets")
@rule_sets.response(200, RuleSetsSchema)
def list_rule_sets() -> Response:
    """Every rule set there is: those that ship, by name and then by version, and then those that
    were published, in the order in which they were."""
    return json_answer({"rule_sets": list(service().store.read(_summaries).values())})


@rule_sets.route("/rule-sets/<name>/<version>")
@rule_sets.response(200, RuleSetSchema)
@rule_sets.alt_response(404, "NOT_FOUND")
def get_rule_set(name: str, version: str) -> Response:
    """One rule set in full: each rule with its condition, source, examples and caution, what it
    came from, and when it was activated for whom."""
    rule_set = service().advisor.library.get(name, version)
    summary = service().store.read(_summaries)[rule_set.digest]
    activations = [
        told
        for told in service().store.read(told_activations)
        if told["rule_set"] and told["rule_set"]["digest"] == rule_set.digest
    ]
    return json_answer(summary | rule_set_to_plain(rule_set) | {"activations": activations})


@rule_sets.route("/rule-sets/<name>/<version>/findings")
@rule_sets.response(200, FindingsSchema)
@rule_sets.alt_response(404, "NOT_FOUND")
def get_findings(name: str, version: str) -> Response:
    """What was found in a rule set when it was published, for its author to weigh."""
    rule_set = service().advisor.library.get(name, version)
    return json_answer({"findings": service().publisher.findings(rule_set)})


@rule_sets.route("/rule-sets/<name>/<version>/scorecard")
@rule_sets.arguments(DatesSchema, location="query")
@rule_sets.response(200, ScorecardSchema)
@rule_sets.alt_response(404, "NOT_FOUND")
def get_scorecard(query: Mapping[str, Any], name: str, version: str) -> Response:
    """How often each rule fired and decided on the mornings told by this rule set, and what
    happened afterwards.

    What followed has many causes: read a rule's shares beside those of all mornings.
    """
    its = service()
    rule_set = its.advisor.library.get(name, version)
    mornings, dates = its.archive.mornings(), (query["first"], query["last"])
    return json_answer(scorecard(its.store, mornings, rule_set, *dates, its.clock()).to_plain())


@rule_sets.route("/rule-sets/diff")
@rule_sets.arguments(TwoRuleSetsSchema, location="query")
@rule_sets.response(200, DifferenceSchema)
@rule_sets.alt_response(404, "NOT_FOUND")
def get_difference(query: Mapping[str, Any]) -> Response:
    """How one rule set differs from another, rule by rule; and for each way in which a verdict can
    change, the smallest example, or the proof that there is none."""
    before, after = (service().rule_set_named(query[which]) for which in ("before", "after"))
    names = {"before": before.full_name, "after": after.full_name}
    return json_answer(names | service().publisher.difference(before, after))


def _summaries(books: Books) -> dict[str, dict[str, Any]]:
    """Every rule set in short, by digest."""
    its = service()
    active = its.in_force_today(books).digest
    return {
        **{
            one.digest: _summary(name_to_plain(one), one.summary, active)
            for one in its.advisor.library.all()
        },
        **{
            one.digest: _summary(
                {"name": one.name, "version": one.version, "digest": one.digest},
                one.summary,
                active,
                one.published_at.isoformat(),
                one.published_by,
            )
            for one in books.rule_sets.all()
        },
    }


def _summary(
    name: Mapping[str, str],
    summary: str,
    active: str,
    published_at: str | None = None,
    published_by: str | None = None,
) -> dict[str, Any]:
    return {
        **name,
        "summary": summary,
        "active": name["digest"] == active,
        "published_at": published_at,
        "published_by": published_by,
    }
