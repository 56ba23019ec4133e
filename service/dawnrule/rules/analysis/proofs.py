"""Proofs about a rule set over every possible morning, and the findings that follow from them.

Each answer is a proof, or the smallest counterexample, which the evaluator has verified. Every
question may raise ``NotProved``; ``proof_findings`` turns that into a finding.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from dawnrule.errors import EngineDisagreement, Finding, NotProved
from dawnrule.model import FactDictionary, Facts, Scope, Verdict
from dawnrule.rules.analysis.solver import Formula, Solver, Unknown
from dawnrule.rules.conditions import Condition, walk
from dawnrule.rules.evaluation.decision import Decision, decision_of
from dawnrule.rules.rule_set import SCOPES, Rule, RuleSet
from dawnrule.rules.serialization import condition_to_json, in_flow

PROTECTIVE = (Verdict.SWAP, Verdict.REST)
"""The verdicts that restrict the plan."""


class Proofs:
    """Questions about one rule set, and about those that it extends."""

    def __init__(self, rule_set: RuleSet, dictionary: FactDictionary) -> None:
        self._rule_set = rule_set
        self._dictionary = dictionary
        self._place = {rule: place for place, rule in enumerate(rule_set.rules)}
        every = (rule for some in (rule_set, *rule_set.ancestors) for rule in some.rules)
        self._solver = Solver((rule.when for rule in every), dictionary)
        self._morning = self._solver.unknown()
        self._worse = self._solver.worse(self._morning)
        self._more_permissive = {
            (scope, verdict): self._none_fires(self._as_strict_as(scope, verdict), self._worse)
            for scope in SCOPES
            for verdict in PROTECTIVE
        }

    def never_holds(self, condition: Condition) -> bool:
        """Tell whether the condition holds on no morning."""
        return not self._solver.possible(self._holds(condition))

    def always_holds(self, condition: Condition) -> bool:
        """Tell whether the condition holds on every morning."""
        return not self._solver.possible(self._fails(condition))

    def fires_on_examples(self, rule: Rule, other: Rule) -> bool:
        """Tell whether the other fires on each of the rule's examples that the rule fires on."""
        return all(map(other.fires, self._firing_examples(rule)))

    def implies(self, rule: Rule, other: Rule) -> bool:
        """Tell whether the other fires wherever the rule does."""
        return not self._solver.possible(self._holds(rule.when), self._fails(other.when))

    def decided_before(self, rule: Rule) -> tuple[str, ...] | None:
        """Find the rules, as few as needed, of which one always decides before this one; None when
        this rule decides some morning, often one of its examples. It must have a verdict."""
        if any(
            self._decided(rule.scope, facts).deciding is rule
            for facts in self._firing_examples(rule)
        ):
            return None
        silent = {
            other.id: self._fails(other.when)
            for other in self._rule_set.counting_for(rule.scope)
            if self._takes_precedence(other, rule)
        }
        return self._solver.conflict(silent, self._holds(rule.when))

    def more_permissive_when_worse(
        self, rule: Rule
    ) -> tuple[Decision, Decision, tuple[Facts, ...]] | None:
        """Find two mornings, the second with worse facts, and their decisions: the rule fires on
        the first, but the second has a more permissive verdict than the rule's. None when there are
        none."""
        if rule.verdict not in PROTECTIVE:
            return None
        found = self._solver.smallest(
            [self._morning, self._worse],
            self._holds(rule.when),
            self._more_permissive[rule.scope, rule.verdict],
        )
        if found is None:
            return None
        before, after = (self._decided(rule.scope, facts) for facts in found)
        _agree(rule in before.fired and after.verdict.protection < rule.verdict.protection, found)
        return before, after, found

    def can_be_trained(self, scope: Scope) -> bool:
        """Tell whether some day, or some part, is trained as planned."""
        protective = self._as_strict_as(scope, min(PROTECTIVE, key=lambda v: v.protection))
        return self._solver.possible(self._none_fires(protective, self._morning))

    def unprotected(self, stop: Rule) -> Facts | None:
        """Find a morning on which a stop rule of the extended rule set fires, but no remaining stop
        rule is as strict; None when there is none."""
        strict = self._as_strict_as(stop.scope, stop.verdict)
        left = [rule for rule in strict if rule.is_stop(self._dictionary)]
        nothing = self._none_fires(left, self._morning)
        found = self._solver.smallest([self._morning], self._holds(stop.when), nothing)
        if found is None:
            return None
        [facts] = found
        _agree(stop.fires(facts) and not any(r.fires(facts) for r in left), found)
        return facts

    def comes_before(self, one: Rule, other: Rule) -> bool:
        """Tell whether a rule stands before another in the file."""
        return self._place[one] < self._place[other]

    def _firing_examples(self, rule: Rule) -> list[Facts]:
        fires = rule.fires
        return [example.facts for example in rule.examples if fires(example.facts)]

    def _decided(self, scope: Scope, facts: Facts) -> Decision:
        rules = self._rule_set.counting_for(scope)
        return decision_of([rule for rule in rules if rule.fires(facts)])

    def _takes_precedence(self, other: Rule, rule: Rule) -> bool:
        if other is rule or not protects(other, rule.verdict) or other.is_note:
            return False
        return other.verdict is not rule.verdict or self.comes_before(other, rule)

    def _holds(self, condition: Condition) -> Formula:
        return self._solver.holds(condition, self._morning)

    def _fails(self, condition: Condition) -> Formula:
        return self._solver.negation(self._holds(condition))

    def _none_fires(self, rules: Iterable[Rule], on: Unknown) -> Formula:
        fire = (self._solver.holds(rule.when, on) for rule in rules)
        return self._solver.negation(self._solver.either(fire))

    def _as_strict_as(self, scope: Scope, verdict: Verdict | None) -> list[Rule]:
        counting = self._rule_set.counting_for(scope)
        return [rule for rule in counting if protects(rule, verdict)]


def protects(rule: Rule, verdict: Verdict | None) -> bool:
    """Tell whether a rule is as strict as a verdict; None is a note, and every caution is as
    strict."""
    if verdict is None:
        return rule.verdict is not Verdict.TRAIN
    return rule.verdict is not None and rule.verdict.protection >= verdict.protection


def _agree(evaluator_agrees: bool, facts: tuple[Facts, ...]) -> None:
    if not evaluator_agrees:
        raise EngineDisagreement(f"The solver and the evaluator differ on {facts!r}.")


def proof_findings(rule_set: RuleSet, dictionary: FactDictionary) -> Iterator[Finding]:
    """Yield conditions that never or always hold, rules that never decide or change nothing, worse
    facts that give a more permissive verdict, plans that can never be trained, and stop rules that
    an extension weakened."""
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
        """Yield the first, and of nested ones the innermost, condition that cannot hold."""
        for condition in filter(self._proofs.never_holds, walk(rule.when)):
            yield self._finding(rule, "contradictory", f"{_in_flow(condition)} can never hold")
            return

    def _always_holds(self, rule: Rule) -> Iterator[Finding]:
        for condition in filter(self._proofs.always_holds, walk(rule.when)):
            yield self._finding(rule, "always-true", f"{_in_flow(condition)} always holds")
            return

    def _superfluous(self, rule: Rule) -> Iterator[Finding]:
        """Yield a rule before this one that means the same, or one after it that makes it
        superfluous; if the latter stands before it, this rule never decides."""
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
        """Yield the rules of the same verdict that fire wherever this one does. The examples spare
        most of the proofs."""
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
        found = self._proofs.more_permissive_when_worse(rule)
        if found is not None:
            before, after, mornings = found
            message = (
                f"worse facts lead to a more permissive verdict: {in_flow(mornings[0])} gives "
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
        line_of = {change.rule: change.line for change in extension.changed}
        line_of |= {off.rule: off.line for off in extension.off}
        for stop in extension.of.rules:
            facts = self._proofs.unprotected(stop) if stop.is_stop(self._dictionary) else None
            if facts is not None:
                message = (
                    f"it may be made stricter, never weaker or switched off: on {in_flow(facts)} "
                    f"{extension.of.full_name} says {stop.verdict or 'a caution'}, and nothing "
                    "here says as much"
                )
                line = line_of.get(stop.id, 1)
                file = self._rule_set.file
                yield Finding(file, line, stop.id, "weaker-stop", message, (facts,))

    def _finding(
        self, rule: Rule, code: str, message: str, inputs: tuple[Facts, ...] = ()
    ) -> Finding:
        return Finding(self._rule_set.file, rule.line, rule.id, code, message, inputs)


def _in_flow(condition: Condition) -> str:
    return in_flow(condition_to_json(condition))
