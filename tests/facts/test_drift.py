"""Drifts: the last mornings beside the own usual, measure by measure."""

from __future__ import annotations

from datetime import date, timedelta
from math import exp, log
from typing import Any

import pytest

from dawnrule.facts.drift import DriftRules, Standing, largest, standings
from dawnrule.model.entities import CheckIn, Sleep

TODAY = date(2026, 3, 9)
RULES = DriftRules.bundled()


def check_in(ago: int, **reported: Any) -> CheckIn:
    return CheckIn("a-03", TODAY - timedelta(days=ago), (), **reported)


def slept(hours: dict[int, float]) -> Standing:
    """How sleep stands after nights of so many hours, by days ago."""
    nights = [check_in(ago, sleep=Sleep(known)) for ago, known in hours.items()]
    [found] = (s for s in standings(nights, TODAY, RULES) if s.measure.name == "sleep_hours")
    return found


USUAL = {ago: 7.0 if ago % 2 else 8.0 for ago in range(7, 63)}
"""Eight weeks of 7 and 8 hours: mean 7.5, standard deviation 0.509 over 28 nights."""


def test_short_nights_of_a_week_are_a_drift_with_its_first_day() -> None:
    found = slept(USUAL | dict.fromkeys(range(7), 6.0))
    assert (found.recent, found.usual) == (6.0, 7.5)
    assert found.sds == pytest.approx(1.5 / 0.5091750772)
    assert found.days == 5, "three nights of 6 h were the first to pull the mean under 7 h"
    assert found.since == TODAY - timedelta(days=4)


def test_one_bad_night_is_no_drift() -> None:
    found = slept(USUAL | dict.fromkeys(range(1, 7), 7.5) | {0: 5.0})
    assert not found.drifts
    assert found.days == 0


def test_more_sleep_than_usual_is_none_either() -> None:
    found = slept(USUAL | dict.fromkeys(range(7), 10.0))
    assert found.sds is not None
    assert found.sds < 0
    assert not found.drifts


@pytest.mark.parametrize(
    ("nights", "enough"),
    [
        (dict.fromkeys(range(3), 6.0) | dict.fromkeys(range(7, 14), 8.0), True),
        (dict.fromkeys(range(2), 6.0) | dict.fromkeys(range(7, 14), 8.0), False),
        (dict.fromkeys(range(3), 6.0) | dict.fromkeys(range(7, 13), 8.0), False),
    ],
)
def test_too_few_mornings_tell_nothing(nights: dict[int, float], enough: bool) -> None:
    found = slept(nights)
    assert (found.recent is not None) is enough
    assert found.mornings + found.usual_mornings == len(nights)


def test_what_never_varies_does_not_make_a_drift_of_every_change() -> None:
    rested = [check_in(ago, fatigue=2) for ago in range(7, 40)]
    tired = [check_in(ago, fatigue=3 if ago < 3 else 2) for ago in range(7)]
    found = {s.measure.name: s for s in standings([*rested, *tired], TODAY, RULES)}
    assert found["fatigue"].sds == pytest.approx(3 / 7)
    assert not found["fatigue"].drifts


def test_of_soreness_the_muscle_group_counts_that_is_farthest_off() -> None:
    days = [
        check_in(ago, soreness={"chest": 3, "calves": 6 if ago < 7 else 1}) for ago in range(40)
    ]
    found = {s.measure.name: s for s in standings(days, TODAY, RULES)}
    assert found["soreness"].muscle_group == "calves"
    assert found["soreness"].drifts


def test_heart_rate_variability_leaves_its_own_band_as_published() -> None:
    """The week 58, 57, 59, ... ms lies under the band of the four weeks before: mean of ln rMSSD
    4.1195, SD 0.0370, half of it below is 4.1011; the week's mean is 4.0578. Vesterinen 2016, Med
    Sci Sports Exerc 48(7):1347-1354."""
    usual = [60, 64, 58, 62, 66, 61, 59, 63, 60, 65, 62, 58, 64, 61]
    usual += [60, 63, 59, 62, 66, 61, 60, 64, 58, 62, 61, 63, 60, 62]
    week = [57, 59, 60, 58, 56, 57, 58]
    days = [check_in(ago, hrv_rmssd_ms=ms) for ago, ms in enumerate(week + usual)]
    found = {s.measure.name: s for s in standings(days, TODAY, RULES)}["hrv_rmssd_ms"]
    assert found.usual == pytest.approx(exp(4.11954), abs=1e-3)
    assert log(found.recent or 0) == pytest.approx(4.05775, abs=1e-5)
    assert found.sds == pytest.approx((4.11954 - 4.05775) / 0.03698, abs=1e-2)
    assert found.drifts


def test_nothing_is_added_up() -> None:
    """An athlete's place is that of the measure that is farthest off, whatever else there is."""
    days = [
        check_in(ago, sleep=Sleep(6.0 if ago < 7 else 8.0), fatigue=2 if ago > 6 else 8)
        for ago in range(40)
    ]
    found = standings(days, TODAY, RULES)
    drifting = [s.sds or 0.0 for s in found if s.drifts]
    assert len(drifting) == 2
    assert largest(found) == max(drifting)
