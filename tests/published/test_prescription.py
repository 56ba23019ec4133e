"""Published checks: rest between sets, repetitions and breathing."""

from __future__ import annotations

from dataclasses import replace

import pytest

from tests.published.mornings import ADULT, Baseline, check_in, everything_at_its_best, planned


def fired_on(
    baseline: Baseline, goal: str, training_status: str | None = "trained", **plan: object
) -> frozenset[str]:
    morning = check_in(planned(goal, "chest", **plan), **everything_at_its_best())
    return baseline.decide(morning, replace(ADULT, training_status=training_status)).fired


@pytest.mark.parametrize(("rest_seconds", "is_told"), [(60, True), (180, False), (300, False)])
def test_a_minute_is_too_short_a_rest_for_strength_and_three_to_five_are_not(
    baseline: Baseline, rest_seconds: float, is_told: bool
) -> None:
    """Source: Schoenfeld 2016, J Strength Cond Res 30(7):1805-1812: 3 min beat 1 min; ACSM 2009,
    Med Sci Sports Exerc 41(3):687-708 (from memory): 3 to 5 min for heavy multi-joint sets."""
    fired = fired_on(baseline, "strength", rest_seconds=rest_seconds)
    assert ("force-work-short-rest" in fired) is is_told


@pytest.mark.parametrize(("reps", "is_told"), [(1, False), (6, False), (12, True)])
def test_strength_work_keeps_to_one_to_six_repetitions(
    baseline: Baseline, reps: int, is_told: bool
) -> None:
    """Source: ACSM 2009, Med Sci Sports Exerc 41(3):687-708 (from memory): emphasis on 1-6 RM in
    trained lifters."""
    assert ("strength-many-repetitions" in fired_on(baseline, "strength", reps=reps)) is is_told


@pytest.mark.parametrize("training_status", ["novice", None])
def test_nobody_is_sent_to_heavier_sets_who_may_be_a_novice(
    newest_baseline: Baseline, training_status: str | None
) -> None:
    """Source: ACSM 2009, Med Sci Sports Exerc 41(3):687-708 (from memory): 8 to 12 repetitions for
    novices."""
    fired = fired_on(newest_baseline, "strength", training_status, reps=12)
    assert "strength-many-repetitions" not in fired


@pytest.mark.parametrize("reps", [8, 12, 25, 30])
def test_growth_work_may_be_light_or_heavy(baseline: Baseline, reps: int) -> None:
    """Source: Schoenfeld 2017, J Strength Cond Res 31(12):3508-3523 (from memory): growth is alike
    from low to high loads when sets go to failure."""
    assert fired_on(baseline, "hypertrophy", reps=reps) == set()


def test_heavy_lifting_gets_a_word_on_breath_and_blood_pressure(baseline: Baseline) -> None:
    """Source: MacDougall 1985, J Appl Physiol 58(3):785-790: 320/250 mmHg in heavy leg presses,
    in part through the held breath; Williams 2007, Circulation 116(5):572-584 (from memory). Since
    2.0.0 those who are known to have trained for years are spared the word, not those of whom
    nothing is known."""
    for status in ("novice", "trained", "advanced", None):
        fired = fired_on(baseline, "strength", status, modality="free-weights")
        knows_it = baseline.is_second_edition and status in ("trained", "advanced")
        assert ("lifting-breath" in fired) is not knows_it
    caution = baseline.rule("lifting-breath").caution
    assert "never hold your breath" in caution
    assert "With high blood pressure" in caution
