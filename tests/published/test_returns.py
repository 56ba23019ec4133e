"""Published checks: returns after a knock to the head, an illness, muscle breakdown, a break and a
match.

Patricios 2023, Br J Sports Med 57(11):695-711 (title and key points; 24 to 48 h of relative rest
and 24 h for each stage on secondary pages). Schwellnus 2022, Br J Sports Med 56(19):1066-1088
(abstract). Schleich 2016, J Athl Train 51(5):406-409. Caterisano 2019, Strength Cond J 41(3):1-23
(50, 30, 20 and 10 % less, on a secondary page). Doeven 2018, BMJ Open Sport Exerc Med 4:e000264.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date, datetime, time, timedelta
from functools import partial
from itertools import count
from zoneinfo import ZoneInfo

import pytest

from dawnrule.errors import Conflict
from dawnrule.model import Facts, Verdict
from dawnrule.model.concern_transitions import (
    Actor,
    HealthReport,
    advance,
    clear,
    consider_report,
)
from dawnrule.model.concerns import ActorRole, Clearance, Concern, ConcernState
from dawnrule.rules.returns import Returns, breaches, stage_allows
from dawnrule.rules.staged_returns import stage_plans
from tests.published.mornings import Baseline, Decided

RETURNS = Returns.bundled()
HEAD = RETURNS["head-injury"]
BREAKDOWN = RETURNS["muscle-breakdown"]
BREAK = RETURNS["break"]

KNOCK = date(2026, 3, 9)
ZONE = ZoneInfo("Europe/Berlin")
EASY_CYCLING: Facts = {
    "goal": "steady-endurance",
    "modality": "cycling",
    "planned_effort": 2,
    "planned_minutes": 20,
}
MATCH: Facts = {
    "goal": "intervals",
    "modality": "court-sport",
    "lands_hard": True,
    "planned_contact": True,
}
LEG_GROWTH: Facts = {"goal": "hypertrophy", "muscle_group": "quadriceps", "soreness": 0}


def decided(baseline: Baseline, day: Facts, part: Facts) -> Decided:
    """The decision on facts alone."""
    decision = baseline.decider.decide(day, [{**day, **part}])
    return Decided(
        decision.verdict,
        decision.deciding,
        tuple(one.verdict for one in decision.parts),
        frozenset(rule.id for one in (decision.day, *decision.parts) for rule in one.fired),
    )


def at_seven(days: int) -> datetime:
    """Seven in the morning, so many days after the knock."""
    return datetime.combine(KNOCK + timedelta(days=days), time(7), ZONE)


def report(days: int, *signs: str) -> HealthReport:
    """A check-in so many days after the knock that answers every question."""
    on = KNOCK + timedelta(days=days)
    return HealthReport("a-01", on, at_seven(days), f"c-{days}", signs, "none", ())


def mornings(*reports: HealthReport) -> Iterator[Concern]:
    """The one concern after each of some check-ins."""
    numbers = count(1)
    concerns: dict[str, Concern] = {}
    for one in reports:
        changed = consider_report(
            concerns.values(),
            one,
            lambda: f"concern-{next(numbers)}",
            stage_plans(),
            lambda _: 0,
        )
        concerns |= {concern.id: concern for concern in changed}
        (concern,) = concerns.values()
        yield concern


def clinician(days: int) -> Actor:
    return Actor(ActorRole.CLINICIAN, KNOCK + timedelta(days=days), at_seven(days))


# ---- Patricios 2023 --------------------------------------------------------------------------


def test_a_knock_to_the_head_is_followed_by_24_to_48_h_of_relative_rest() -> None:
    """Source: Patricios 2023."""
    knock, day_after, _ = mornings(report(0, "head-injury"), report(1), report(2))
    assert (knock.state, day_after.state) == (ConcernState.OPEN, ConcernState.OPEN)


def test_each_stage_after_a_knock_takes_24_h_at_the_least() -> None:
    """Source: Patricios 2023."""
    reports = [report(0, "head-injury"), *map(report, range(1, 5))]
    assert [one.stage for one in mornings(*reports)] == [None, None, 2, 3, 3]
    assert all(stage.least >= 24 for stage in HEAD.stages[:-1])


def test_two_check_ins_within_24_h_do_not_pass_a_stage() -> None:
    """Source: Patricios 2023."""
    *_, begun = mornings(report(0, "head-injury"), report(1), report(2))
    with pytest.raises(Conflict):
        advance(begun, clinician(2), stage_plans(), 0)


def test_contact_after_a_knock_needs_a_clearance() -> None:
    """Source: Patricios 2023."""
    reports = [report(0, "head-injury"), *map(report, range(1, 15))]
    *_, waiting = mornings(*reports)
    assert waiting.stage == 3, "two weeks without symptoms open no contact by themselves"
    contact: Facts = {"goal": "skill", "modality": "bodyweight", "planned_contact": True}
    for stage in HEAD.stages:
        assert stage.needs_clearance or not stage_allows(stage, contact)

    cleared = clear(
        waiting,
        Clearance("clearance-1", ActorRole.CLINICIAN, clinician(15).on),
        clinician(15),
        stage_plans(),
    )
    stages = []
    for days in (16, 17, 18):
        cleared = advance(cleared, clinician(days), stage_plans(), 0)
        stages.append(cleared.stage)
    assert stages == [4, 5, 6]
    assert not stage_allows(HEAD.stage_at(4), MATCH)
    assert stage_allows(HEAD.stage_at(6), MATCH)


def test_a_symptom_on_the_way_back_from_a_knock_is_rest_again() -> None:
    """Source: Patricios 2023."""
    *_, again = mornings(report(0, "head-injury"), report(1), report(2), report(3, "head-injury"))
    assert (again.state, again.stage) == (ConcernState.OPEN, None)


def test_the_first_work_after_a_knock_is_light(newest_baseline: Baseline) -> None:
    """Source: Patricios 2023."""
    second = HEAD.stage_at(2)
    assert stage_allows(second, EASY_CYCLING)
    assert not stage_allows(second, {**EASY_CYCLING, "goal": "intervals"})
    beyond = {**MATCH, "beyond_return_stage": "head-injury"}
    assert decided(newest_baseline, {}, beyond).verdict is Verdict.SWAP


# ---- Schwellnus 2022 -------------------------------------------------------------------------


def test_ill_for_more_than_ten_days_is_for_a_clinician(newest_baseline: Baseline) -> None:
    """Source: Schwellnus 2022."""
    say = partial(decided, newest_baseline, part={"goal": "mobility"})
    assert "illness-lasts" not in say({"illness": "above-neck", "illness_days": 10}).fired
    assert "illness-lasts" in say({"illness": "above-neck", "illness_days": 11}).fired
    assert "clinician" in newest_baseline.rule("illness-lasts").caution


def test_the_way_back_from_an_illness_goes_by_symptoms_and_begins_easy() -> None:
    """Source: Schwellnus 2022."""
    first = RETURNS["illness"].stage_at(1)
    assert stage_allows(first, EASY_CYCLING)
    assert "goals" in breaches(first, {"goal": "intervals"})
    assert "effort_at_most" in breaches(first, {**EASY_CYCLING, "planned_effort": 8})
    assert "symptom" in first.back_when


# ---- Schleich 2016 ---------------------------------------------------------------------------


def test_muscle_breakdown_comes_back_by_four_phases_that_each_need_a_clearance() -> None:
    """Source: Schleich 2016."""
    assert len(BREAKDOWN.stages) == 4
    assert all(stage.needs_clearance for stage in BREAKDOWN.stages)


def test_the_phases_go_from_daily_life_over_light_work_to_the_usual() -> None:
    """Source: Schleich 2016."""
    lifting: Facts = {"goal": "strength", "modality": "machines"}
    assert stage_allows(BREAKDOWN.stage_at(1), EASY_CYCLING)
    assert not stage_allows(BREAKDOWN.stage_at(1), lifting)
    assert stage_allows(BREAKDOWN.stage_at(2), {**lifting, "planned_share_percent": 25})
    assert not stage_allows(BREAKDOWN.stage_at(2), {**lifting, "planned_share_percent": 50})
    assert stage_allows(BREAKDOWN.stage_at(3), {**lifting, "planned_share_percent": 50})
    assert stage_allows(BREAKDOWN.stage_at(4), {**lifting, "planned_share_percent": 80})
    assert not stage_allows(BREAKDOWN.stage_at(4), {**lifting, "planned_to_failure": True})


def test_dark_urine_ends_by_no_answer_and_no_time(newest_baseline: Baseline) -> None:
    """Source: Schleich 2016."""
    reports = [report(0, "dark-urine"), *map(report, range(1, 60))]
    *_, still = mornings(*reports)
    assert still.state is ConcernState.OPEN
    open_sign: Facts = {"open_warning_sign": "dark-urine", "open_warning_sign_days": 59}
    assert decided(newest_baseline, open_sign, EASY_CYCLING).verdict is Verdict.REST


# ---- Caterisano 2019 -------------------------------------------------------------------------


@pytest.mark.parametrize(("week", "percent"), [(1, 50), (2, 70), (3, 80), (4, 90)])
def test_the_weeks_after_a_break_hold_so_much_of_the_usual(week: int, percent: int) -> None:
    """Source: Caterisano 2019."""
    stage = BREAK.stage_at(week)
    limits = stage.allows.limits
    assert limits.share_of_sets == limits.share_of_minutes == percent / 100
    assert stage_allows(stage, {"goal": "hypertrophy", "planned_share_percent": percent})
    assert not stage_allows(stage, {"goal": "hypertrophy", "planned_share_percent": percent + 1})


def test_two_weeks_without_training_are_a_break(newest_baseline: Baseline) -> None:
    """Source: Caterisano 2019."""
    back: Facts = {
        "goal": "hypertrophy",
        "break_days": 14,
        "return_after": "break",
        "return_stage": 1,
        "return_left": 7,
    }
    assert "first-week-after-a-break" in decided(newest_baseline, {}, back).fired
    beyond = {**back, "beyond_return_stage": "break"}
    assert decided(newest_baseline, {}, beyond).rule_id == "beyond-return-break"


# ---- Doeven 2018 -----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("hours", "verdict", "rule"),
    [
        (19.0, Verdict.SWAP, "growth-work-after-a-match"),
        (46.9, Verdict.SWAP, "growth-work-after-a-match"),
        (48.0, Verdict.TRAIN, "growth-work-third-day-after-a-match"),
        (70.9, Verdict.TRAIN, "growth-work-third-day-after-a-match"),
    ],
)
def test_a_match_counts_for_leg_growth_for_up_to_72_h(
    newest_baseline: Baseline, hours: float, verdict: Verdict, rule: str
) -> None:
    """Source: Doeven 2018; that the first two days are a swap and the third a note is house
    judgement."""
    said = decided(newest_baseline, {}, {**LEG_GROWTH, "hours_since_match": hours})
    assert said.verdict is verdict
    assert rule in said.fired


def test_after_72_h_a_match_counts_no_more(newest_baseline: Baseline) -> None:
    """Source: Doeven 2018."""
    said = decided(newest_baseline, {}, {**LEG_GROWTH, "hours_since_match": 72.0})
    assert not [rule for rule in said.fired if "match" in rule]


def test_a_match_does_not_hold_back_growth_work_of_the_arms(newest_baseline: Baseline) -> None:
    """Source: Doeven 2018, which is about running and jumping sports."""
    arms = {**LEG_GROWTH, "muscle_group": "biceps", "hours_since_match": 19.0}
    assert decided(newest_baseline, {}, arms).verdict is Verdict.TRAIN
