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
    "heart-or-chest": "a75f84c781d0680b33996622b441c85090857c1de1b5f76f367d8e8f64df71ba",
    "head-injury": "22d9e9f92a602b1129d23f9374194deac3a5b80143438e64d7c512e189b8abb2",
    "numbness-or-weakness": "b4f8b5de491dec044a780525ec7e1f089ef925ad784c74f616df5dcfe8201b90",
    "muscle-breakdown": "b76a28b98608f8551f3295b9907a943aaacd099bf7aed7a8805c87567f9e32f6",
    "severe-swelling": "b1a4e0150752455d7604d0878f78064e7d840ca4133cfaa8509b53f32c153092",
    "leg-clot": "4225a0dc70fbaf2437d41301fffd759c23926a10717e60e1513cadd48d24edf3",
    "illness": "7ec66cd247955f7c7937ae0a47ab3888c568c57537331057120ec121fe2a270a",
    "pain": "8994c098f22dc767114b9689b833a366bb8b4bcc8a211e67ab69e975e4302ce4",
    "break": "1852c379465b105e74d8591532b934b81b654eaec7ae28ab5a994a76d204e520",
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
