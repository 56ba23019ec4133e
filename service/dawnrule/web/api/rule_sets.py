"""Rule sets: publication, activation, shadow runs, the roster, differences and scorecards."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Any

from flask import Response, request

from dawnrule.analytics.scorecard import Scorecard, scorecard
from dawnrule.application.athletes import require_athlete
from dawnrule.application.deciding import Decider, Deciding
from dawnrule.application.rule_sets import (
    Compared,
    NamedActivation,
    Published,
    RedecisionCounts,
    RosterEntry,
    named_activations,
)
from dawnrule.errors import FieldError, Finding, MalformedInput, RuleSetInvalid
from dawnrule.model.advice import RuleSetName
from dawnrule.rules.analysis.diff import Difference
from dawnrule.rules.analysis.findings import ReportedFinding, errors_among
from dawnrule.rules.rule_set import RuleSet
from dawnrule.rules.serialization import rule_set_to_json
from dawnrule.schemas.errors import MOST_ERRORS, load
from dawnrule.schemas.replay import DatesSchema, ScorecardSchema
from dawnrule.schemas.rule_set import (
    ActivateSchema,
    AssignSchema,
    CandidateSchema,
    DecidingSchema,
    DifferenceSchema,
    FindingsSchema,
    InForceSchema,
    NowInForceSchema,
    PublishedSchema,
    RosterEntrySchema,
    RuleSetProblemSchema,
    RuleSetSchema,
    RuleSetsSchema,
    RuleSetTextSchema,
    ShadowSchema,
    TwoRuleSetsSchema,
    WhomSchema,
)
from dawnrule.store import Transaction
from dawnrule.web.context import context
from dawnrule.web.http.authorization import caller
from dawnrule.web.http.problems import PROBLEM_JSON, problem_answer, problem_of
from dawnrule.web.http.requests import ATHLETE_ID, Blueprint, json_body, refuse_other_than
from dawnrule.web.http.responses import JSON, YAML, json_answer

publishing = Blueprint(
    "publishing", __name__, url_prefix="/v1", description="Which rules hold, and for whom."
)


@dataclass(frozen=True, slots=True)
class InForce:
    """The rule set that decides today for an athlete or for all others (None), every activation for
    them, newest first, and what a change did to today's advice."""

    athlete_id: str | None
    rule_set: RuleSetName
    activations: Sequence[NamedActivation]
    counts: RedecisionCounts | None = None


@dataclass(frozen=True, slots=True)
class RuleSetDifference:
    """The difference of one rule set from another, with their names."""

    before: str
    after: str
    difference: Difference


@dataclass(frozen=True, slots=True)
class Roster:
    """All rule sets."""

    rule_sets: Sequence[RosterEntry]


_FILE = "rule-set.yaml"
_TEXT = RuleSetTextSchema()
_FINDINGS = FindingsSchema()
_BODIES = {
    "required": True,
    "content": {YAML: {"schema": {"type": "string"}}, JSON: {"schema": _TEXT}},
}


@publishing.route("/rule-sets", methods=["POST"])
@publishing.doc(requestBody=_BODIES)
@publishing.response(201, PublishedSchema, description="Published.")
@publishing.alt_response(200, schema=PublishedSchema, description="It was published before.")
@publishing.alt_response(
    422, schema=RuleSetProblemSchema, content_type=PROBLEM_JSON, description="Refused."
)
def publish_rule_set() -> Response | tuple[Published, int, dict[str, str]]:
    """Check a rule set, and publish it; it decides nothing until it is activated.

    It is tried in a process of its own first. With an error among the findings it is refused. A
    name and version that is published stays as it is (409).
    """
    refuse_other_than(YAML, JSON)
    pointer = "/text" if request.mimetype == JSON else ""
    try:
        published = context().publisher.publish(_text(), _FILE, caller().id)
    except RuleSetInvalid as invalid:
        return _refused(invalid, pointer)
    rule_set = published.rule_set
    headers = {"Location": f"/v1/rule-sets/{rule_set.name}/{rule_set.version}"}
    return published, 201 if published.is_new else 200, headers


@publishing.route("/rule-sets/active")
@publishing.response(200, InForceSchema)
def get_active() -> InForce:
    """The rule set that decides today for all who have none of their own, and every activation."""
    return _active()


@publishing.route("/rule-sets/deciding")
@publishing.response(200, DecidingSchema)
def get_deciding() -> dict[str, list[Deciding]]:
    """What decides for whom, now and from which dates on; and what would hold if the newest
    activation were taken back."""
    ctx = context()

    def find(transaction: Transaction) -> list[Deciding]:
        today = ctx.clock().date()
        return Decider.of(transaction, ctx.advisor.library, ctx.rule_set, today).all()

    return {"deciding": ctx.store.read(find)}


@publishing.route("/rule-sets/active", methods=["PUT"])
@publishing.arguments(ActivateSchema(), as_kwargs=True)
@publishing.response(200, NowInForceSchema)
@publishing.alt_response(404, "NOT_FOUND")
@publishing.alt_response(
    422, schema=RuleSetProblemSchema, content_type=PROBLEM_JSON, description="Refused."
)
def activate_rule_set(
    rule_set: str, from_date: date | None, athlete_ids: Sequence[str] | None, *, again: bool
) -> Response | InForce:
    """Let a rule set decide, from a date on, for all or for some athletes.

    Of the activations whose date has come the newest holds, and an athlete's own before that for
    all. Advice that was given stays as it is, save today's with ``again``. One by which somebody
    with a warning sign would train is refused.
    """
    activated = context().rule_set_named(rule_set)
    return _activated(activated, from_date, athlete_ids, again=again)


@publishing.route("/rule-sets/rollback", methods=["POST"])
@publishing.arguments(WhomSchema(), as_kwargs=True)
@publishing.response(200, NowInForceSchema)
@publishing.alt_response(404, "NOT_FOUND")
def roll_back(athlete_ids: Sequence[str] | None, *, again: bool) -> InForce:
    """Take back the newest activation, for all or for some athletes, whether its date has come or
    not; what was before it holds again, at once."""
    context().publisher.roll_back(athlete_ids, caller().id)
    return _active(counts=_counted(athlete_ids, again=again))


@publishing.route("/athletes/<athlete_id>/rule-set", parameters=[ATHLETE_ID])
@publishing.response(200, InForceSchema)
@publishing.alt_response(404, "NOT_FOUND")
def get_assignment(athlete_id: str) -> InForce:
    """The rule set that decides for an athlete today, and the athlete's own activations."""
    return _active(athlete_id)


@publishing.route("/athletes/<athlete_id>/rule-set", methods=["PUT"], parameters=[ATHLETE_ID])
@publishing.arguments(AssignSchema(), as_kwargs=True)
@publishing.response(200, NowInForceSchema)
@publishing.alt_response(404, "NOT_FOUND")
@publishing.alt_response(
    422, schema=RuleSetProblemSchema, content_type=PROBLEM_JSON, description="Refused."
)
def assign_rule_set(
    athlete_id: str, rule_set: str | None, from_date: date | None, *, again: bool
) -> Response | InForce:
    """Let an athlete have a rule set of their own from a date on, such as an extension with their
    exceptions; null lets them go with all again."""
    assigned = context().rule_set_named(rule_set) if rule_set else None
    return _activated(assigned, from_date, [athlete_id], athlete_id, again=again)


@publishing.route("/rule-sets/shadow")
@publishing.response(200, ShadowSchema)
@publishing.alt_response(404, "NOT_FOUND")
def get_shadow() -> Compared:
    """What the candidate in the shadow said, beside the advice that holds."""
    return context().publisher.compared()


@publishing.route("/rule-sets/shadow", methods=["PUT"])
@publishing.arguments(CandidateSchema(), as_kwargs=True)
@publishing.response(200, ShadowSchema)
@publishing.alt_response(404, "NOT_FOUND")
def put_shadow(rule_set: str) -> Compared:
    """Let a rule set decide every morning beside the one that holds; no athlete hears of it."""
    context().publisher.run_in_shadow(context().rule_set_named(rule_set), caller().id)
    return context().publisher.compared()


@publishing.route("/rule-sets/shadow", methods=["DELETE"])
@publishing.response(204)
def delete_shadow() -> Response:
    """Let no rule set run in the shadow; what was said there is kept."""
    context().publisher.run_in_shadow(None, caller().id)
    return Response(status=204)


def _activated(
    rule_set: RuleSet | None,
    from_date: date | None,
    athlete_ids: Sequence[str] | None,
    athlete_id: str | None = None,
    *,
    again: bool,
) -> Response | InForce:
    """Activate a rule set, and describe what decides then; or refuse it with all findings."""
    try:
        context().publisher.activate(rule_set, from_date, athlete_ids, caller().id)
    except RuleSetInvalid as invalid:
        return _refused(invalid, "/rule_set")
    return _active(athlete_id, _counted(athlete_ids, again=again))


def _counted(athlete_ids: Sequence[str] | None, *, again: bool) -> RedecisionCounts:
    return context().again.count(athlete_ids, decide=again, by=caller().id)


def _active(athlete_id: str | None = None, counts: RedecisionCounts | None = None) -> InForce:
    """Describe what decides today for an athlete, or for all others; ``counts`` says what a change
    did to today's advice."""
    ctx = context()

    def find(transaction: Transaction) -> InForce:
        activations = named_activations(transaction, ctx.advisor.library)
        rule_set = ctx.rule_set_today(transaction)
        if athlete_id is not None:
            today = require_athlete(transaction, athlete_id).today(ctx.clock())
            rule_set = ctx.rule_set_for(transaction, athlete_id, today)
            activations = [one for one in activations if one.athlete_id == athlete_id]
        return InForce(athlete_id, RuleSetName.of(rule_set), activations, counts)

    return ctx.store.read(find)


def _text() -> str:
    """Read the rule file that was sent, as it is or inside JSON."""
    if request.mimetype == JSON:
        text: str = load(_TEXT, json_body())["text"]
        return text
    try:
        return request.get_data().decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise MalformedInput(f"The YAML is not UTF-8 at byte {error.start}.") from error


def _refused(invalid: RuleSetInvalid, pointer: str) -> Response:
    """Answer a refusal with all findings; each error is also in the common form."""
    errors = [_field_error(one, pointer) for one in errors_among(invalid.findings, to_decide=True)]
    first, others = errors[0].detail, len(errors) - 1
    more = f" And {others} more." if others else ""
    problem = replace(
        problem_of(RuleSetInvalid(invalid.findings)),
        detail=f"{first}{more}",
        errors=errors[:MOST_ERRORS],
    )
    shown = invalid.findings[:MOST_ERRORS]
    findings = [ReportedFinding.of(one, to_decide=True) for one in shown]
    return problem_answer(problem, extension=_FINDINGS.dump({"findings": findings}))


def _field_error(finding: Finding, pointer: str) -> FieldError:
    return FieldError(pointer, None, str(finding))


rule_sets = Blueprint(
    "rule-sets", __name__, url_prefix="/v1", description="The rules by which advice is given."
)


@rule_sets.route("/rule-sets")
@rule_sets.response(200, RuleSetsSchema)
def list_rule_sets() -> Roster:
    """Every rule set there is: those that ship, by name and then by version, and then those that
    were published, in the order in which they were."""
    return Roster(context().roster())


@rule_sets.route("/rule-sets/<name>/<version>")
@rule_sets.response(200, RuleSetSchema)
@rule_sets.alt_response(404, "NOT_FOUND")
def get_rule_set(name: str, version: str) -> Response:
    """One rule set in full: each rule with its condition, source, examples and caution, what it
    came from, and when it was activated for whom."""
    rule_set = context().advisor.library.get(name, version)
    entry = next(one for one in context().roster() if one.digest == rule_set.digest)
    head: dict[str, Any] = RosterEntrySchema().dump(entry)
    return json_answer(head | rule_set_to_json(rule_set) | {"activations": head["activations"]})


@rule_sets.route("/rule-sets/<name>/<version>/findings")
@rule_sets.response(200, FindingsSchema)
@rule_sets.alt_response(404, "NOT_FOUND")
def get_findings(name: str, version: str) -> dict[str, Sequence[ReportedFinding]]:
    """What was found in a rule set when it was published, for its author to weigh."""
    rule_set = context().advisor.library.get(name, version)
    return {"findings": context().publisher.findings(rule_set)}


@rule_sets.route("/rule-sets/<name>/<version>/scorecard")
@rule_sets.arguments(DatesSchema, location="query", as_kwargs=True)
@rule_sets.response(200, ScorecardSchema)
@rule_sets.alt_response(404, "NOT_FOUND")
def get_scorecard(name: str, version: str, first: date | None, last: date | None) -> Scorecard:
    """How often each rule applied and decided on the mornings that this rule set decided, and what
    happened afterwards.

    What followed has many causes: read a rule's shares beside those of all mornings.
    """
    ctx = context()
    rule_set = ctx.advisor.library.get(name, version)
    return scorecard(ctx.store, ctx.archive.mornings(), rule_set, first, last, ctx.clock())


@rule_sets.route("/rule-sets/diff")
@rule_sets.arguments(TwoRuleSetsSchema, location="query", as_kwargs=True)
@rule_sets.response(200, DifferenceSchema)
@rule_sets.alt_response(404, "NOT_FOUND")
def get_difference(before: str, after: str) -> RuleSetDifference:
    """How one rule set differs from another, rule by rule; and for each way in which a verdict can
    change, the smallest example, or the proof that there is none."""
    one, other = (context().rule_set_named(named) for named in (before, after))
    difference = context().publisher.difference(one, other)
    return RuleSetDifference(one.full_name, other.full_name, difference)
