"""Rule sets on the coach's pages: roster, text, differences and scorecard."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from flask import render_template, request

from dawnrule.analytics.scorecard import (
    CONFIDENCE,
    LEAST_MORNINGS,
    Score,
    Scorecard,
    Share,
    scorecard,
)
from dawnrule.i18n.catalog import Texts
from dawnrule.model import FactDictionary
from dawnrule.rules.analysis.applicability import applicable_codes
from dawnrule.rules.analysis.diff import Difference, FieldChange, is_condition, lines_only_in
from dawnrule.rules.analysis.findings import ReportedFinding, proved
from dawnrule.rules.rule_set import Rule, RuleSet
from dawnrule.rules.text import Line, Prose
from dawnrule.web.coach.layout import coach
from dawnrule.web.coach.why_view import prose_of
from dawnrule.web.context import context
from dawnrule.web.http.locale import composer

SHARES_SHOWN = (("session", "done"), ("output", "held"), ("soreness_next_day", "rose"))
"""What followed, of which the page tells the share: outcome, and what it was."""

_WHEN = "when"


@dataclass(frozen=True, slots=True)
class RuleText:
    """A rule as a sentence with the lines under it, and its condition alone."""

    rule: Rule
    prose: Line
    condition: Line


@dataclass(frozen=True, slots=True)
class FieldDifference:
    """A field of a rule before and after: as a line of prose, or as texts of what each has and the
    other lacks."""

    name: str
    before: Line | None
    after: Line | None
    only_before: tuple[str, ...] = ()
    only_after: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class RuleDifference:
    """A rule of both rule sets that differs."""

    rule: Rule
    fields: tuple[FieldDifference, ...]


@dataclass(frozen=True, slots=True)
class ScoreRow:
    """The shares of one rule, or of all mornings (``rule_id`` None; without fired and decided), in
    words."""

    rule_id: str | None
    title: str
    fired: str
    decided: str
    after: tuple[str, ...]


def rule_texts(rules: Sequence[Rule], prose: Prose) -> tuple[RuleText, ...]:
    """Describe rules in their order."""
    return tuple(RuleText(rule, prose.rule(rule), prose.condition(rule.when)) for rule in rules)


def proofs(rule_set: RuleSet, findings: Sequence[ReportedFinding]) -> list[str]:
    """List what the check of a rule set proved."""
    applicable = applicable_codes(rule_set, FactDictionary.bundled())
    return proved(findings, extends=rule_set.extension is not None, applicable=applicable)


def rule_changes(
    difference: Difference, before: RuleSet, after: RuleSet, prose: Prose
) -> tuple[RuleDifference, ...]:
    """Describe the rules of both that differ, with conditions as prose."""
    old = {rule.id: rule for rule in before.rules}
    new = {rule.id: rule for rule in after.rules}
    return tuple(
        RuleDifference(
            new[change.rule],
            tuple(_field(f, old[change.rule], new[change.rule], prose) for f in change.fields),
        )
        for change in difference.changed
    )


def _field(field: FieldChange, old: Rule, new: Rule, prose: Prose) -> FieldDifference:
    """Describe a field; a signal that means different conditions in both is described within
    them."""
    name, before, after = field.field, field.before, field.after
    if is_condition(name):
        return FieldDifference(_WHEN, prose.condition(old.when), prose.condition(new.when))
    only = lines_only_in(name, before, after), lines_only_in(name, after, before)
    return FieldDifference(name, None, None, *only)


def score_rows(card: Scorecard, texts: Texts) -> list[ScoreRow]:
    """List all mornings, and then each rule that fired."""
    all_mornings = ScoreRow(
        None, texts.say("coach_rules.all_mornings"), "", "", _after(card.all_mornings, texts)
    )
    rules = (
        ScoreRow(
            rule.rule,
            texts.of_rule(rule.title),
            share_text(rule.fired, texts),
            share_text(rule.decided, texts),
            _after(rule.after, texts),
        )
        for rule in card.rules
        if rule.fired.count
    )
    return [all_mornings, *rules]


def never_fired(card: Scorecard) -> Iterator[str]:
    """Yield the titles of the rules that fired on no morning."""
    return (rule.title for rule in card.rules if not rule.fired.count)


def share_text(share: Share, texts: Texts) -> str:
    """Write ``7 of 12: 58 % (32 % to 81 %)``, the interval with 95 % confidence; no share of too
    few mornings."""
    if share.share is None or share.low is None or share.high is None:
        return texts.say("coach_rules.counted", count=share.count, of=share.of)
    return texts.say(
        "coach_rules.share",
        count=share.count,
        of=share.of,
        share=f"{share.share:.0%}",
        low=f"{share.low:.0%}",
        high=f"{share.high:.0%}",
    )


def _after(score: Score, texts: Texts) -> tuple[str, ...]:
    return tuple(share_text(score.outcomes[outcome][what], texts) for outcome, what in SHARES_SHOWN)


@coach.get("/rule-sets")
def rule_sets() -> str:
    """Show the roster: every rule set, which decides, and which runs in the shadow."""
    return render_template("coach/rule_sets.html", rule_sets=context().roster())


@coach.get("/rule-sets/<name>/<version>")
def rule_set(name: str, version: str) -> str:
    """Show one rule set as sentences and as a table, with the findings of its check; with ``from``
    in the address, how it differs from another."""
    before = request.args.get("from", "").strip()
    return _difference(name, version, before) if before else _rules(name, version)


@coach.get("/rule-sets/<name>/<version>/scorecard")
def rule_set_scorecard(name: str, version: str) -> str:
    """Show how often each rule fired and decided, and what followed."""
    ctx, localized = context(), composer()
    found = ctx.advisor.library.get(name, version)
    card = scorecard(ctx.store, ctx.archive.mornings(), found, None, None, ctx.clock())
    return render_template(
        "coach/scorecard.html",
        rule_set=found,
        card=card,
        rows=score_rows(card, localized.texts),
        silent=[localized.texts.of_rule(title) for title in never_fired(card)],
        confidence=f"{CONFIDENCE:.0%}",
        least=LEAST_MORNINGS,
    )


def _rules(name: str, version: str) -> str:
    ctx, localized = context(), composer()
    found = ctx.advisor.library.get(name, version)
    findings = ctx.publisher.findings(found)
    every = ctx.roster()
    return render_template(
        "coach/rule_set.html",
        rule_set=found,
        entry=next(one for one in every if one.digest == found.digest),
        others=[one.full_name for one in every if one.digest != found.digest],
        rules=rule_texts(found.rules, prose_of(localized)),
        findings=findings,
        proofs=proofs(found, findings),
        **_words(),
    )


def _difference(name: str, version: str, before: str) -> str:
    ctx, localized = context(), composer()
    one, other = ctx.rule_set_named(before), ctx.advisor.library.get(name, version)
    found = ctx.publisher.difference(one, other)
    prose = prose_of(localized)
    return render_template(
        "coach/difference.html",
        before=one,
        after=other,
        others=[name for name in ctx.rule_set_names() if name != other.full_name],
        found=found,
        added=rule_texts([rule for rule in other.rules if rule.id in found.added], prose),
        removed=rule_texts([rule for rule in one.rules if rule.id in found.removed], prose),
        moved=[rule for rule in other.rules if rule.id in found.moved],
        changed=rule_changes(found, one, other, prose),
        **_words(),
    )


def _words() -> dict[str, Any]:
    """Return what templates need to put facts and rules into words."""
    localized = composer()
    return {
        "prose": prose_of(localized),
        "facts": localized.dictionary,
        "of_rule": localized.texts.of_rule,
    }
