"""Alternatives to a part that is held back."""

from __future__ import annotations

from dataclasses import replace
from datetime import time, timedelta
from typing import Any

import pytest

from dawnrule.advice.advisor import AdvisedMorning
from dawnrule.advice.options import Alternatives, Options
from dawnrule.facts.derive import FactSource
from dawnrule.model import Vocabulary
from dawnrule.model.advice import Alternative
from dawnrule.model.entities import Block, History, Pain
from dawnrule.rules.conditions import all_of
from dawnrule.rules.counterfactuals import WhatIf
from tests.factories import (
    GROWTH,
    KIM,
    NOW,
    REST,
    STRENGTH,
    SWAP,
    advice_under,
    baseline,
    baseline_advice,
    days_ago,
    deciding_baseline,
    logged,
    morning,
    rule_named,
    session,
    when,
)

WORDS = Vocabulary.bundled()
LOW = {name for name, modality in WORDS.modalities.items() if modality.eccentric_load == "low"}
TONIGHT = replace(GROWTH, starts_at=days_ago(0))
CHEST = Block("strength", ("chest",))
SORE = when("soreness", "at_least", 3)
SORE_GROWTH = rule_named("sore", all_of(SORE, when("goal", "is", "hypertrophy")))


def offered(considered: AdvisedMorning, part: int = 0) -> tuple[Alternative, ...]:
    return considered.advice.parts[part].alternatives


def modalities(considered: AdvisedMorning, part: int = 0) -> list[str]:
    return [way.modality for way in offered(considered, part) if way.modality]


def groups(considered: AdvisedMorning, part: int = 0) -> list[str]:
    return [way.muscle_group for way in offered(considered, part) if way.muscle_group]


def patterns(considered: AdvisedMorning, part: int = 0) -> list[str]:
    return [way.pattern for way in offered(considered, part) if way.pattern]


def test_an_open_part_needs_no_alternative() -> None:
    assert offered(baseline_advice(morning(0, TONIGHT, soreness={"quadriceps": 2}))) == ()


# ---- opening ---------------------------------------------------------------------------

TOLD: tuple[dict[str, Any], ...] = (
    {"pain": (Pain("left knee", "joint", ("quadriceps",)),)},
    {"pain": (Pain("left knee", "joint", ("quadriceps",)),), "soreness": {"quadriceps": 9}},
    {"illness": "fever"},
    {"illness": "above-neck", "soreness": {"quadriceps": 4}},
    {"warning_signs": ("chest-pain",)},
)


@pytest.mark.parametrize("version", ["1.2.0", "2.0.0"])
@pytest.mark.parametrize("told", TOLD)
def test_for_a_told_danger_no_moment_is_tried_and_none_would_open_the_part(
    monkeypatch: pytest.MonkeyPatch, told: dict[str, Any], version: str
) -> None:
    check_in = morning(0, TONIGHT, CHEST, **told)
    at_once = baseline_advice(check_in, rule_set=baseline(version))
    monkeypatch.setattr(Options, "_waits_for_clearance", lambda *_: False)
    assert baseline_advice(check_in, rule_set=baseline(version)).advice == at_once.advice
    assert at_once.advice.parts[0].opens_note


# ---- modalities ------------------------------------------------------------------------


def test_ways_of_low_eccentric_load_are_offered_those_first_that_spare_the_muscle() -> None:
    considered = baseline_advice(morning(0, TONIGHT, soreness={"quadriceps": 4}))
    ways = modalities(considered)
    assert ways == ["swimming", "walking", "cycling", "rowing"]
    assert {*ways} <= LOW
    assert [w for w in ways if "quadriceps" not in WORDS.modalities[w].loads] == ways[:2]


def test_nothing_that_loads_a_part_at_rest_is_offered_for_any_part() -> None:
    sore_calves = {"quadriceps": 4, "calves": 9}
    plan = (TONIGHT, Block("strength", ("calves",)))
    considered = baseline_advice(morning(0, *plan, soreness=sore_calves))
    assert [part.verdict for part in considered.decision.parts] == [SWAP, REST]
    assert modalities(considered, 0) == ["swimming", "rowing"]
    assert modalities(considered, 1) == ["swimming", "rowing"]


def test_a_part_that_rests_for_its_goal_only_is_not_loaded_in_another_way() -> None:
    """By the rules alone a ride would do: they hold back growth work, not the muscle."""
    growth_rests = rule_named("sore", SORE_GROWTH.when, REST)
    considered = advice_under(
        growth_rests, check_in=morning(0, TONIGHT, soreness={"quadriceps": 5})
    )
    assert modalities(considered) == ["swimming", "walking"]


def test_sore_muscles_that_are_not_planned_are_heeded_too() -> None:
    soreness = {"quadriceps": 4, "lats": 9}
    considered = baseline_advice(morning(0, TONIGHT, soreness=soreness))
    assert modalities(considered) == ["walking", "cycling", "sled-push", "uphill-walking"]


def test_pain_that_names_no_muscle_group_leaves_no_way() -> None:
    pain = (Pain("somewhere", "sharp"),)
    assert offered(baseline_advice(morning(0, TONIGHT, pain=pain))) == ()


def test_a_part_that_rests_for_pain_is_not_to_be_loaded_in_another_way() -> None:
    """Nor is what bears its load: no walk is offered to a knee."""
    knee = (Pain("left knee", "joint", ("quadriceps",)),)
    both = Block("strength", ("quadriceps", "chest"))
    considered = baseline_advice(morning(0, both, pain=knee, soreness={"chest": 6}))
    assert [part.verdict for part in considered.decision.parts] == [REST, SWAP]
    assert modalities(considered, 0) == modalities(considered, 1) == ["swimming"]
    assert "quadriceps" not in groups(considered, 0) + groups(considered, 1)


@pytest.mark.parametrize("illness", ["fever", "below-neck"])
def test_on_a_day_of_rest_nothing_is_offered(illness: str) -> None:
    assert offered(baseline_advice(morning(0, TONIGHT, CHEST, illness=illness))) == ()


def test_a_modality_that_loads_nothing_by_itself_is_not_offered_on_a_day_of_rest() -> None:
    words = replace(
        WORDS,
        modalities={"chair": replace(WORDS.modalities["walking"], id="chair", loads=())},
    )

    def ways(**reported: Any) -> list[Alternative]:
        source = FactSource.of(KIM, morning(0, TONIGHT, **reported), History(), NOW)
        source = replace(source, past=replace(source.past, vocabulary=words))
        today = WhatIf(deciding_baseline()).on_day(source.day.facts)
        (part,) = source.morning().parts
        found = Alternatives(source, today, frozenset()).to(part)
        return [way for way in found if way.modality]

    assert ways(illness="fever") == []
    assert ways(illness="none") == [Alternative(modality="chair")]


def test_a_swap_for_the_day_still_leaves_easy_ways() -> None:
    considered = baseline_advice(morning(0, TONIGHT, illness="above-neck"))
    assert len(modalities(considered)) == 4
    assert groups(considered) == []


# ---- muscle groups ---------------------------------------------------------------------


def test_open_muscle_groups_are_offered_for_the_same_goal_the_longest_untrained_first() -> None:
    history = logged(
        session(2, Block("strength", ("chest",))),
        session(9, Block("hypertrophy", ("calves",))),
        session(5, Block("skill", ("lats",))),
        session(1, Block("hypertrophy", ("biceps",))),  # too soon to go again
        session(8, Block("hypertrophy", ("glutes",))),  # sore
    )
    soreness = {"quadriceps": 5, "glutes": 3}
    considered = baseline_advice(morning(0, TONIGHT, soreness=soreness), history)
    assert groups(considered) == ["calves", "lats", "chest", "shoulders"]
    assert {way.goal for way in offered(considered) if way.muscle_group} == {"hypertrophy"}


def test_what_is_planned_today_is_no_alternative() -> None:
    plan = (TONIGHT, replace(CHEST, goal="mobility"), Block("skill", pattern="vertical-pull"))
    considered = baseline_advice(morning(0, *plan, soreness={"quadriceps": 5}))
    planned = {"quadriceps", "chest", *WORDS.patterns["vertical-pull"].muscle_groups}
    assert planned.isdisjoint(groups(considered))
    assert len(groups(considered)) == 4


@pytest.mark.parametrize("goal", ["intervals", "long-endurance", "muscular-endurance", "mobility"])
def test_endurance_and_mobility_are_not_moved_to_another_muscle(goal: str) -> None:
    plan = Block(goal, ("quadriceps",))
    sore = advice_under(
        rule_named("sore", SORE), check_in=morning(0, plan, soreness={"quadriceps": 9})
    )
    assert modalities(sore) != []
    assert groups(sore) == []


def test_a_modality_that_loads_its_own_muscles_does_not_come_along_to_others() -> None:
    """Power by jumping is held back for its landings; power of the chest has none."""
    jumps = Block("power", modality="jumping")
    lands = rule_named("lands", when("eccentric_load", "is", "high"))
    considered = advice_under(lands, check_in=morning(0, jumps))
    assert groups(considered) == ["chest", "shoulders", "upper-back", "lats"]


def test_a_modality_without_muscles_of_its_own_comes_along_to_others() -> None:
    machines = replace(TONIGHT, modality="machines")
    broken = rule_named("broken", when("modality", "is", "machines"))
    assert groups(advice_under(broken, check_in=morning(0, machines))) == []


# ---- patterns --------------------------------------------------------------------------


def test_a_planned_pattern_is_moved_to_patterns_that_are_open_in_every_muscle() -> None:
    squats = Block("hypertrophy", pattern="squat", starts_at=days_ago(0))
    history = logged(
        session(3, Block("hypertrophy", pattern="horizontal-press")),
        session(6, Block("hypertrophy", pattern="horizontal-pull")),
    )
    soreness = {"quadriceps": 5, "lower-back": 4, "forearms": 4}
    considered = baseline_advice(morning(0, squats, soreness=soreness), history)
    assert considered.decision.parts[0].verdict is SWAP
    assert patterns(considered) == [
        "horizontal-pull",
        "vertical-pull",
        "horizontal-press",
        "vertical-press",
    ]
    assert groups(considered) == []


def test_a_pattern_is_as_recent_as_the_muscle_that_it_trained_last() -> None:
    squats = Block("hypertrophy", pattern="squat", starts_at=days_ago(0))
    history = logged(
        session(9, Block("hypertrophy", pattern="horizontal-pull")),
        session(3, Block("hypertrophy", ("biceps",))),
        session(5, Block("hypertrophy", pattern="horizontal-press")),
    )
    considered = baseline_advice(morning(0, squats, soreness={"quadriceps": 5}), history)
    presses_and_pulls = [name for name in patterns(considered) if name.startswith("horizontal")]
    assert presses_and_pulls == ["horizontal-press", "horizontal-pull"]


def test_a_pattern_with_a_muscle_at_rest_is_not_offered() -> None:
    """The quadriceps rest for growth work only, and squats for strength would load them."""
    growth_rests = rule_named("rests", when("goal", "is", "hypertrophy"), REST)
    sore = rule_named("swaps", SORE)
    hinge = Block("strength", pattern="hinge")
    soreness = {"hamstrings": 5, "shoulders": 5, "lats": 5}

    def offered_beside(block: Block) -> list[str]:
        check_in = morning(0, hinge, block, soreness=soreness)
        return patterns(advice_under(growth_rests, sore, check_in=check_in))

    assert offered_beside(Block("hypertrophy", ("calves",))) == ["squat", "carry"]
    assert offered_beside(GROWTH) == ["carry"]


def test_a_pattern_that_is_planned_today_is_no_alternative() -> None:
    plan = (Block("strength", pattern="hinge"), Block("skill", pattern="squat"))
    soreness = {"hamstrings": 5, "shoulders": 5, "lats": 5}
    considered = advice_under(
        rule_named("sore", SORE), check_in=morning(0, *plan, soreness=soreness)
    )
    assert patterns(considered) == ["carry"]


# ---- in the place of the block ---------------------------------------------------------


def test_an_alternative_takes_the_place_of_the_block_and_does_not_stand_beside_it() -> None:
    not_beside_lifting = rule_named("beside", when("lifting_same_day", "is", True), REST)
    sore = rule_named("sore", all_of(SORE, when("goal", "is", "strength")))
    rules = (not_beside_lifting, sore)
    alone = morning(0, STRENGTH, soreness={"quadriceps": 5})
    assert "cycling" in modalities(advice_under(*rules, check_in=alone))
    beside_squats = replace(alone, plan=(STRENGTH, Block("hypertrophy", ("glutes",))))
    ways = modalities(advice_under(*rules, check_in=beside_squats))
    assert ways == ["swimming"]


def test_all_parts_of_a_block_are_offered_the_same_and_each_the_sparing_ways_first() -> None:
    legs = Block("hypertrophy", ("quadriceps", "lats"), starts_at=days_ago(0))
    sore = morning(0, legs, soreness={"quadriceps": 5, "lats": 5})
    considered = baseline_advice(sore, rule_set=baseline("1.2.0"))
    assert groups(considered, 0) == groups(considered, 1)
    assert modalities(considered, 0)[:2] == ["swimming", "walking"]
    assert modalities(considered, 1)[:2] == ["cycling", "sled-push"]


def test_parts_of_a_block_that_is_decided_as_one_are_offered_what_spares_both() -> None:
    legs = Block("hypertrophy", ("quadriceps", "lats"), starts_at=days_ago(0))
    considered = baseline_advice(morning(0, legs, soreness={"quadriceps": 5, "lats": 5}))
    assert offered(considered, 0) == offered(considered, 1)
    assert modalities(considered) == ["walking"]


# ---- when it opens ---------------------------------------------------------------------


@pytest.mark.parametrize("first", [time(9, 30), None])
def test_a_block_waits_for_growth_work_that_is_planned_earlier_today(first: time | None) -> None:
    """It opens two days after that, an hour granted; where the other has no start, after its own
    planned start."""
    earlier = replace(GROWTH, starts_at=days_ago(0, first) if first else None)
    [_, part] = baseline_advice(morning(0, earlier, TONIGHT)).advice.parts
    began = days_ago(0, first or time(18))
    assert (part.verdict, part.opens_at) == (SWAP, began + timedelta(hours=47))


def test_a_block_without_a_start_waits_for_growth_work_that_comes_before_it_opens() -> None:
    """Tonight's session is over when the block of this morning would open."""
    history = logged(session(1, starts_at=days_ago(1, time(9))))
    [part, _] = baseline_advice(morning(0, GROWTH, TONIGHT), history).advice.parts
    assert (part.verdict, part.opens_at) == (SWAP, days_ago(-2, time(17)))
