"""Published checks: soreness as a gauge of damage."""

from __future__ import annotations

import re

import pytest

from dawnrule.model import Verdict
from dawnrule.model.entities import Sleep
from dawnrule.rules.conditions import facts_of
from tests.published.mornings import (
    WORDS,
    Baseline,
    check_in,
    everything_at_its_best,
    planned,
    trained,
)

PAIN_AFTER_ECCENTRIC_WORK = {24: 2.91, 48: 2.62, 72: 1.97, 96: 1.13}
"""Hours after 60 eccentric knee extensions, and the mean pain of 26 women: Tufano 2012, J Strength
Cond Res 26(10):2777-2782."""


@pytest.mark.parametrize("muscle_group", WORDS.muscle_groups)
def test_no_soreness_does_not_cancel_the_rule_on_hours(
    baseline: Baseline, muscle_group: str
) -> None:
    """Source: Nosaka 2002, Scand J Med Sci Sports 12(6):337-346: soreness hardly tracks damage
    (r under 0.32). The hours themselves are common practice, no source."""
    best = everything_at_its_best() | {"last_trained": trained(20, "hypertrophy", [muscle_group])}
    decided = baseline.decide(check_in(planned("hypertrophy", muscle_group), **best))
    assert decided.verdict is Verdict.SWAP
    assert decided.rule_id == "growth-work-too-soon"


@pytest.mark.parametrize(
    "alarm",
    [{"sleep": Sleep(hours=3.0)}, {"illness": "above-neck"}, {"warning_signs": ("dark-urine",)}],
    ids=["sleep", "illness", "warning sign"],
)
def test_no_soreness_does_not_cancel_a_rule_on_the_day(
    baseline: Baseline, alarm: dict[str, object]
) -> None:
    """Source: Nosaka 2002, Scand J Med Sci Sports 12(6):337-346."""
    plan = planned("hypertrophy", "quadriceps")
    best = everything_at_its_best()
    without_soreness = {name: value for name, value in best.items() if name != "soreness"}
    not_reported = baseline.decide(check_in(plan, **(without_soreness | alarm)))
    none_at_all = baseline.decide(check_in(plan, **(best | alarm)))
    assert none_at_all.verdict is not_reported.verdict is not Verdict.TRAIN
    assert none_at_all.rule_id == not_reported.rule_id


@pytest.mark.parametrize("goal", WORDS.goals)
def test_protection_falls_as_measured_soreness_falls(baseline: Baseline, goal: str) -> None:
    """Source: Tufano 2012, J Strength Cond Res 26(10):2777-2782."""
    protection = [
        baseline.decide(
            check_in(
                planned(goal, "quadriceps"),
                soreness={"quadriceps": round(pain)},
                last_trained=trained(hours, "hypertrophy", ["quadriceps"]),
            )
        ).verdict.protection
        for hours, pain in PAIN_AFTER_ECCENTRIC_WORK.items()
    ]
    assert protection == sorted(protection, reverse=True)
    if goal == "hypertrophy":
        assert protection[0] > protection[-1]


def test_hard_work_of_one_muscle_group_leaves_the_others_alone(baseline: Baseline) -> None:
    """Source: Cheung 2003, Sports Med 33(2):145-164 (from memory): train less affected parts of
    the body meanwhile."""
    for worked in WORDS.muscle_groups:
        others = [group for group in WORDS.muscle_groups if group != worked]
        best = everything_at_its_best()
        soreness = best["soreness"] | {worked: 10}
        last_trained = {**best["last_trained"], **trained(1, "hypertrophy", [worked])}
        reported = best | {"soreness": soreness, "last_trained": last_trained}
        decided = baseline.decide(check_in(planned("hypertrophy", worked, *others), **reported))
        assert decided.parts == (Verdict.REST, *[Verdict.TRAIN] * len(others)), worked


def test_no_text_says_that_soreness_measured_damage(baseline: Baseline) -> None:
    """Source: Nosaka 2002, Scand J Med Sci Sports 12(6):337-346: force loss, enzymes and swelling
    differed between 12 and 60 actions, soreness did not."""
    about_soreness = [r for r in baseline.rule_set.rules if "soreness" in facts_of(r.when)]
    assert about_soreness
    for rule in about_soreness:
        text = f"{rule.title} {rule.reason} {rule.caution}"
        assert not re.search(r"damage|injur|\btorn\b|\btear\b", text, re.I), rule.id
