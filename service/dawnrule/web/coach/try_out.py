"""What would a rule set say to facts that a coach fills in? Nothing is stored."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from flask import render_template, request

from dawnrule.errors import FieldError, InvalidInput
from dawnrule.rules.decision import DayDecision, Decision
from dawnrule.rules.rule_set import Rule, RuleSet
from dawnrule.schemas.evaluation import AssumedFacts, AssumedFactsSchema
from dawnrule.schemas.field_errors import load
from dawnrule.vocabulary import Facts, Scope
from dawnrule.web.coach.frame import coach
from dawnrule.web.coach.try_out_page import assumed, form_of
from dawnrule.web.coach.why_page import RulesTold, RuleTeller
from dawnrule.web.language import composer
from dawnrule.web.service import service


@dataclass(frozen=True, slots=True)
class _Tried:
    """The verdict on the day or on the part, by which rule and with which reason, how its own rules
    came out, and the rules on the whole day that count for the part too."""

    scope: Scope
    verdict: str
    rule: Rule | None
    reason: str
    rules: RulesTold
    from_day: tuple[Rule, ...]


@coach.route("/rule-sets/<name>/<version>/try-out", methods=["GET", "POST"])
def try_rule_set(name: str, version: str) -> str | tuple[str, int]:
    """A form of facts, and what the rules say to them; with errors by field."""
    rule_set = service().advisor.library.get(name, version)
    if request.method == "GET":
        return _page(rule_set)
    try:
        facts = load(AssumedFactsSchema(), assumed(request.form, composer()))
    except InvalidInput as invalid:
        return _page(rule_set, errors=invalid.errors), invalid.status
    return _page(rule_set, tried=tuple(_tried(rule_set, facts)))


def _page(
    rule_set: RuleSet, errors: tuple[FieldError, ...] = (), tried: tuple[_Tried, ...] = ()
) -> str:
    speaks = composer()
    return render_template(
        "coach/try_out.html",
        rule_set=rule_set,
        form=form_of(request.form, errors, speaks),
        tried=tried,
        of_rule=speaks.texts.of_rule,
    )


def _tried(rule_set: RuleSet, facts: AssumedFacts) -> Iterator[_Tried]:
    """The day and, if there is one, the part."""
    decider = service().advisor.library.decider(rule_set)
    parts = [{**facts.day, **part} for part in facts.parts]
    decision = decider.decide(facts.day, parts)
    yield _told(rule_set, "day", _as_decision(decision), parts[0] if parts else facts.day)
    for part, decided in zip(parts, decision.parts, strict=True):
        yield _told(rule_set, "part", decided, part)


def _as_decision(decision: DayDecision) -> Decision:
    """The day as a whole, with the rules that fired on it."""
    return Decision(decision.verdict, decision.deciding, decision.day.fired)


def _told(rule_set: RuleSet, scope: Scope, decision: Decision, facts: Facts) -> _Tried:
    speaks, deciding = composer(), decision.deciding
    fired, decided = {rule.id for rule in decision.fired}, {deciding.id} if deciding else set()
    return _Tried(
        scope,
        decision.verdict.value,
        deciding,
        speaks.wording.reason(deciding, facts) if deciding else speaks.reason_to_train(decision),
        RuleTeller(speaks).told(rule_set.in_scope(scope), facts, fired, decided),
        tuple(rule for rule in decision.fired if rule.scope != scope),
    )
