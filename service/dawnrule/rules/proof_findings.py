"""Which faults of a rule set show only when every morning that can be is considered?"""

from __future__ import annotations

from collections.abc import Iterator

from dawnrule.errors import Finding, NotProved
from dawnrule.rules.conditions import All, AnyOf, AtLeast, Condition, NoneOf, Signal
from dawnrule.rules.plain import condition_to_plain, in_flow
from dawnrule.rules.proofs import Proofs
from dawnrule.rules.rule_set import SCOPES, Rule, RuleSet
from dawnrule.vocabulary import FactDictionary, Facts


def proof_findings(rule_set: RuleSet, dictionary: FactDictionary) -> Iterator[Finding]:
    """Conditions that never or always hold, rules that never decide or change nothing, worse facts
    that buy a more permissive verdict, plans that can never be trained, stop rules that an
    extension weakened."""
    try:
        yield from _ProofFindings(rule_set, dictionary).all()
    except NotProved as gave_up:
        yield Finding(rule_set.file, 1, None, "not-proved", gave_up.detail)


class _ProofFindings:
    def __init__(self, rule_set: RuleSet, dictionary: FactDictionary) -> None:
        self._rule_set = rule_set
        self._dictionary = dictionary
        self._proofs = Proofs(rule_set, dictionary)

    def all(self) -> Iterator[Finding]:
        for rule in self._rule_set.rules:
            never = list(self._never_holds(rule))
            yield from never or self._of_a_rule_that_can_fire(rule)
        yield from self._never_trained()
        yield from self._weaker_stops()

    def _of_a_rule_that_can_fire(self, rule: Rule) -> Iterator[Finding]:
        yield from self._always_holds(rule)
        yield from self._superfluous(rule)
        if not rule.is_note:
            yield from self._never_decides(rule)
            yield from self._not_monotone(rule)

    def _never_holds(self, rule: Rule) -> Iterator[Finding]:
        """The first, and of nested ones the innermost, condition that cannot come true."""
        for condition in filter(self._proofs.never_holds, _inside_first(rule.when)):
            yield self._finding(rule, "contradictory", f"{_shown(condition)} can never hold")
            return

    def _always_holds(self, rule: Rule) -> Iterator[Finding]:
        for condition in filter(self._proofs.always_holds, _inside_first(rule.when)):
            yield self._finding(rule, "always-true", f"{_shown(condition)} always holds")
            return

    def _superfluous(self, rule: Rule) -> Iterator[Finding]:
        """A rule before this one that means the same, or one after it that makes it superfluous;
        where the latter stands before it, this rule never decides."""
        for other in self._that_may_cover(rule):
            same = other.scope == rule.scope and self._proofs.implies(other, rule)
            before = self._proofs.comes_before(other, rule)
            if same and before:
                message = f"it means the same as {other.id}: each fires wherever the other does"
                yield self._finding(rule, "duplicate", message)
                return
            if not (same or before or rule.is_note):
                message = f"it changes no verdict: wherever it fires, {other.id} does as well"
                yield self._finding(rule, "subsumed", message)
                return

    def _that_may_cover(self, rule: Rule) -> Iterator[Rule]:
        """The rules of the same verdict that fire wherever this one does. The examples spare most
        of the proofs."""
        for other in self._rule_set.counting_for(rule.scope):
            if (
                other is not rule
                and other.verdict is rule.verdict
                and self._proofs.fires_on_examples(rule, other)
                and self._proofs.implies(rule, other)
            ):
                yield other

    def _never_decides(self, rule: Rule) -> Iterator[Finding]:
        before = self._proofs.decided_before(rule)
        if before is not None:
            message = f"it never decides: wherever it fires, so does {' or '.join(before)}"
            yield self._finding(rule, "unreachable", message)

    def _not_monotone(self, rule: Rule) -> Iterator[Finding]:
        found = self._proofs.freer_when_worse(rule)
        if found is not None:
            before, after, mornings = found
            message = (
                f"worse facts buy a more permissive verdict: {in_flow(mornings[0])} gives "
                f"{before.verdict}, but {in_flow(mornings[1])} gives {after.verdict}"
            )
            yield self._finding(rule, "not-monotone", message, mornings)

    def _never_trained(self) -> Iterator[Finding]:
        for scope in SCOPES:
            if not self._proofs.can_be_trained(scope):
                message = f"no {scope} is ever trained as planned, whatever was reported"
                yield Finding(self._rule_set.file, 1, None, "never-train", message)

    def _weaker_stops(self) -> Iterator[Finding]:
        extension = self._rule_set.extension
        if extension is None:
            return
        said_at = {change.rule: change.line for change in extension.changed}
        said_at |= {off.rule: off.line for off in extension.off}
        for stop in extension.of.rules:
            facts = self._proofs.unprotected(stop) if stop.is_stop(self._dictionary) else None
            if facts is not None:
                message = (
                    f"it may be made stricter, never weaker or switched off: on {in_flow(facts)} "
                    f"{extension.of.full_name} says {stop.verdict or 'a caution'}, and nothing "
                    "here says as much"
                )
                line = said_at.get(stop.id, 1)
                file = self._rule_set.file
                yield Finding(file, line, stop.id, "weaker-stop", message, (facts,))

    def _finding(
        self, rule: Rule, code: str, message: str, inputs: tuple[Facts, ...] = ()
    ) -> Finding:
        return Finding(self._rule_set.file, rule.line, rule.id, code, message, inputs)


def _inside_first(condition: Condition) -> Iterator[Condition]:
    """The conditions inside of a condition, each before the one that it stands in."""
    match condition:
        case Signal(condition=inner):
            yield from _inside_first(inner)
        case All(conditions) | AnyOf(conditions) | NoneOf(conditions) | AtLeast(_, conditions):
            for inner in conditions:
                yield from _inside_first(inner)
    yield condition


def _shown(condition: Condition) -> str:
    return in_flow(condition_to_plain(condition))
