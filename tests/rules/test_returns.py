"""Staged returns: their published content, and what each stage allows."""

from __future__ import annotations

from itertools import pairwise

import pytest

from dawnrule.errors import RuleSetInvalid
from dawnrule.i18n.resources import rules_folder
from dawnrule.model import Facts, Vocabulary
from dawnrule.rules.limits import as_strict
from dawnrule.rules.returns import Return, Returns, breaches, parse_return, stage_allows

SHIPPED = Returns.bundled()
each = pytest.mark.parametrize("back", SHIPPED.values(), ids=lambda one: one.id)

PUBLISHED = {
    "heart-or-chest": "237017d63293951e602873523104eef05a7e1600dbf8bbd8f822566c3448b010",
    "head-injury": "c4cf0afbfa9b71aa84f4e82970eff16ec2d27271d3c9fd5ef7a305fbdb09ff7d",
    "numbness-or-weakness": "209e702f680afe16b37843b9a0f85dce7d3723c883f0905190389370bb0d0a39",
    "muscle-breakdown": "5f97d749f5a6f81da29c0b0643c8883773195ed80a079aca2136ad5fc68f6a4e",
    "severe-swelling": "42e8ca1ac9619c1672b36afb1afbef556d6382bc4c6ae188149891540ec85a3b",
    "leg-clot": "bc865d13560b98c178fa9a1eea3fac51ff5b5e31a92a6a96446312ca4807bdc3",
    "illness": "7ec66cd247955f7c7937ae0a47ab3888c568c57537331057120ec121fe2a270a",
    "pain": "d2a83efb7afbfc3a367355f8ee20a2da911709fdd2c30ce084fb9933e8aca3d3",
    "break": "ee49214762282af80bb3da83ec7a71b37aade1880018fe94bfe28d8729595eba",
}
"""The digests of the first versions. None ever changes."""


def test_there_is_a_return_for_each_kind_that_has_one() -> None:
    assert tuple(SHIPPED) == Vocabulary.bundled().returns


@each
def test_a_published_return_never_changes(back: Return) -> None:
    assert back.version == "1.0.0"
    assert back.digest == f"sha256:{PUBLISHED[back.id]}"


@each
def test_a_later_stage_allows_no_less(back: Return) -> None:
    for earlier, later in pairwise(back.stages):
        known = dict(earlier.allows.limits.given())
        if not earlier.allows.nothing:
            for name, value in later.allows.limits.given():
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
    assert [stage.allows.limits.share_of_sets for stage in back.stages] == [0.5, 0.7, 0.8, 0.9]
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
