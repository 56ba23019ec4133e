"""Published checks: endurance work and eccentric load."""

from __future__ import annotations

from datetime import timedelta

import pytest

from dawnrule.model import Verdict
from dawnrule.model.entities import Block
from tests.published.mornings import (
    EVENING,
    WORDS,
    Baseline,
    check_in,
    everything_at_its_best,
    planned,
    trained,
)

LEGS = ("quadriceps", "hamstrings", "glutes", "calves")


@pytest.mark.parametrize(
    ("modality", "verdict"),
    [
        ("cycling", Verdict.TRAIN),
        ("rowing", Verdict.TRAIN),
        ("swimming", Verdict.TRAIN),
        ("downhill-running", Verdict.SWAP),
        ("jumping", Verdict.SWAP),
    ],
)
def test_sore_legs_cycle_but_do_not_land(
    baseline: Baseline, modality: str, verdict: Verdict
) -> None:
    """Source: easy cycling after eccentric work made soreness and force no worse (Tufano 2012,
    J Strength Cond Res 26(10):2777-2782); downhill running cost force for 24-48 h (Maeo 2017, Sci
    Rep 7:5769), most in those not used to it (Bontemps 2020, Sports Med 50(12):2083-2110)."""
    reported = everything_at_its_best() | {
        "soreness": dict.fromkeys(WORDS.muscle_groups, 4),
        "last_trained": trained(24, "strength", ["quadriceps"]),
    }
    plan = planned("steady-endurance", modality=modality)
    assert baseline.decide(check_in(plan, **reported)).verdict is verdict


@pytest.mark.parametrize(
    ("hours", "modality", "verdict"),
    [
        (24, "downhill-running", Verdict.SWAP),
        (24, "jumping", Verdict.SWAP),
        (46, "downhill-running", Verdict.SWAP),
        (47, "downhill-running", Verdict.TRAIN),
        (24, "cycling", Verdict.TRAIN),
    ],
)
def test_legs_that_are_not_sore_do_not_land_hard_within_two_days_of_growth_work(
    newest_baseline: Baseline, hours: int, modality: str, verdict: Verdict
) -> None:
    """Source: downhill running cost knee and ankle force for 24-48 h (Maeo 2017, Sci Rep 7:5769),
    and sets to failure left lifters below baseline at 24 h and not at 48 h (McLester 2003,
    J Strength Cond Res 17(2):259-273). No soreness is no all-clear: it hardly tracks damage (Nosaka
    2002, Scand J Med Sci Sports 12(6):337-346). The rule itself: common practice, no source; the
    hour that is granted: house judgement."""
    reported = everything_at_its_best() | {"last_trained": trained(hours, "hypertrophy", LEGS)}
    plan = planned("steady-endurance", modality=modality)
    assert newest_baseline.decide(check_in(plan, **reported)).verdict is verdict


def test_what_is_offered_to_sore_legs_brakes_little(baseline: Baseline) -> None:
    """Source: Maeo 2017, Sci Rep 7:5769; Bontemps 2020, Sports Med 50(12):2083-2110. Since 2.0.0
    the alternatives name the ways, and the caution only what they have in common."""
    offered = ["cycling", "swimming", "rowing", "sled-push", "uphill-walking"]
    stems = ["cycle", "swim", "row", "sled", "uphill"]
    named = ["little braking"] if baseline.is_second_edition else stems
    caution = baseline.rule("endurance-on-sore-legs").caution.lower()
    assert all(words in caution for words in [*named, "no downhill running and no jumping"])
    for modality in offered:
        assert WORDS.modalities[modality].eccentric_load == "low"
        plan = planned("steady-endurance", "quadriceps", modality=modality)
        sore = check_in(plan, soreness={"quadriceps": 4})
        assert baseline.decide(sore).verdict is Verdict.TRAIN, modality


@pytest.mark.parametrize(
    ("endurance", "is_told"),
    [("intervals", True), ("long-endurance", True), ("steady-endurance", False)],
)
def test_hard_endurance_beside_lifting_gets_a_note_and_no_more(
    baseline: Baseline, endurance: str, is_told: bool
) -> None:
    """Source: Hickson 1980, Eur J Appl Physiol 45:255-263; Wilson 2012, J Strength Cond Res
    26(8):2293-2307 (both from memory): less gain in strength, size and power with both. Schumann
    2022, Sports Med 52(3):601-612: hardly any cost, so a note. That force comes first, as is told
    since 2.0.0: Eddens 2018, Sports Med 48:177-188."""
    plan: tuple[Block, Block] = (
        planned(endurance, modality="cycling"),
        planned("power", "quadriceps", modality="bodyweight"),
    )
    decided = baseline.decide(check_in(*plan, **everything_at_its_best()))
    assert decided.verdict is Verdict.TRAIN
    order = {"endurance-before-force-work"} if baseline.is_second_edition else set()
    assert decided.fired == ({"endurance-and-lifting-same-day"} | order if is_told else set())


@pytest.mark.parametrize(("hours", "is_told"), [(2.9, True), (3.0, False)])
def test_three_hours_between_endurance_and_lifting_are_enough(
    newest_baseline: Baseline, hours: float, is_told: bool
) -> None:
    """Source: Schumann 2022, Sports Med 52(3):601-612: the cost is one within a session, and not
    with 3 h or more between."""
    intervals = planned("intervals", modality="cycling")
    later = EVENING + timedelta(hours=hours)
    power = Block("power", ("quadriceps",), modality="bodyweight", starts_at=later)
    fired = newest_baseline.decide(check_in(intervals, power, **everything_at_its_best())).fired
    assert fired == (
        {"endurance-and-lifting-same-day", "endurance-before-force-work"} if is_told else set()
    )
