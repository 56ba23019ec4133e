"""Columns against the engine: the same decisions, whatever the rules and the facts."""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import closing
from datetime import date
from typing import TypeAlias

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from dawnrule.analytics.cross_check import decided_subjects
from dawnrule.model import Facts, Verdict
from dawnrule.rules.columnar import ColumnDecider, MorningTable, PastMorning, PastSubject
from dawnrule.rules.rule_set import RuleSet
from tests.effort import tries
from tests.property.rule_strategies import DICTIONARY, mornings, rule_sets
from tests.property.test_two_evaluations_agree import decider_of

DAY = date(2026, 3, 9)

FactsOfMorning: TypeAlias = tuple[Facts, Sequence[Facts], Sequence[int]]
"""The facts of a day and of its parts, and the block of each part."""


@st.composite
def several_mornings(draw: st.DrawFn, rule_set: RuleSet) -> list[FactsOfMorning]:
    """Draw mornings, some of them days off without a part."""
    drawn = draw(st.lists(mornings(rule_set), min_size=1, max_size=12))
    several: list[FactsOfMorning] = []
    for day, parts in drawn:
        kept = parts[: draw(st.integers(0, 3))]
        several.append((day, kept, sorted(draw(st.integers(0, 1)) for _ in kept)))
    return several


def subject(facts: Facts, block: int | None = None) -> PastSubject:
    """Build a subject of which only the facts and the block matter."""
    return PastSubject(Verdict.TRAIN, None, (), facts, block)


def table_of(several: Sequence[FactsOfMorning]) -> MorningTable:
    """Build a table of the mornings of as many athletes on one date."""
    past = (
        PastMorning(
            place, f"a-{place}", DAY, "sha256:00", subject(day), tuple(map(subject, parts, blocks))
        )
        for place, (day, parts, blocks) in enumerate(several)
    )
    return MorningTable.of(past, DICTIONARY)


@settings(max_examples=tries(30, 300), deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.data())
def test_columns_and_the_engine_never_differ(data: st.DataObject) -> None:
    rule_set = data.draw(rule_sets(rules_at_most=6))
    several = data.draw(several_mornings(rule_set))
    decided = ColumnDecider(rule_set, DICTIONARY).decide(table_of(several))
    with closing(decider_of(rule_set)) as decider:
        assert list(decided.mornings()) == [
            decided_subjects(decider.decide(*facts)) for facts in several
        ]
