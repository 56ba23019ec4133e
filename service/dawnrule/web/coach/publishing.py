"""Publishing rule sets, letting them decide, taking that back, and trials."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from flask import redirect, render_template, request, url_for

from dawnrule.application.deciding import Change, Decider, Deciding, Holding
from dawnrule.application.rule_sets import RosterEntry
from dawnrule.errors import (
    Conflict,
    DawnruleError,
    Finding,
    InvalidInput,
    RuleSetInvalid,
    TooManyRequests,
)
from dawnrule.model.entities import Athlete
from dawnrule.schemas.query import day_of_address
from dawnrule.store import Transaction
from dawnrule.web.coach.forms import EVERYBODY, Chosen, choices
from dawnrule.web.coach.layout import coach
from dawnrule.web.context import context
from dawnrule.web.http.authorization import caller
from dawnrule.web.http.locale import dated, say

_SEE_OTHER = 303
_FILE = "rule-set.yaml"
_BACK_TO_ALL = "-"
"""In place of a rule set: who has one of their own goes with all again."""

_OWN_RULES = """\
rule_set: {name}
version: 1.0.0
summary: {summary}
extends: {extends}
change:
  - rule: growth-work-soreness
    fact: soreness
    at_least: 2
    because: {because}
    reason: "{{muscle_group}}: soreness {{soreness}} of 10. Here growth work goes again under 2."
    caution: Train another muscle group, or do easy work such as cycling, swimming or rowing.
    examples:
      - {{facts: {{goal: hypertrophy, soreness: 2}}, fires: true}}
      - {{facts: {{goal: hypertrophy, soreness: 1}}, fires: false}}
"""
"""What the form begins with: a small extension that passes its check."""


@coach.get("/rule-sets/publish")
def rule_set_form() -> str:
    """Show the form for the text of a rule set, with a small one to begin with."""
    begin = _OWN_RULES.format(
        name="club",
        extends=context().rule_set.full_name,
        summary=say("coach_publish.own_summary"),
        because=say("coach_publish.own_because"),
    )
    return _form(begin)


@coach.post("/rule-sets/publish")
def publish_rule_set() -> Any:
    """Check the text and publish it, or show it again with every finding. It decides nothing until
    it is let."""
    text = request.form.get("text", "").replace("\r\n", "\n")
    try:
        published = context().publisher.publish(text, _FILE, caller().id)
    except RuleSetInvalid as invalid:
        return _form(text, invalid.findings), invalid.status
    except (Conflict, TooManyRequests) as refused:
        return _form(text, refused=refused), refused.status
    name, version = published.name, published.version
    return redirect(url_for("coach.rule_set", name=name, version=version), _SEE_OTHER)


def _form(text: str, findings: Sequence[Finding] = (), refused: DawnruleError | None = None) -> str:
    return render_template("coach/publish.html", text=text, findings=findings, refused=refused)


@dataclass(frozen=True, slots=True)
class Held:
    """What decides for somebody, in words: now, after a change where there is one, and once the
    newest activation is taken back, empty where there is none."""

    athlete_id: str | None
    name: str
    now: str
    then: str
    after_take_back: str


@dataclass(frozen=True, slots=True)
class Asked:
    """A change that was asked for and not made: the rule set by name@version, empty to go with all
    again; from when on; for whom; and what will hold for each."""

    rule_set: str
    from_date: date | None
    whom: Chosen
    held: Sequence[Held]

    @property
    def is_for_all(self) -> bool:
        """Whether it is for all who have none of their own."""
        return self.whom.value == EVERYBODY


@coach.get("/rule-sets/deciding")
def deciding() -> Any:
    """Show what decides for whom and from when on; with a change in the address, what it would
    do."""
    try:
        return _deciding(request.args.get("rule_set"), request.args.get("from", ""))
    except (InvalidInput, Conflict) as refused:
        return _deciding(None, "", refused), refused.status


@coach.post("/rule-sets/activate")
def activate_rule_set() -> Any:
    """Let a rule set decide, for whom and from when the form says."""
    ctx, form = context(), request.form
    try:
        whom, from_date = _whom(form.get("whom", "")), _date(form.get("from", ""))
        name = form.get("rule_set", "")
        rule_set = None if name == _BACK_TO_ALL else ctx.rule_set_named(name)
        ids = _ids(whom)
        if rule_set is None and ids is None:
            raise InvalidInput(say("coach_publish.back_for_whom"))
        ctx.publisher.activate(rule_set, from_date, ids, caller().id)
        ctx.again.count(ids, decide=form.get("again") == "yes", by=caller().id)
    except (RuleSetInvalid, InvalidInput, Conflict) as refused:
        return _deciding(None, "", refused), refused.status
    return redirect(url_for("coach.deciding"), _SEE_OTHER)


@coach.post("/rule-sets/take-back")
def take_back_activation() -> Any:
    """Take back the newest activation for all or for an athlete; what was before holds again."""
    ctx, form = context(), request.form
    ids = [form["athlete"]] if form.get("athlete") else None
    try:
        ctx.publisher.roll_back(ids, caller().id)
        ctx.again.count(ids, decide=form.get("again") == "yes", by=caller().id)
    except Conflict as refused:
        return _deciding(None, "", refused), refused.status
    return redirect(url_for("coach.deciding"), _SEE_OTHER)


@coach.post("/rule-sets/trial")
def try_in_parallel() -> Any:
    """Let a rule set run on trial, unseen by athletes; without one, end the trial."""
    ctx, name = context(), request.form.get("rule_set", "")
    ctx.publisher.run_in_shadow(ctx.rule_set_named(name) if name else None, caller().id)
    return redirect(url_for("coach.deciding"), _SEE_OTHER)


def _deciding(name: str | None, from_text: str, refused: DawnruleError | None = None) -> str:
    ctx = context()
    today = ctx.clock().date()
    asked = None
    if name is not None:
        asked = _asked(name, _date(from_text), _whom(request.args.get("whom", "")))

    def read(transaction: Transaction) -> tuple[list[Deciding], list[Chosen]]:
        library, default = ctx.advisor.library, ctx.rule_set
        decider = Decider.of(transaction, library, default, today)
        return decider.all(), choices(transaction, say("coach_publish.all"))

    found, offered = ctx.store.read(read)
    names = _names(offered)
    roster = ctx.roster()
    return render_template(
        "coach/deciding.html",
        held=[_held(one, None, names) for one in found],
        offered=offered,
        rule_sets=[one.full_name for one in roster],
        back_to_all=_BACK_TO_ALL,
        asked=asked,
        today=today,
        on_trial=_on_trial(roster),
        stays=ctx.again.count(None, decide=False, by=None).stays,
        refused=refused,
    )


def _asked(name: str, from_date: date | None, whom: Chosen) -> Asked:
    """Tell what a change would do. Raises ``NotFound`` for an unknown rule set."""
    ctx = context()
    rule_set = None if name == _BACK_TO_ALL else ctx.rule_set_named(name)
    chosen = _ids(whom)
    ids: Sequence[str | None] = [None] if chosen is None else chosen
    if rule_set is None and chosen is None:
        raise InvalidInput(say("coach_publish.back_for_whom"))
    digest, now = rule_set.digest if rule_set else None, ctx.clock()

    def read(transaction: Transaction) -> list[tuple[Deciding, tuple[Holding, ...]]]:
        decider = Decider.of(transaction, ctx.advisor.library, ctx.rule_set, now.date())
        return [
            (
                decider.deciding(athlete_id),
                decider.after(Change(digest, from_date, athlete_id), now).holds(athlete_id),
            )
            for athlete_id in ids
        ]

    names = _names([whom])
    held = [_held(one, then, names) for one, then in ctx.store.read(read)]
    return Asked(rule_set.full_name if rule_set else "", from_date, whom, held)


def _held(one: Deciding, then: Sequence[Holding] | None, names: dict[str, str]) -> Held:
    name = names.get(one.athlete_id, one.athlete_id) if one.athlete_id else ""
    return Held(
        one.athlete_id,
        name or say("coach_publish.all"),
        _in_words(one.holds),
        _in_words(then) if then is not None else "",
        _in_words(one.after_take_back),
    )


def _in_words(holds: Sequence[Holding]) -> str:
    """Say what decides now, and what from which date on."""
    return ", ".join(
        one.rule_set
        if one.from_date is None
        else say("coach_publish.from_then", date=dated(one.from_date), name=one.rule_set)
        for one in holds
    )


def _names(offered: Sequence[Chosen]) -> dict[str, str]:
    squad: list[Athlete] = [athlete for one in offered for athlete in one.athletes]
    return {athlete.id: athlete.name for athlete in squad}


def _whom(value: str) -> Chosen:
    """Find for whom a change is to be; never everybody in place of somebody who is not there.
    Raises ``InvalidInput``."""
    everybody = say("coach_publish.all")
    offered = context().store.read(lambda b: choices(b, everybody))
    found = next((one for one in offered if one.value == (value or EVERYBODY)), None)
    if found is None or not (found.athletes or found.value == EVERYBODY):
        raise InvalidInput(say("coach_publish.nobody"))
    return found


def _ids(whom: Chosen) -> list[str] | None:
    """The athletes that were chosen; None for all, those who come later among them."""
    return None if whom.value == EVERYBODY else [athlete.id for athlete in whom.athletes]


def _date(text: str) -> date | None:
    return day_of_address(text) if text else None


def _on_trial(roster: Sequence[RosterEntry]) -> RosterEntry | None:
    return next((one for one in roster if one.shadow_since), None)
