"""Published checks: heat, the longest run, jumps, caffeine and sleep need, from check-in to advice.

Armstrong 2007, Med Sci Sports Exerc 39(3):556-572 (WBGT limits, the table as reprinted in J Athl
Train). Frandsen 2025, Br J Sports Med 59(17):1203-1210 (hazard ratio 1.64 above 10 % and 2.28 above
100 % over the longest run of 30 days). Claudino 2017, J Sci Med Sport 20(4):397-402 (mean of the
jumps). Guest 2021, J Int Soc Sports Nutr 18:1 (3 to 6 mg/kg; many side effects at 9). Hirshkowitz
2015, Sleep Health 1(1):40-43 (least hours by age).
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from typing import Any

import pytest

from dawnrule.facts.circumstances import estimated_wbgt_c
from dawnrule.facts.performance import jump_height_cm
from dawnrule.model import Verdict
from dawnrule.model.entities import Block, CheckIn, Heat, History, Session, Sleep, Takes
from tests.published.mornings import ADULT, MORNING, Baseline

TODAY = MORNING.date()
RUN = Block("steady-endurance", modality="flat-running", minutes=40.0)
ANSWERED: dict[str, Any] = {"pain": (), "illness": "none", "warning_signs": (), "sleep": Sleep(8.0)}


def check_in(*plan: Block, **said: Any) -> CheckIn:
    return CheckIn(ADULT.id, TODAY, plan, **{**ANSWERED, **said})


def ran(days_ago: int, kilometres: float) -> Session:
    run = replace(RUN, kilometres=kilometres)
    return Session(ADULT.id, MORNING - timedelta(days=days_ago), 40.0, (run,), 4.0)


RUNS = History(sessions=tuple(ran(days, 10.0) for days in range(30, 1, -3)))
"""Ten kilometres every third day for a month."""


@pytest.mark.parametrize(
    ("wbgt_c", "acclimatised", "rule"),
    [
        (27.8, None, None),
        (27.9, None, "heat-not-used-to-it"),
        (30.1, None, "heat-not-used-to-it-stops"),
        (31.0, True, None),
        (32.2, True, None),
        (32.3, True, "heat-everyone-stops"),
    ],
)
def test_heat_stops_at_the_published_limits(
    newest_baseline: Baseline, wbgt_c: float, acclimatised: bool | None, rule: str | None
) -> None:
    """Armstrong 2007: limit from 27.9 and stop at 30.1 if not acclimatised; all stop above 32.2."""
    heat = Heat(wbgt_c=wbgt_c, acclimatised=acclimatised)
    fired = newest_baseline.decide(check_in(RUN, heat=heat), history=RUNS).fired
    assert {name for name in fired if name.startswith("heat-")} == ({rule} if rule else set())


def test_wbgt_is_estimated_as_published() -> None:
    """0.567 T + 0.393 e + 3.94 (Australian Bureau of Meteorology, from memory): 30 °C at 50 %
    humidity has e = 21.2 hPa, so 29.3 °C WBGT; dry air has 0.567 T + 3.94. Armstrong 2007 uses
    measured WBGT."""
    assert estimated_wbgt_c(30, 50) == pytest.approx(29.3, abs=0.05)
    assert estimated_wbgt_c(40, 0) == pytest.approx(26.62)


@pytest.mark.parametrize(
    ("kilometres", "rule"),
    [
        (11.0, None),
        (11.1, "longest-run-longer"),
        (20.0, "longest-run-longer"),
        (20.1, "longest-run-doubled"),
    ],
)
def test_a_run_much_longer_than_the_longest_is_told(
    newest_baseline: Baseline, kilometres: float, rule: str | None
) -> None:
    """Frandsen 2025: more than 10 % over the longest run of 30 days, and more than 100 %."""
    run = replace(RUN, kilometres=kilometres)
    decided = newest_baseline.decide(check_in(run), history=RUNS)
    assert {name for name in decided.fired if name.startswith("longest-run")} == (
        {rule} if rule else set()
    )
    assert (Verdict.SWAP in decided.parts) is (rule == "longest-run-doubled")


def test_the_mean_of_the_jumps_counts_and_not_the_best() -> None:
    """Claudino 2017: the mean of several jumps is more sensitive to fatigue than the best."""
    assert jump_height_cm(check_in(jump_height_cm=(36.0, 39.0, 42.0))) == 39


@pytest.mark.parametrize(
    ("mg", "fires"), [(240.0, False), (480.0, False), (712.0, False), (720.0, True)]
)
def test_much_caffeine_is_cautioned_and_decides_nothing(
    newest_baseline: Baseline, mg: float, fires: bool
) -> None:
    """Guest 2021: 3 to 6 mg/kg are usual, 9 mg/kg bring many side effects; 80 kg here."""
    heavy = replace(ADULT, body_mass_kg=80.0)
    with_it = newest_baseline.decide(
        check_in(RUN, takes=Takes(caffeine_mg=mg)), athlete=heavy, history=RUNS
    )
    without = newest_baseline.decide(check_in(RUN), athlete=heavy, history=RUNS)
    assert ("takes-much-caffeine" in with_it.fired) is fires
    assert with_it.parts == without.parts


@pytest.mark.parametrize(("age", "need"), [(10, 9), (15, 8), (30, 7), (70, 7)])
def test_a_night_is_held_against_the_need_of_the_age(
    newest_baseline: Baseline, age: int, need: float
) -> None:
    """Hirshkowitz 2015: at least 9 h at school age, 8 h for teenagers, 7 h for adults."""
    athlete = replace(ADULT, date_of_birth=date(TODAY.year - age, TODAY.month, TODAY.day))
    rule = next(r for r in newest_baseline.rule_set.rules if "sleep_short_of_need_hours" in r.reads)
    assert rule.reads
    short = newest_baseline.facts(check_in(RUN, sleep=Sleep(need - 1.5)), athlete).day
    assert short["sleep_short_of_need_hours"] == 1.5
    enough = newest_baseline.facts(check_in(RUN, sleep=Sleep(need - 1.0, naps_hours=1.0)), athlete)
    assert enough.day["sleep_short_of_need_hours"] == 0
