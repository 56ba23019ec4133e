"""Evaluation of a check-in or of facts by a rule set; nothing is stored."""

from __future__ import annotations

from dataclasses import dataclass, replace

from dawnrule.advice.advisor import Morning
from dawnrule.application.athletes import require_athlete
from dawnrule.application.check_ins import history_before, reject_implausible
from dawnrule.application.concern_reports import changes_by_check_in, opened_by
from dawnrule.model.advice import Advice, RuleSetName
from dawnrule.model.entities import Athlete, CheckIn, History
from dawnrule.model.record import RecordedFacts
from dawnrule.rules.evaluation.decision import DayDecision
from dawnrule.rules.rule_set import RuleSet
from dawnrule.schemas.record import AssumedFacts, EvaluationSchema, Question, QuestionSchema
from dawnrule.store import Transaction
from dawnrule.web.context import context
from dawnrule.web.http.locale import localize
from dawnrule.web.http.requests import Blueprint

evaluations = Blueprint(
    "evaluations", __name__, url_prefix="/v1", description="What the rules would say."
)

_NOT_STORED = "not-stored"
"""The id of a check-in that is only evaluated: the concerns that it would open come from it."""


@dataclass(frozen=True, slots=True)
class Evaluation:
    """A decision of a rule set; ``facts`` and ``advice`` are None where facts were sent."""

    decision: DayDecision
    rule_set: RuleSetName
    facts: RecordedFacts | None = None
    advice: Advice | None = None


@evaluations.route("/evaluations", methods=["POST"])
@evaluations.arguments(QuestionSchema())
@evaluations.response(200, EvaluationSchema)
@evaluations.alt_response(404, "NOT_FOUND")
def evaluate(question: Question) -> Evaluation:
    """Evaluate a check-in, or facts, by the active rule set or another; nothing is stored.

    Of an athlete who is known the earlier days count, as they do for advice; an assumed athlete
    has none.
    """
    rule_set = _rule_set(question)
    if question.facts is not None:
        return _of_facts(question.facts, rule_set)
    assert question.check_in is not None, "the schema asks for one of both"
    return _of_check_in(question.check_in, question.athlete, rule_set)


def _rule_set(question: Question) -> RuleSet:
    """Find the rule set that is named, or else the one that would decide on the check-in, or today.
    Raises ``NotFound``."""
    ctx, check_in = context(), question.check_in
    if question.rule_set is not None:
        return ctx.rule_set_named(question.rule_set)
    if check_in is None:
        return ctx.store.read(ctx.rule_set_today)
    return ctx.store.read(
        lambda transaction: ctx.rule_set_for(transaction, check_in.athlete_id, check_in.date)
    )


def _of_facts(facts: AssumedFacts, rule_set: RuleSet) -> Evaluation:
    decider = context().advisor.library.decider(rule_set)
    decision = decider.decide(facts.day, [{**facts.day, **part} for part in facts.parts])
    return Evaluation(decision, RuleSetName.of(rule_set))


def _of_check_in(check_in: CheckIn, assumed: Athlete | None, rule_set: RuleSet) -> Evaluation:
    now = context().clock()

    def morning(transaction: Transaction) -> Morning:
        if assumed is not None:
            alone = History(concerns=opened_by(check_in, now))
            return Morning(replace(assumed, id=check_in.athlete_id), check_in, alone, now)
        athlete = require_athlete(transaction, check_in.athlete_id)
        _, concerns = changes_by_check_in(transaction, check_in, _NOT_STORED, now)
        history = history_before(transaction, check_in, now, concerns)
        return Morning(athlete, check_in, history, now)

    found = context().store.read(morning)
    reject_implausible(found.athlete, check_in, now)
    considered = context().advisor.consider(found, rule_set, advice_id=None)
    return Evaluation(
        considered.decision,
        considered.advice.rule_set,
        considered.recorded_facts(),
        localize(considered.advice),
    )
