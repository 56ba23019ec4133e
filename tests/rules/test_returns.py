"""Do staged returns say what they must, and does a stage allow what it says?"""

from __future__ import annotations

import json
from itertools import pairwise
from pathlib import Path

import pytest

from dawnrule.errors import RuleSetInvalid
from dawnrule.i18n.resources import rules_folder
from dawnrule.model import Facts, Vocabulary
from dawnrule.rules.limits import as_strict
from dawnrule.rules.returns import Return, Returns, breaches, limits_of, parse_return, stage_allows

SHIPPED = Returns.bundled()
each = pytest.mark.parametrize("back", SHIPPED.values(), ids=lambda one: one.id)

PUBLISHED: dict[str, str] = json.loads(
    Path(__file__).with_name("return_digests.json").read_text(encoding="utf-8")
)
"""A line is added when a version is published, and never changed."""


def test_there_is_a_return_for_each_kind_that_has_one() -> None:
    assert tuple(SHIPPED) == Vocabulary.bundled().returns


@each
def test_a_published_return_never_changes(back: Return) -> None:
    assert PUBLISHED[back.full_name] == back.digest


@each
def test_a_later_stage_allows_no_less(back: Return) -> None:
    for earlier, later in pairwise(back.stages):
        known = dict(limits_of(earlier).given())
        if not earlier.allows.nothing:
            for name, value in limits_of(later).given():
                assert as_strict(known[name], name, value)


@each
def test_a_stage_without_limits_allows_everything_and_the_first_does_not(back: Return) -> None:
    hard: Facts = {"goal": "speed", "planned_maximal": True, "planned_effort": 10}
    assert not stage_allows(back.stages[0], hard)


def test_head_injury_has_six_stages_of_a_day_and_no_contact_before_a_clearance() -> None:
    """Patricios 2023, Br J Sports Med 57(11):695-711."""
    head = SHIPPED["head-injury"]
    assert len(head.stages) == 6
    assert [stage.least for stage in head.stages[:5]] == [24] * 5
    contact: Facts = {"goal": "skill", "modality": "bodyweight", "planned_contact": True}
    for stage in head.stages:
        assert stage.needs_clearance == (stage.stage >= 4)
        if not stage.needs_clearance:
            assert not stage_allows(stage, contact)
    assert not stage_allows(head.stage_at(1), {"goal": "mobility"})


def test_a_break_goes_by_fifty_seventy_eighty_and_ninety_per_cent() -> None:
    """Caterisano 2019, Strength Cond J 41(3):1-23."""
    back = SHIPPED["break"]
    assert [limits_of(stage).share_of_sets for stage in back.stages] == [0.5, 0.7, 0.8, 0.9]
    first = back.stage_at(1)
    assert breaches(first, {"goal": "hypertrophy", "planned_share_percent": 75}) == (
        "share_of_sets",
        "share_of_minutes",
    )
    assert stage_allows(first, {"goal": "hypertrophy", "planned_share_percent": 50})
    assert breaches(first, {"goal": "strength", "planned_maximal": True}) == ("no_maximal",)


def test_muscle_breakdown_has_four_phases() -> None:
    """Schleich 2016, J Athl Train 51(5):406-409."""
    assert len(SHIPPED["muscle-breakdown"].stages) == 4


@pytest.mark.parametrize(("ill", "easy"), [(1, 2), (2, 2), (6, 6), (10, 10), (21, 10)])
def test_easy_days_are_as_many_as_days_ill_from_two_to_ten(ill: int, easy: int) -> None:
    assert SHIPPED["illness"].lasts(ill) == easy
    assert SHIPPED["pain"].lasts(ill) == easy


def test_past_the_last_stage_it_is_the_last() -> None:
    assert SHIPPED["break"].stage_at(9).stage == 4
    assert SHIPPED["break"].stage_at(0).stage == 1


@pytest.mark.parametrize(
    ("before", "after", "said"),
    [
        ("goals: [mobility, steady-endurance, skill]", "goals: [dancing]", "unknown"),
        ("stage: 2", "stage: 3", "must be 2"),
        ("effort_at_most: 5", "effort_at_most: 2", "allows less"),
        ("after: [heart-or-chest]", "after: [boredom]", "no kind of concern"),
        ("counted_in: days", "counted_in: moons", "moons"),
    ],
)
def test_a_return_that_cannot_be_meant_is_refused(before: str, after: str, said: str) -> None:
    text = (rules_folder() / "returns" / "heart-or-chest.yaml").read_text(encoding="utf-8")
    assert before in text
    with pytest.raises(RuleSetInvalid) as refused:
        parse_return(text.replace(before, after, 1), "tried.yaml")
    assert any(said in finding.message for finding in refused.value.findings)
