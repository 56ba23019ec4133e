"""Permissiveness: proofs that limits and open concerns only make advice stricter, and that a
version is more permissive than an earlier one only where it states so.

The proofs cover every possible morning.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from itertools import chain

from dawnrule.errors import EngineDisagreement, Finding, NotFound, NotProved
from dawnrule.model import FactDictionary, Facts, Scope, Verdict
from dawnrule.rules.analysis.applicability import concern_facts
from dawnrule.rules.analysis.solver import Formula, Solver, Unknown
from dawnrule.rules.conditions import Condition
from dawnrule.rules.evaluation.decision import decision_of
from dawnrule.rules.limits import as_strict, breaking
from dawnrule.rules.loading.loader import bundled_rule_set
from dawnrule.rules.rule_set import SCOPES, MorePermissive, MorePermissivePlace, Rule, RuleSet
from dawnrule.rules.serialization import in_flow

_PROTECTIVE = (Verdict.SWAP, Verdict.REST)


def permissiveness_findings(rule_set: RuleSet, dictionary: FactDictionary) -> Iterator[Finding]:
    """Yield concerns that give a more permissive verdict, limits that worse facts or concerns
    loosen or that are not kept, and mornings on which a version is more permissive than it states;
    or that it could not be proved."""
    try:
        if any(rule.limits for rule in rule_set.rules) or concern_facts(rule_set, dictionary):
            yield from _Restrictions(rule_set, dictionary).all()
        if rule_set.more_permissive:
            yield from _more_permissive_findings(rule_set, rule_set.more_permissive, dictionary)
    except NotProved as gave_up:
        yield Finding(rule_set.file, 1, None, "not-proved", gave_up.detail)


class _Restrictions:
    """Questions about the limits and the concerns of one rule set."""

    def __init__(self, rule_set: RuleSet, dictionary: FactDictionary) -> None:
        self._rule_set = rule_set
        self._limited = [rule for rule in rule_set.rules if rule.limits]
        broken = [
            test
            for rule in self._limited
            for name, value in rule.limits.given()
            if (test := breaking(name, value))
        ]
        conditions = chain((rule.when for rule in rule_set.rules), broken)
        self._solver = Solver(conditions, dictionary)
        self._morning = self._solver.unknown()
        self._worse = self._solver.worse(self._morning)
        self._concerns = concern_facts(rule_set, dictionary)
        self._with = self._solver.unknown()
        self._without = self._solver.without(self._with, self._concerns)

    def all(self) -> Iterator[Finding]:
        for rule in self._rule_set.rules:
            yield from self._concern_loosens(rule)
        for rule in self._limited:
            yield from self._loosened(rule)
            yield from self._not_kept(rule)

    def _concern_loosens(self, rule: Rule) -> Iterator[Finding]:
        """Yield a morning without any concern on which the rule protects, and the same with one on
        which nothing protects as much."""
        if rule.verdict not in _PROTECTIVE or not self._concerns:
            return
        as_much = [one for one in self._counting(rule) if _protects(one, rule.verdict)]
        found = self._solver.smallest(
            [self._with],
            self._solver.holds(rule.when, self._without),
            self._none_fires(as_much, self._with),
        )
        for facts in found or ():
            before = {name: value for name, value in facts.items() if name not in self._concerns}
            self._agree(rule.fires(before) and self._silent(as_much, facts), facts)
            message = f"with the concern in {in_flow(facts)} nothing protects as much as without it"
            yield self._finding(rule, "concern-loosens", message, (before, facts))

    def _loosened(self, rule: Rule) -> Iterator[Finding]:
        for name, value in rule.limits.given():
            strict = [one for one in self._counting(rule) if self._covers(one, rule, name, value)]
            pairs = [(self._morning, self._worse)]
            if self._concerns:
                pairs.append((self._without, self._with))
            for before, after in pairs:
                if self._solver.possible(
                    self._solver.holds(rule.when, before), self._none_fires(strict, after)
                ):
                    message = f"worse facts or a concern loosen its limit {name}: {value}"
                    yield self._finding(rule, "limit-loosened", message)
                    break

    def _not_kept(self, rule: Rule) -> Iterator[Finding]:
        protective = [one for one in self._rule_set.rules if one.is_protective]
        for name, value in rule.limits.given():
            test = breaking(name, value)
            if test is None:
                continue
            found = self._solver.smallest(
                [self._morning],
                self._solver.holds(rule.when, self._morning),
                self._solver.holds(test, self._morning),
                self._none_fires(protective, self._morning),
            )
            for facts in found or ():
                self._agree(rule.fires(facts) and self._silent(protective, facts), facts)
                message = f"{in_flow(facts)} exceeds its limit {name}, and is trained as planned"
                yield self._finding(rule, "limit-not-kept", message, (facts,))

    def _counting(self, rule: Rule) -> Sequence[Rule]:
        return self._rule_set.counting_for(rule.scope)

    def _covers(self, other: Rule, rule: Rule, name: str, value: object) -> bool:
        """Tell whether another rule limits as strictly, or protects more than the rule does."""
        theirs = dict(other.limits.given()).get(name)
        if theirs is not None and as_strict(theirs, name, value):
            return True
        ours = rule.verdict.protection if rule.verdict else 0
        return other.verdict is not None and other.verdict.protection > ours

    def _none_fires(self, rules: Iterable[Rule], on: Unknown) -> Formula:
        return _none_holds((rule.when for rule in rules), on, self._solver)

    def _silent(self, rules: Iterable[Rule], facts: Facts) -> bool:
        return not any(rule.fires(facts) for rule in rules)

    def _agree(self, agreed: bool, facts: Facts) -> None:
        if not agreed:
            raise EngineDisagreement(f"The solver and the evaluator differ on {facts!r}.")

    def _finding(
        self, rule: Rule, code: str, message: str, inputs: tuple[Facts, ...] = ()
    ) -> Finding:
        return Finding(self._rule_set.file, rule.line, rule.id, code, message, inputs)


def _more_permissive_findings(
    rule_set: RuleSet, stated: MorePermissive, dictionary: FactDictionary
) -> Iterator[Finding]:
    """Yield mornings without any concern or return on which the earlier version protects more and
    which none of the stated places covers; and places that are not needed."""
    name, _, version = stated.than.partition("@")
    try:
        earlier = bundled_rule_set(name, version)
    except NotFound as missing:
        yield Finding(rule_set.file, 1, None, "more-permissive", missing.detail)
        return
    conditions = [rule.when for rule in (*earlier.rules, *rule_set.rules)]
    solver = Solver([*conditions, *(place.when for place in stated.where)], dictionary)
    morning = solver.unknown()
    for scope in SCOPES:
        places = [place for place in stated.where if place.scope == scope]
        for verdict in _PROTECTIVE:
            named = [one for one in places if one.also_from_rest or verdict is not Verdict.REST]
            facts = _more_permissive_facts(
                earlier, rule_set, scope, verdict, solver, morning, named
            )
            if facts is not None:
                one, other = (_decided(rules, scope, facts) for rules in (earlier, rule_set))
                message = f"{stated.than} says {one} on {in_flow(facts)} ({scope}), this {other}"
                yield Finding(rule_set.file, 1, None, "more-permissive", message, (facts,))
        for place in places:
            if not any(
                _more_permissive_facts(earlier, rule_set, scope, verdict, solver, morning, others)
                for verdict, others in _without(place, places)
            ):
                message = f"nothing is more permissive by {place.id}; take the place out"
                yield Finding(rule_set.file, place.line, None, "more-permissive", message)


def _without(
    place: MorePermissivePlace, places: Sequence[MorePermissivePlace]
) -> Iterator[tuple[Verdict, list[MorePermissivePlace]]]:
    """Yield the other places, for each verdict that a place is for."""
    for verdict in _PROTECTIVE:
        if place.also_from_rest or verdict is not Verdict.REST:
            yield (
                verdict,
                [
                    one
                    for one in places
                    if one is not place and (one.also_from_rest or verdict is not Verdict.REST)
                ],
            )


def _more_permissive_facts(
    earlier: RuleSet,
    later: RuleSet,
    scope: Scope,
    verdict: Verdict,
    solver: Solver,
    morning: Unknown,
    places: Sequence[MorePermissivePlace],
) -> Facts | None:
    formulas = _more_permissive_formulas(earlier, later, scope, verdict, solver, morning)
    named = [place.when for place in places]
    found = solver.smallest([morning], *formulas, _none_holds(named, morning, solver))
    return found[0] if found else None


def _more_permissive_formulas(
    earlier: RuleSet,
    later: RuleSet,
    scope: Scope,
    verdict: Verdict,
    solver: Solver,
    morning: Unknown,
) -> list[Formula]:
    """State that the earlier version protects at least as much as a verdict, and the later one
    less."""
    before = [rule.when for rule in earlier.counting_for(scope) if _protects(rule, verdict)]
    after = [rule.when for rule in later.counting_for(scope) if _protects(rule, verdict)]
    return [
        solver.either(solver.holds(when, morning) for when in before),
        _none_holds(after, morning, solver),
    ]


def _decided(rule_set: RuleSet, scope: Scope, facts: Facts) -> Verdict:
    fired = [rule for rule in rule_set.counting_for(scope) if rule.fires(facts)]
    return decision_of(fired).verdict


def _none_holds(conditions: Iterable[Condition], on: Unknown, solver: Solver) -> Formula:
    return solver.negation(solver.either(solver.holds(when, on) for when in conditions))


def _protects(rule: Rule, verdict: Verdict) -> bool:
    return rule.verdict is not None and rule.verdict.protection >= verdict.protection
