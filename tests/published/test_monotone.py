"""Published checks: a worse morning never gives a more permissive verdict.

The direction is published, the figures are not: eccentric work, soreness, short sleep and short
recovery each cost performance (Cheung 2003, Sports Med 33(2):145-164, from memory; Craven 2022,
Sports Med 52(11):2669-2690; McLester 2003, J Strength Cond Res 17(2):259-273).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from datetime import timedelta
from itertools import product

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from dawnrule.model import FactDefinition, FactDictionary, Facts, FactValue
from dawnrule.model.entities import Block, CheckIn, LastTrained, Pain, Sleep
from dawnrule.rules import conditions
from tests.effort import tries
from tests.published.mornings import EVENING, WORDS, Baseline, check_in, planned, trained

DICTIONARY = FactDictionary.bundled()
MUSCLE_GROUPS = ("quadriceps", "chest")
"""Two are enough for one to be worsened and one not."""

SIGNS_OF_STRAIN: Sequence[Facts] = (
    {},
    {"fatigue": 7},
    {"fatigue": 7, "stress": 7, "sleep_quality": 1},
)

ratings = st.integers(0, 10) | st.floats(0, 10)
hours_since = st.floats(0, 200)
illnesses = st.sampled_from(WORDS.illnesses)
warning_signs = st.lists(st.sampled_from(WORDS.warning_signs), unique=True, max_size=2).map(tuple)
pains = st.builds(
    Pain,
    where=st.just("here"),
    kind=st.sampled_from(WORDS.pain_kinds),
    muscle_groups=st.sampled_from([(), MUSCLE_GROUPS[:1], MUSCLE_GROUPS]),
)
blocks = st.builds(
    planned,
    st.sampled_from(list(WORDS.goals)),
    st.sampled_from(MUSCLE_GROUPS),
    modality=st.none() | st.sampled_from(list(WORDS.modalities)),
)
last_times = st.builds(
    lambda hours, goal: LastTrained(EVENING - timedelta(hours=hours), goal),
    hours_since,
    st.sampled_from(["hypertrophy", "strength", "steady-endurance"]),
)


@st.composite
def mornings(draw: st.DrawFn) -> CheckIn:
    """A check-in that may leave any question open."""
    plan: list[Block] = draw(st.lists(blocks, max_size=3))
    groups = st.sampled_from(MUSCLE_GROUPS)
    return check_in(
        *plan,
        sleep=Sleep(
            hours=draw(st.none() | st.floats(0, 24)),
            quality=draw(st.none() | st.integers(1, 5)),
        ),
        soreness=draw(st.dictionaries(groups, ratings)),
        last_trained=draw(st.dictionaries(groups, last_times)),
        fatigue=draw(st.none() | ratings),
        stress=draw(st.none() | ratings),
        pain=draw(st.none() | st.lists(pains, max_size=1).map(tuple)),
        illness=draw(st.none() | illnesses),
        warning_signs=draw(st.none() | warning_signs),
    )


@st.composite
def worse_than(draw: st.DrawFn, morning: CheckIn) -> CheckIn:
    """The same answers, each as it was or worse; a question left open stays open."""

    def higher(rating: float | None) -> float | None:
        return None if rating is None else draw(st.floats(rating, 10))

    def sooner(last: LastTrained) -> LastTrained:
        passed = (EVENING - last.at) * draw(st.floats(0, 1))
        return replace(last, at=EVENING - passed)

    def more(answers: tuple[str, ...], drawn: tuple[str, ...]) -> tuple[str, ...]:
        return tuple(dict.fromkeys((*answers, *drawn)))

    slept = morning.sleep
    illness, signs = morning.illness, morning.warning_signs
    soreness: Mapping[str, float] = {
        group: draw(st.floats(rating, 10)) for group, rating in morning.soreness.items()
    }
    return replace(
        morning,
        sleep=Sleep(
            hours=None if slept.hours is None else draw(st.floats(0, slept.hours)),
            quality=None if slept.quality is None else draw(st.integers(1, slept.quality)),
        ),
        soreness=soreness,
        last_trained={group: sooner(last) for group, last in morning.last_trained.items()},
        fatigue=higher(morning.fatigue),
        stress=higher(morning.stress),
        pain=None if morning.pain is None else (*morning.pain, draw(pains)),
        illness=None if illness is None else max(illness, draw(illnesses), key=_severity),
        warning_signs=None if signs is None else more(signs, draw(warning_signs)),
    )


def _severity(illness: str) -> int:
    return WORDS.illnesses.index(illness)


@settings(max_examples=tries(30, 400), deadline=None)
@given(data=st.data())
def test_a_worse_morning_never_buys_a_more_permissive_verdict(
    baseline: Baseline, data: st.DataObject
) -> None:
    """Source: at the head of this module; the order of protection is ours."""
    morning = data.draw(mornings())
    before = baseline.decide(morning)
    after = baseline.decide(data.draw(worse_than(morning)))
    assert after.verdict.protection >= before.verdict.protection
    for part_before, part_after in zip(before.parts, after.parts, strict=True):
        assert part_after.protection >= part_before.protection


def never_falls(baseline: Baseline, getting_worse: Iterable[CheckIn]) -> bool:
    """Whether the first part of the plan is protected at least as much on each next morning."""
    facts = (baseline.facts(morning).parts[0].facts for morning in getting_worse)
    protection = [baseline.protection(part) for part in facts]
    return protection == sorted(protection)


def test_each_point_of_soreness_protects_at_least_as_much(
    baseline: Baseline, subtests: pytest.Subtests
) -> None:
    """Source: Cheung 2003, Sports Med 33(2):145-164 (from memory)."""
    for goal, modality in product(WORDS.goals, [None, *WORDS.modalities]):
        with subtests.test(goal=goal, modality=modality):
            plan = planned(goal, "quadriceps", modality=modality)
            sorer = (check_in(plan, soreness={"quadriceps": points}) for points in range(11))
            assert never_falls(baseline, sorer)


def test_each_hour_less_since_growth_work_protects_at_least_as_much(
    baseline: Baseline, subtests: pytest.Subtests
) -> None:
    """Source: McLester 2003, J Strength Cond Res 17(2):259-273."""
    times = [trained(hours, "hypertrophy", ["quadriceps"]) for hours in range(200, -1, -1)]
    for goal in WORDS.goals:
        with subtests.test(goal=goal):
            plan = planned(goal, "quadriceps")
            assert never_falls(baseline, (check_in(plan, last_trained=time) for time in times))


def test_each_half_hour_less_of_sleep_protects_at_least_as_much(
    baseline: Baseline, subtests: pytest.Subtests
) -> None:
    """Source: Craven 2022, Sports Med 52(11):2669-2690."""
    nights = [Sleep(half_hours / 2, quality=2) for half_hours in range(48, -1, -1)]
    for goal in WORDS.goals:
        with subtests.test(goal=goal):
            plan = planned(goal, "quadriceps")
            assert never_falls(baseline, (check_in(plan, sleep=night) for night in nights))


def ordered_facts_from_history(baseline: Baseline) -> list[FactDefinition]:
    """Those that the rules read and of which one direction is worse."""
    read = {*baseline.rule_set.facts_read("day"), *baseline.rule_set.facts_read("part")}
    from_history = (DICTIONARY[name] for name in read if DICTIONARY[name].origin == "history")
    return [fact for fact in from_history if fact.worse != "none"]


def getting_worse(baseline: Baseline, fact: FactDefinition) -> Sequence[FactValue]:
    """Values on and around every limit that a rule sets to a fact, the best first; none that the
    fact cannot have."""
    if fact.type == "boolean":
        return (False, True) if fact.worse == "true" else (True, False)
    tests = (test for rule in baseline.rule_set.rules for test in conditions.tests_of(rule.when))
    limits = [test.value for test in tests if test.fact == fact.name]
    step = 1 if fact.type == "integer" else 0.1
    around = {v + d for v in limits if isinstance(v, int | float) for d in (-step, 0, step)}
    return sorted(filter(fact.accepts, around), reverse=fact.worse == "lower")


def test_each_step_of_a_worse_history_protects_at_least_as_much(
    baseline: Baseline, subtests: pytest.Subtests
) -> None:
    """Source: at the head of this module; a week of short nights: Belenky 2003, J Sleep Res
    12(1):1-12. With none, one and three other signs of strain."""
    fallen = {"output_drop_percent": 12.0, "hours_since_output_drop": 40.0}
    facts = ordered_facts_from_history(baseline)
    assert "sleep_shortfall_hours" in {fact.name for fact in facts}
    for fact in facts:
        values = getting_worse(baseline, fact)
        before = fallen if fact.name in fallen else {}
        with subtests.test(fact=fact.name):
            for goal, load, signs in product(WORDS.goals, ("low", "high"), SIGNS_OF_STRAIN):
                part = {"goal": goal, "muscle_group": "quadriceps", "eccentric_load": load}
                morning: Facts = {"planned_blocks": 1, **part, **before, **signs}
                steps = [baseline.protection({**morning, fact.name: value}) for value in values]
                assert steps == sorted(steps), morning
