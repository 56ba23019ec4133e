"""What can be proved of a rule set, over every morning that can be?

Each answer is a proof, or the smallest example to the contrary, which the evaluator has decided
again. Every question may raise ``NotProved``.
"""

from __future__ import annotations

from collections.abc import Iterable

from dawnrule.errors import EngineDisagreement
from dawnrule.rules.conditions import Condition
from dawnrule.rules.decision import Decision, decision_of
from dawnrule.rules.evaluator import predicate
from dawnrule.rules.rule_set import SCOPES, Rule, RuleSet
from dawnrule.rules.solver import Formula, Solver, Unknown
from dawnrule.vocabulary import FactDictionary, Facts, Scope, Verdict

PROTECTIVE = (Verdict.SWAP, Verdict.REST)
"""The verdicts that take something from the plan."""


class Proofs:
    """Asks about one rule set, and about those that it extends."""

    def __init__(self, rule_set: RuleSet, dictionary: FactDictionary) -> None:
        self._rule_set = rule_set
        self._dictionary = dictionary
        self._place = {rule: place for place, rule in enumerate(rule_set.rules)}
        every = (rule for some in (rule_set, *rule_set.came_from) for rule in some.rules)
        self._fires = {rule: predicate(rule.when) for rule in rule_set.rules}
        self._solver = Solver((rule.when for rule in every), dictionary)
        self._morning = self._solver.unknown()
        self._worse = self._solver.worse(self._morning)
        self._freer = {
            (scope, verdict): self._none_fires(self._saying(scope, verdict), self._worse)
            for scope in SCOPES
            for verdict in PROTECTIVE
        }

    def never_holds(self, condition: Condition) -> bool:
        """Whether there is no morning on which the condition holds."""
        return not self._solver.possible(self._holds(condition))

    def always_holds(self, condition: Condition) -> bool:
        """Whether the condition holds on every morning."""
        return not self._solver.possible(self._fails(condition))

    def fires_on_examples(self, rule: Rule, other: Rule) -> bool:
        """Whether the other fires on each of the rule's examples that the rule fires on."""
        return all(map(self._fires[other], self._shown(rule)))

    def implies(self, rule: Rule, other: Rule) -> bool:
        """Whether the other fires wherever the rule does."""
        return not self._solver.possible(self._holds(rule.when), self._fails(other.when))

    def decided_before(self, rule: Rule) -> tuple[str, ...] | None:
        """The rules, as few as needed, of which one always decides before this one; None when
        there is a morning that this rule decides, as there mostly is among its examples. It must
        have a verdict."""
        if any(self._decided(rule.scope, facts).deciding is rule for facts in self._shown(rule)):
            return None
        silent = {
            other.id: self._fails(other.when)
            for other in self._rule_set.counting_for(rule.scope)
            if self._takes_precedence(other, rule)
        }
        return self._solver.conflict(silent, self._holds(rule.when))

    def freer_when_worse(self, rule: Rule) -> tuple[Decision, Decision, tuple[Facts, ...]] | None:
        """Two mornings, the second with worse facts, and their decisions: the rule fires on the
        first, but the second has a more permissive verdict than the rule's. None when there are
        no such."""
        if rule.verdict not in PROTECTIVE:
            return None
        found = self._solver.smallest(
            [self._morning, self._worse],
            self._holds(rule.when),
            self._freer[rule.scope, rule.verdict],
        )
        if found is None:
            return None
        before, after = (self._decided(rule.scope, facts) for facts in found)
        _agree(rule in before.fired and after.verdict.protection < rule.verdict.protection, found)
        return before, after, found

    def can_be_trained(self, scope: Scope) -> bool:
        """Whether there is a day, or a part, that is trained as planned."""
        protective = self._saying(scope, min(PROTECTIVE, key=lambda v: v.protection))
        return self._solver.possible(self._none_fires(protective, self._morning))

    def unprotected(self, stop: Rule) -> Facts | None:
        """A morning on which a stop rule of what is extended fires, but no stop rule that is left
        says as much; None when there is none."""
        saying = self._saying(stop.scope, stop.verdict)
        left = [rule for rule in saying if rule.is_stop(self._dictionary)]
        nothing = self._none_fires(left, self._morning)
        found = self._solver.smallest([self._morning], self._holds(stop.when), nothing)
        if found is None:
            return None
        [facts] = found
        _agree(predicate(stop.when)(facts) and not any(self._fires[r](facts) for r in left), found)
        return facts

    def comes_before(self, one: Rule, other: Rule) -> bool:
        """Whether a rule stands before another in the file."""
        return self._place[one] < self._place[other]

    def _shown(self, rule: Rule) -> list[Facts]:
        fires = self._fires[rule]
        return [example.facts for example in rule.examples if fires(example.facts)]

    def _decided(self, scope: Scope, facts: Facts) -> Decision:
        rules = self._rule_set.counting_for(scope)
        return decision_of([rule for rule in rules if self._fires[rule](facts)])

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

    def _saying(self, scope: Scope, verdict: Verdict | None) -> list[Rule]:
        counting = self._rule_set.counting_for(scope)
        return [rule for rule in counting if protects(rule, verdict)]


def protects(rule: Rule, verdict: Verdict | None) -> bool:
    """Whether a rule says as much as a verdict; None is a note, and every caution says as much."""
    if verdict is None:
        return rule.verdict is not Verdict.TRAIN
    return rule.verdict is not None and rule.verdict.protection >= verdict.protection


def _agree(evaluator_agrees: bool, facts: tuple[Facts, ...]) -> None:
    if not evaluator_agrees:
        raise EngineDisagreement(f"The solver and the evaluator differ on {facts!r}.")
