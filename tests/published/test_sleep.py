"""Published checks: sleep need and sleep trials."""

from __future__ import annotations

import re

import pytest

from dawnrule.facts.derive import MorningFacts, derive_facts
from dawnrule.model import Verdict
from dawnrule.model.entities import History, Sleep
from tests.published.mornings import (
    MORNING,
    Baseline,
    athlete_aged,
    check_in,
    everything_at_its_best,
    mornings_before,
    one_block_of_each_goal,
    planned,
)


def after_a_week_at(hours: float, age_years: int, nights: int = 7) -> MorningFacts:
    """The facts of a morning after so many nights of the same length, this one among them."""
    history = History(mornings_before(sleep_hours=[hours] * (nights - 1)))
    return derive_facts(
        athlete_aged(age_years),
        check_in(planned("power", "chest"), sleep=Sleep(hours)),
        history,
        MORNING,
    )


@pytest.mark.parametrize("hours", [7.0, 9.0, 9.5, 14.0])
def test_no_night_is_too_long_for_an_adult(baseline: Baseline, hours: float) -> None:
    """Source: Watson 2015, J Clin Sleep Med 11(6):591-592: 7 h or more, and no upper limit."""
    best = everything_at_its_best() | {"sleep": Sleep(hours=hours, quality=5)}
    for block in one_block_of_each_goal():
        assert baseline.decide(check_in(block, **best)).fired == set(), block.goal


@pytest.mark.parametrize(("age_years", "is_told"), [(13, True), (17, True), (18, False)])
def test_the_young_are_told_how_much_sleep_they_need(
    baseline: Baseline, age_years: int, is_told: bool
) -> None:
    """Source: Hirshkowitz 2015, Sleep Health 1(1):40-43: 14-17 years 8-10 h, 6-13 years 9-11 h,
    from 18 on 7-9 h; Paruthi 2016, J Clin Sleep Med 12(6):785-786: 13-18 years 8-10 h."""
    told = baseline.decide(check_in(), athlete_aged(age_years)).fired
    assert ("under-eighteen" in told) is is_told
    caution = baseline.rule("under-eighteen").caution
    assert "8 to 10 h a night at 14 to 17 years" in caution
    assert "9 to 11 h at 6 to 13" in caution


def test_one_bad_morning_is_not_called_overtraining(baseline: Baseline) -> None:
    """Source: Meeusen 2013, Med Sci Sports Exerc 45(1):186-205: a diagnosis of exclusion, months
    long."""
    worst = {"sleep": Sleep(hours=0.0, quality=1), "fatigue": 10, "stress": 10}
    decided = baseline.decide(check_in(*one_block_of_each_goal(), **worst))
    assert decided.verdict is Verdict.REST
    for rule in map(baseline.rule, decided.fired):
        text = f"{rule.title} {rule.reason} {rule.caution}".lower()
        assert "overtrain" not in text, rule.id
        assert "overreach" not in text, rule.id


@pytest.mark.parametrize(
    ("age_years", "least_hours"),
    [(6, 9), (13, 9), (14, 8), (17, 8), (18, 7), (25, 7), (26, 7), (64, 7), (65, 7), (90, 7)],
)
def test_the_need_for_sleep_changes_with_the_bands_of_age(
    age_years: int, least_hours: float
) -> None:
    """Source: Hirshkowitz 2015, Sleep Health 1(1):40-43: 6-13 years 9-11 h, 14-17 8-10, 18-64 7-9,
    65 and over 7-8. At 13 Paruthi 2016, J Clin Sleep Med 12(6):785-786 has 8-10 h; the longer need
    is used. Watson 2015, J Clin Sleep Med 11(6):591-592: 7 h or more at 18 to 60."""
    enough = after_a_week_at(least_hours, age_years).day
    short = after_a_week_at(least_hours - 0.25, age_years).day
    assert enough["sleep_shortfall_hours"] == 0
    assert short["sleep_shortfall_hours"] == 0.25


@pytest.mark.parametrize(
    ("age_years", "hours", "is_short"),
    [
        *((17, 7.9, True), (17, 8.0, False)),
        *((18, 6.9, True), (18, 7.0, False), (18, 7.9, False)),
        *((30, 6.9, True), (30, 7.0, False), (30, 9.5, False)),
        *((70, 6.9, True), (70, 7.0, False), (70, 9.5, False)),
    ],
)
def test_a_week_is_short_by_the_need_of_the_age(
    age_years: int, hours: float, is_short: bool
) -> None:
    """Source: Hirshkowitz 2015, Sleep Health 1(1):40-43; more than is recommended is never short
    (Watson 2015, J Clin Sleep Med 11(6):591-592: no upper limit)."""
    shortfall = after_a_week_at(hours, age_years).day["sleep_shortfall_hours"]
    assert (shortfall != 0) is is_short


def test_below_the_youngest_band_there_is_no_need_to_compare_with() -> None:
    """Source: Hirshkowitz 2015, Sleep Health 1(1):40-43; here its bands begin at 6 years."""
    morning = after_a_week_at(3, age_years=5)
    assert "sleep_shortfall_hours" not in morning.day
    assert re.search(r"\b5\b", morning.missing["sleep_shortfall_hours"])


def test_a_week_is_spoken_of_from_four_nights_on() -> None:
    """House judgement: the least nights of seven."""
    assert "sleep_shortfall_hours" in after_a_week_at(5, age_years=30, nights=4).day
    three = after_a_week_at(5, age_years=30, nights=3)
    assert "sleep_shortfall_hours" not in three.day
    assert re.search(r"needs 4 .*has 3", three.missing["sleep_shortfall_hours"])


@pytest.mark.parametrize("age_years", [13, 17, 30, 70])
def test_demanding_work_is_swapped_an_hour_and_a_half_below_the_need(
    baseline: Baseline, age_years: int
) -> None:
    """The need: Hirshkowitz 2015, Sleep Health 1(1):40-43. An hour and a half: house judgement."""
    need = {13: 9, 17: 8, 30: 7, 70: 7}[age_years]
    for hours, verdict in ((need - 1.4, Verdict.TRAIN), (need - 1.5, Verdict.SWAP)):
        decided = baseline.decide_on(after_a_week_at(hours, age_years))
        assert decided.verdict is verdict, hours
