"""Options for many athletes: everything stated beyond a verdict is true."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import replace
from functools import partial
from itertools import combinations
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from dawnrule.advice.advisor import Advisor
from dawnrule.advice.composer import Composer
from dawnrule.model import FactValue, Verdict
from dawnrule.model.entities import Block
from dawnrule.rules.conditions import Operator, Test, all_of, at_least, facts_of, none_of
from dawnrule.rules.registry import RuleSetLibrary
from dawnrule.rules.rule_set import Rule
from tests.effort import tries
from tests.factories import a_rule, a_rule_set
from tests.property.athletes import WORDS, morning
from tests.property.parts_held_back import (
    DICTIONARY,
    ONE_MINUTE,
    SIXTY_DAYS,
    HeldBack,
    held_back,
    nearest,
    size,
    values_short_of,
)

TRAIN, SWAP, REST = Verdict


def when(fact: str, operator: str, value: Any) -> Test:
    return Test(fact, Operator(operator), value)


GROWTH = when("goal", "is", "hypertrophy")
STRAIN = (when("sleep_hours", "at_most", 6), when("fatigue", "above", 6))
CUT_SHORT = when("last_session_cut_short", "is", True)
HOUSE = a_rule_set(
    [
        a_rule(when("sleep_quality", "in", (1, 2)), "slept-badly", "day", SWAP),
        a_rule(at_least(2, *STRAIN), "strained", "day", REST),
        a_rule(when("soreness", "above", 4), "sore", "part", SWAP),
        a_rule(when("soreness_above_usual", "above", 2.5), "sorer", "part", SWAP),
        a_rule(when("hours_since_trained", "at_most", 20), "yesterday", "part", SWAP),
        a_rule(all_of(GROWTH, when("hours_since_growth_work", "below", 61.7)), "growth"),
        a_rule(none_of(when("hours_since_force_work", "above", 36)), "force", "part", SWAP),
        a_rule(all_of(CUT_SHORT, when("stress", "at_least", 3)), "cut-short"),
        a_rule(when("joint_pain", "is", True), "pain"),
        a_rule(when("illness", "in", ("fever", "below-neck")), "ill", "day"),
    ]
)
"""Rules that use every operator, where the baseline uses mostly one."""

BASELINE = "the baseline that decides"
ATHLETES = {
    BASELINE: range(tries(60, 1000)),
    "house rules": range(1000, tries(1040, 1250)),
}


@pytest.fixture(scope="module", params=ATHLETES)
def parts(request: pytest.FixtureRequest) -> Iterator[list[HeldBack]]:
    """Collect every part that is held back in the mornings of many athletes."""
    house = RuleSetLibrary({(HOUSE.name, HOUSE.version): HOUSE})
    library = RuleSetLibrary.bundled() if request.param == BASELINE else house
    advisor = Advisor(library, Composer.bundled())
    rule_set = library.get("baseline", "2.0.0") if request.param == BASELINE else HOUSE
    mornings = map(morning, ATHLETES[request.param])
    yield [part for given in mornings for part in held_back(advisor, given, rule_set)]
    library.decider(rule_set).close()


def test_the_athletes_are_of_every_kind(parts: list[HeldBack]) -> None:
    """Otherwise promises could hold for want of anyone to test them on."""
    seen = Counter[str]()
    for part in parts:
        seen["opens"] += part.opens_at is not None
        seen["never opens"] += part.opens_at is None
        seen["rests"] += part.advice.verdict is REST
        seen["may change"] += bool(part.advice.would_change)
        seen["may change together"] += bool(part.advice.would_change_together)
        seen["stopped"] += part.stopped
        seen["stopped by more than one rule"] += part.stopped and len(part.protective) > 1
        seen["alternatives"] += bool(part.advice.alternatives)
        seen["without a muscle group"] += part.facts.muscle_group is None
    assert min(seen.values()) >= 5, seen


# ---- when it opens -----------------------------------------------------------------------


def test_a_part_opens_when_it_says_and_not_a_minute_earlier(parts: list[HeldBack]) -> None:
    for part in parts:
        if part.opens_at:
            assert part.verdict_at(part.opens_at) is TRAIN, part
            earlier = max(part.opens_at - ONE_MINUTE, part.facts.starts_at)
            assert part.verdict_at(earlier) is not TRAIN, part


def test_nothing_opens_earlier_than_it_says_or_at_all_where_it_says_never(
    parts: list[HeldBack],
) -> None:
    for part in parts:
        end = part.opens_at or part.facts.starts_at + 2 * SIXTY_DAYS
        for at in part.times_to_try():
            assert at >= end or part.quick_verdict_at(at) is not TRAIN, (part, at)


def test_it_opens_on_a_whole_minute_of_the_athletes_clock(parts: list[HeldBack]) -> None:
    for part in parts:
        if part.opens_at:
            local = part.opens_at.astimezone(ZoneInfo(part.morning.athlete.time_zone))
            assert part.advice.opens_at == local.replace(second=0, microsecond=0)
            assert part.opens_at > part.facts.starts_at


def test_where_it_never_opens_a_sentence_says_why(parts: list[HeldBack]) -> None:
    for part in parts:
        assert (part.advice.opens_note is None) is (part.opens_at is not None), part


# ---- what would change ---------------------------------------------------------------------


def test_each_change_leads_to_the_verdict_that_it_names(parts: list[HeldBack]) -> None:
    for part in parts:
        for change in part.advice.would_change:
            assert change.before == part.facts.facts[change.fact]
            assert change.verdict.protection < part.advice.verdict.protection
            assert part.verdict_after([change]) is change.verdict, (part, change)


def test_no_smaller_change_of_the_same_fact_leads_there(parts: list[HeldBack]) -> None:
    for part in parts:
        for change in part.advice.would_change:
            for value in values_short_of(change):
                verdict = part.verdict({**part.facts.facts, change.fact: value})
                assert verdict.protection > change.verdict.protection, (part, change, value)


def test_each_rule_has_its_smallest_change_to_each_verdict(parts: list[HeldBack]) -> None:
    for part in parts:
        if not part.stopped:
            for rule in part.protective:
                offered = smallest_offered(part, rule)
                assert offered == pytest.approx(smallest_of_all(part, rule)), (part, rule)


def smallest_offered(part: HeldBack, rule: Rule) -> dict[Verdict, float]:
    read = facts_of(rule.when)
    offered = [change for change in part.advice.would_change if change.fact in read]
    return smallest(part, ((c.verdict, size(c.fact, c.before, nearest(c))) for c in offered))


def smallest_of_all(part: HeldBack, rule: Rule) -> dict[Verdict, float]:
    """Search every value of every fact that the rule reads."""
    facts = part.facts.facts
    tried = ((fact, v) for fact in facts_of(rule.when) for v in part.less_worrying(fact))
    return smallest(
        part, ((part.quick_verdict({**facts, f: v}), size(f, facts[f], v)) for f, v in tried)
    )


def smallest(part: HeldBack, found: Iterable[tuple[Verdict, float]]) -> dict[Verdict, float]:
    """Find the smallest size for each verdict that is more permissive than the part's."""
    sizes: dict[Verdict, float] = {}
    for verdict, of_change in found:
        if verdict.protection < part.advice.verdict.protection:
            sizes[verdict] = min(of_change, sizes.get(verdict, math.inf))
    return sizes


def test_changes_together_lead_further_and_no_fewer_of_them_do(parts: list[HeldBack]) -> None:
    for part in parts:
        together = part.advice.would_change_together
        if together:
            (goal,) = {change.verdict for change in together}
            assert len({change.fact for change in together}) == len(together) > 1
            assert part.verdict_after(together) is goal, part
            assert goal.protection < best_single(part).protection
            for count in range(len(together)):
                for fewer in combinations(together, count):
                    assert part.verdict_after(fewer).protection > goal.protection, (part, fewer)


def test_nothing_leads_further_than_what_is_offered(parts: list[HeldBack]) -> None:
    """Every fact that the rules read is as good as it can be."""
    for part in parts:
        if not part.stopped:
            read = dict.fromkeys(fact for rule in part.protective for fact in facts_of(rule.when))
            tried = {fact: list(part.less_worrying(fact)) for fact in read}
            best = {f: max(vs, key=partial(_moved, part, f)) for f, vs in tried.items() if vs}
            together = part.advice.would_change_together
            offered = together[0].verdict if together else best_single(part)
            assert part.verdict({**part.facts.facts, **best}) is offered, (part, best)


def _moved(part: HeldBack, fact: str, value: FactValue) -> float:
    return size(fact, part.facts.facts[fact], value)


def best_single(part: HeldBack) -> Verdict:
    verdicts = [part.advice.verdict, *(change.verdict for change in part.advice.would_change)]
    return min(verdicts, key=lambda verdict: verdict.protection)


def test_nothing_is_to_change_where_pain_illness_or_a_warning_sign_has_spoken(
    parts: list[HeldBack],
) -> None:
    for part in parts:
        if part.stopped:
            assert part.advice.would_change == part.advice.would_change_together == (), part
            assert part.opens_at is None or part.verdict_at(part.opens_at) is TRAIN
        for change in (*part.advice.would_change, *part.advice.would_change_together):
            assert not DICTIONARY[change.fact].stop


# ---- what can be done instead ----------------------------------------------------------------


def test_no_way_that_is_offered_is_of_more_than_low_eccentric_load_or_loads_what_rests(
    parts: list[HeldBack],
) -> None:
    of_blocks = {
        (id(part.morning), part.facts.block, name): part
        for part in parts
        for name in offered_of(part, "modality")
    }
    for (_, _, name), part in of_blocks.items():
        assert WORDS.modalities[name].eccentric_load == "low"
        assert part.at_rest.isdisjoint(WORDS.modalities[name].loads), (part, name)
        for other in part.instead(Block("steady-endurance", modality=name)):
            assert part.verdict(other.facts) is not REST, (part, name)


def test_other_muscle_groups_that_are_offered_are_open_for_the_same_goal(
    parts: list[HeldBack],
) -> None:
    for part in parts:
        planned = part.morning.check_in.plan[part.facts.block]
        loads = planned.modality and WORDS.modalities[planned.modality].loads
        for group in offered_of(part, "muscle_group"):
            modality = None if loads else planned.modality
            block = replace(planned, muscle_groups=(group,), pattern=None, modality=modality)
            assert [part.verdict(other.facts) for other in part.instead(block)] == [TRAIN], part


def test_patterns_that_are_offered_are_open_in_every_muscle_group(parts: list[HeldBack]) -> None:
    for part in parts:
        for name in offered_of(part, "pattern"):
            block = Block(part.facts.goal, pattern=name)
            verdicts = {part.verdict(other.facts) for other in part.instead(block)}
            assert verdicts == {TRAIN}, (part, name)
            assert part.at_rest.isdisjoint(WORDS.patterns[name].muscle_groups)


def offered_of(part: HeldBack, kind: str) -> list[str]:
    return [word for way in part.advice.alternatives if (word := getattr(way, kind))]
