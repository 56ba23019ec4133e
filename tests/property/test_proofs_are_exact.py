"""Proofs against exhaustive search: the solver answers what trying every morning answers.

Random rule sets over few facts are small enough to try every value that the rules can tell apart.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import product

from hypothesis import given, settings
from hypothesis import strategies as st

from dawnrule.model import Facts, FactValue, Verdict
from dawnrule.rules.analysis import partition
from dawnrule.rules.analysis.proofs import Proofs
from dawnrule.rules.analysis.solver import Solver
from dawnrule.rules.conditions import Condition, Operator, Test, all_of
from dawnrule.rules.conditions import tests_of as each_test
from dawnrule.rules.evaluation.decision import decision_of
from dawnrule.rules.evaluation.evaluator import predicate
from dawnrule.rules.rule_set import Rule, RuleSet
from tests.effort import tries
from tests.factories import a_rule, a_rule_set
from tests.property.rule_strategies import DICTIONARY, VERDICTS, boundary_values, conditions

TRIED = (
    ("soreness", "sleep_hours"),
    ("illness", "soreness"),
    ("eccentric_load", "joint_pain"),
    ("goal", "hours_since_growth_work"),
)
"""Pairs of facts: worse when higher, lower, later, true, and without a worse direction."""


@st.composite
def small_rule_sets(draw: st.DrawFn) -> RuleSet:
    facts = draw(st.sampled_from(TRIED))
    when = draw(st.lists(conditions(facts, depth=2), min_size=1, max_size=4))
    return a_rule_set(
        a_rule(condition, f"rule-{number}", "part", draw(st.sampled_from(VERDICTS)))
        for number, condition in enumerate(when)
    )


def mornings(rule_set: RuleSet) -> Iterator[Facts]:
    """Yield every morning that the rules can tell apart, those of the fewest facts first."""
    values = partition.representative_values((rule.when for rule in rule_set.rules), DICTIONARY)
    choices = product(*([None, *of_fact] for of_fact in values.values()))
    all_facts = [
        {fact: v for fact, v in zip(values, chosen, strict=True) if v is not None}
        for chosen in choices
    ]
    yield from sorted(all_facts, key=len)


def verdict(rule_set: RuleSet, facts: Facts) -> Verdict:
    return decision_of([r for r in rule_set.rules if predicate(r.when)(facts)]).verdict


def is_worse(before: Facts, after: Facts) -> bool:
    """Tell whether the same facts are reported, each the same or worse."""
    if before.keys() != after.keys():
        return False
    return all(_as_bad(fact, before[fact], after[fact]) for fact in before)


def _as_bad(fact: str, before: FactValue, after: FactValue) -> bool:
    definition = DICTIONARY[fact]
    order = definition.values or (False, True)

    def rank(value: FactValue) -> float:
        return float(value) if definition.is_numeric else order.index(value)

    if definition.worse == "none":
        return before == after
    if definition.worse in ("higher", "later", "true"):
        return rank(before) <= rank(after)
    return rank(after) <= rank(before)


@settings(max_examples=tries(30, 150), deadline=None)
@given(rule_set=small_rule_sets())
def test_worse_facts_buy_nothing_just_when_no_pair_of_mornings_shows_it(rule_set: RuleSet) -> None:
    every = [(facts, verdict(rule_set, facts).protection) for facts in mornings(rule_set)]
    shown = [
        len(before)
        for before, protection in every
        for after, protection_after in every
        if protection_after < protection and is_worse(before, after)
    ]
    found = [
        pair
        for pair in map(Proofs(rule_set, DICTIONARY).more_permissive_when_worse, rule_set.rules)
        if pair
    ]
    assert bool(found) == bool(shown)
    for before, after, (facts, worse) in found:
        assert before.verdict.protection > after.verdict.protection
        assert is_worse(facts, worse)
    if found:
        assert min(len(facts) for _, _, (facts, _) in found) == min(shown)


@settings(max_examples=tries(30, 150), deadline=None)
@given(rule_set=small_rule_sets())
def test_a_rule_never_decides_just_when_it_decides_no_morning(rule_set: RuleSet) -> None:
    every = [
        decision_of([rule for rule in rule_set.rules if predicate(rule.when)(facts)])
        for facts in mornings(rule_set)
    ]
    deciding = {decision.deciding for decision in every}
    proofs = Proofs(rule_set, DICTIONARY)
    for rule in rule_set.rules:
        if not rule.is_note:
            before = proofs.decided_before(rule)
            assert (before is None) == (rule in deciding)


@settings(max_examples=tries(30, 150), deadline=None)
@given(rule_set=small_rule_sets())
def test_rules_imply_each_other_just_when_every_morning_says_so(rule_set: RuleSet) -> None:
    every = list(mornings(rule_set))
    proofs = Proofs(rule_set, DICTIONARY)
    for one, other in product(rule_set.rules, repeat=2):
        assert proofs.implies(one, other) == all(
            predicate(other.when)(facts) for facts in every if predicate(one.when)(facts)
        )


@settings(max_examples=tries(50, 300), deadline=None)
@given(data=st.data())
def test_a_condition_means_the_same_to_the_solver_and_to_the_evaluator(data: st.DataObject) -> None:
    """This includes the floats next to each threshold."""
    facts_tested = data.draw(st.sampled_from(TRIED))
    condition = data.draw(conditions(facts_tested))
    tests = list(each_test(condition))
    facts = data.draw(
        st.fixed_dictionaries(
            {}, optional={f: st.sampled_from(boundary_values(f, tests)) for f in facts_tested}
        )
    )
    this_morning = just(facts, facts_tested)
    solver = Solver([condition, this_morning], DICTIONARY)
    morning = solver.unknown()
    asked = (solver.holds(condition, morning), solver.holds(this_morning, morning))
    assert solver.possible(*asked) == predicate(condition)(facts)


def just(facts: Facts, of: tuple[str, ...]) -> Condition:
    """Require that of some facts these are reported, with these values, and no others."""
    return all_of(
        *(
            Test(fact, Operator.IS, facts[fact])
            if fact in facts
            else Test(fact, Operator.REPORTED, False)
            for fact in of
        )
    )


@settings(max_examples=tries(50, 300), deadline=None)
@given(data=st.data())
def test_every_value_of_a_fact_is_alike_to_one_that_stands_for_it(data: st.DataObject) -> None:
    fact = data.draw(st.sampled_from(["soreness", "sleep_hours", "monotony", "illness"]))
    condition = data.draw(conditions([fact]))
    tests = list(each_test(condition))
    value = data.draw(st.sampled_from(boundary_values(fact, tests)))
    [standing] = partition.representative_values([condition], DICTIONARY).values()

    def outcomes(of: FactValue) -> list[bool]:
        return [predicate(test)({fact: of}) for test in tests]

    assert outcomes(value) in [outcomes(one) for one in standing]
    assert all(map(DICTIONARY[fact].accepts, standing))


@settings(max_examples=tries(25, 100), deadline=None)
@given(rule_set=small_rule_sets())
def test_an_example_has_the_fewest_facts_that_will_do(rule_set: RuleSet) -> None:
    rule: Rule = rule_set.rules[0]
    solver = Solver([rule.when], DICTIONARY)
    morning = solver.unknown()
    found = solver.smallest([morning], solver.holds(rule.when, morning))
    firing = [facts for facts in mornings(a_rule_set([rule])) if predicate(rule.when)(facts)]
    if found is None:
        assert firing == []
    else:
        assert predicate(rule.when)(found[0])
        assert len(found[0]) == len(firing[0])
