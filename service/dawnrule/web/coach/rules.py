"""Which rules are there, how do they read, how do they differ, and how did they do?"""

from __future__ import annotations

from typing import Any

from flask import render_template, request

from dawnrule.advice.proportion import CONFIDENCE, LEAST_MORNINGS
from dawnrule.advice.scorecard import scorecard
from dawnrule.web.coach.frame import coach
from dawnrule.web.coach.rule_sets_known import names_of_rule_sets, standings
from dawnrule.web.coach.rules_page import (
    changes_told,
    never_fired,
    proofs,
    rules_told,
    score_rows,
)
from dawnrule.web.coach.why_page import prose_of
from dawnrule.web.language import composer
from dawnrule.web.service import service


@coach.get("/rule-sets")
def rule_sets() -> str:
    """Every rule set, which of them decides, and which runs in the shadow."""
    return render_template("coach/rule_sets.html", rule_sets=service().store.read(standings))


@coach.get("/rule-sets/<name>/<version>")
def rule_set(name: str, version: str) -> str:
    """One rule set as sentences and as a table, and what its check found; with ``from`` in the
    address, how it differs from another."""
    before = request.args.get("from", "").strip()
    return _difference(name, version, before) if before else _rules(name, version)


@coach.get("/rule-sets/<name>/<version>/scorecard")
def rule_set_scorecard(name: str, version: str) -> str:
    """How often each rule fired and decided, and what happened afterwards."""
    its, speaks = service(), composer()
    found = its.advisor.library.get(name, version)
    card = scorecard(its.store, its.archive.mornings(), found, None, None, its.clock())
    return render_template(
        "coach/scorecard.html",
        rule_set=found,
        card=card,
        rows=score_rows(card, speaks.texts),
        silent=[speaks.texts.of_rule(title) for title in never_fired(card)],
        confidence=f"{CONFIDENCE:.0%}",
        least=LEAST_MORNINGS,
    )


def _rules(name: str, version: str) -> str:
    its, speaks = service(), composer()
    found = its.advisor.library.get(name, version)
    findings = its.publisher.findings(found)
    every = its.store.read(standings)
    return render_template(
        "coach/rule_set.html",
        rule_set=found,
        standing=next(one for one in every if one.digest == found.digest),
        others=[one.full_name for one in every if one.digest != found.digest],
        rules=rules_told(found.rules, prose_of(speaks)),
        findings=findings,
        proofs=proofs(found, findings),
        **_words(),
    )


def _difference(name: str, version: str, before: str) -> str:
    its, speaks = service(), composer()
    one, other = its.rule_set_named(before), its.advisor.library.get(name, version)
    found = its.publisher.difference(one, other)
    prose = prose_of(speaks)
    return render_template(
        "coach/difference.html",
        before=one,
        after=other,
        others=[n for n in its.store.read(names_of_rule_sets) if n != other.full_name],
        found=found,
        added=rules_told([rule for rule in other.rules if rule.id in found["added"]], prose),
        removed=rules_told([rule for rule in one.rules if rule.id in found["removed"]], prose),
        moved=[rule for rule in other.rules if rule.id in found["moved"]],
        changed=changes_told(found, one, other, prose),
        **_words(),
    )


def _words() -> dict[str, Any]:
    """What the templates of rules say facts and rules with."""
    speaks = composer()
    return {"prose": prose_of(speaks), "facts": speaks.dictionary, "of_rule": speaks.texts.of_rule}
