"""Safety: the proof that a rule set always rests for a warning sign, a fever or joint pain.

The values that always mean rest stand in ``rules/facts.yaml`` under ``rests``; those with which no
block is trained as planned, under ``holds_back``. A rule set that does not always act on them
decides for nobody. Facts of open concerns bind only rule sets that read any such fact: older ones
were written before there were concerns.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from dawnrule.errors import EngineDisagreement, Finding, NotProved
from dawnrule.model import FactDictionary, Facts, Verdict
from dawnrule.rules.conditions import Operator, Test
from dawnrule.rules.engine.dnf import (
    Conjunction,
    TooManyConjunctionsError,
    disjunctive_normal_form,
)
from dawnrule.rules.engine.limits import MAX_CONJUNCTIONS
from dawnrule.rules.evaluation.decision import decision_of
from dawnrule.rules.evaluation.evaluator import predicate
from dawnrule.rules.rule_set import Rule, RuleSet
from dawnrule.rules.serialization import in_flow


def safety_findings(rule_set: RuleSet, dictionary: FactDictionary) -> Iterator[Finding]:
    """Yield one finding with every stop that does not always mean rest, and the smallest morning
    for each; or that it could not be proved. A part rule does not count for a fact of the day, as a
    day may have no parts."""
    doubts = _in_doubt(rule_set, dictionary)
    if not doubts:
        return
    try:
        mornings = _mornings(rule_set, dictionary, doubts)
    except NotProved as gave_up:
        yield Finding(rule_set.file, 1, None, "not-proved", gave_up.detail)
        return
    if mornings:
        yield _finding(rule_set, dictionary, mornings)


def _in_doubt(rule_set: RuleSet, dictionary: FactDictionary) -> list[Test]:
    """List the stops for which no single rule always rests: mostly none, and then the solver, which
    is large and slow to start, is not needed."""
    alternatives = {rule: _alternatives(rule) for rule in rule_set.rules}
    return [
        stop
        for stop in _stops(rule_set, dictionary)
        if not any(
            _always_fires(alternatives[rule], stop) for rule in _resting(rule_set, dictionary, stop)
        )
    ]


def _alternatives(rule: Rule) -> Sequence[Conjunction]:
    """List the conjunctions of a rule that ask for one fact alone; none where there are too many,
    as the solver may still prove what the rule does."""
    try:
        conjunctions = disjunctive_normal_form(rule.when, MAX_CONJUNCTIONS)
    except TooManyConjunctionsError:
        return ()
    return [one for one in conjunctions if len({required.test.fact for required in one}) <= 1]


def _stops(rule_set: RuleSet, dictionary: FactDictionary) -> Iterator[Test]:
    knows_concerns = any(dictionary[f].remembered for rule in rule_set.rules for f in rule.reads)
    for name, definition in dictionary.items():
        if knows_concerns or not definition.remembered:
            for value in (*definition.rests, *definition.holds_back):
                yield Test(name, Operator.IS, value)


def _resting(rule_set: RuleSet, dictionary: FactDictionary, stop: Test) -> list[Rule]:
    """List the rules at least as strict as the stop requires: rest, or not as planned."""
    definition = dictionary[stop.fact]
    counting = rule_set.counting_for(definition.scope)
    least = Verdict.REST if stop.value in definition.rests else Verdict.SWAP
    return [
        rule for rule in counting if rule.verdict and rule.verdict.protection >= least.protection
    ]


def _always_fires(conjunctions: Sequence[Conjunction], stop: Test) -> bool:
    """Tell whether a rule fires wherever the stop holds, whatever else was reported: whether one of
    its conjunctions asks for nothing else."""
    [value] = stop.values
    return any(
        all(
            required.test.fact == stop.fact
            and predicate(required.test)({stop.fact: value}) is required.holds
            for required in conjunction
        )
        for conjunction in conjunctions
    )


def _mornings(
    rule_set: RuleSet, dictionary: FactDictionary, doubts: Sequence[Test]
) -> list[tuple[Test, Facts]]:
    """Find the stops that do not always mean rest, each with the smallest morning. Raises
    ``NotProved``."""
    # The solver is large, and only a doubt needs it.
    from dawnrule.rules.analysis.solver import Solver

    solver = Solver([*(rule.when for rule in rule_set.rules), *doubts], dictionary)
    morning = solver.unknown()
    found = []
    for stop in doubts:
        resting = _resting(rule_set, dictionary, stop)
        fire = (solver.holds(rule.when, morning) for rule in resting)
        silent = solver.negation(solver.either(fire))
        for facts in solver.smallest([morning], solver.holds(stop, morning), silent) or ():
            if not predicate(stop)(facts) or any(r.fires(facts) for r in resting):
                raise EngineDisagreement(f"The solver and the evaluator differ on {facts!r}.")
            found.append((stop, facts))
    return found


def _finding(
    rule_set: RuleSet, dictionary: FactDictionary, mornings: Sequence[tuple[Test, Facts]]
) -> Finding:
    labels = ", ".join(_label(stop, dictionary) for stop, _ in mornings)
    stop, facts = mornings[0]
    counting = rule_set.counting_for(dictionary[stop.fact].scope)
    verdict = decision_of([rule for rule in counting if rule.fires(facts)]).verdict
    message = f"not always rest with {labels}: {in_flow(facts)} gives {verdict}"
    inputs = tuple(facts for _, facts in mornings)
    return Finding(rule_set.file, 1, None, "warning-sign-not-heeded", message, inputs)


def _label(stop: Test, dictionary: FactDictionary) -> str:
    label = dictionary[stop.fact].label
    return label if stop.value is True else f"{label} {stop.value}"
