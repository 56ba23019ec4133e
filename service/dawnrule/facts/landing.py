"""Facts of landing work, running and hard endurance against the usual of weeks (pure)."""

from __future__ import annotations

from datetime import date, timedelta
from statistics import median

from dawnrule.facts.history import Past, Unavailable, too_few
from dawnrule.facts.load_formulas import rise_percent
from dawnrule.facts.work import ENDURANCE, Work, WorkLog, is_court_sport, is_running, lands_hard
from dawnrule.model.training import ONE_DAY

DAYS_A_WEEK = 7
PER_CENT = 100


def minutes_above_usual_percent(past: Past, log: WorkLog) -> float | Unavailable:
    """Return the landing minutes of this week, today's plan included, against the median of the
    four weeks before it. Weeks without any training are left out.

    Planned work that does not say its minutes adds to what is known, so the rise is at least this;
    it is unknown only where none of the planned work says any.
    """
    usual = _usual_minutes(past, log)
    if isinstance(usual, Unavailable):
        return usual
    planned = [block for block in past.check_in.plan if lands_hard(block, past.vocabulary)]
    if planned and all(block.minutes is None for block in planned):
        return Unavailable("the plan does not say its minutes")
    now = _minutes_this_week(past, log) + sum(block.minutes or 0.0 for block in planned)
    return rise_percent(now, usual)


def minutes_allowed_today(past: Past, log: WorkLog) -> float | Unavailable:
    """Return the landing minutes that keep the week a third above the usual at the most."""
    usual = _usual_minutes(past, log)
    if isinstance(usual, Unavailable):
        return usual
    limits = past.parameters("landing_minutes_allowed_today")
    allowed: float = usual * (PER_CENT + limits["percent"]) / PER_CENT - _minutes_this_week(
        past, log
    )
    least: float = limits["least"]
    return max(allowed, least)


def running_from_none(past: Past, log: WorkLog) -> bool | Unavailable:
    """Return whether running is planned today after four weeks without running or court sport."""
    days = past.parameters("running_from_none")["days"] - 1
    if not past.log.covers(days):
        return past.log.too_short(days)
    words, today = past.vocabulary, past.log.today
    before = log.between(today - timedelta(days=days), today)
    ran = any(is_running(w.block, words) or is_court_sport(w.block, words) for w in before)
    return not ran and any(is_running(block, words) for block in past.check_in.plan)


def hard_endurance_days_in_a_row(past: Past, log: WorkLog) -> int | Unavailable:
    """Count the days up to yesterday with intervals, or hard endurance or court sport."""
    if not any(day < past.log.today for day, _ in past.log.sessions):
        return Unavailable("needs one logged session before today, has none")
    hard = {work.day for work in log.done if _is_hard_endurance(past, work)}
    count, day = 0, past.log.today - ONE_DAY
    while day in hard:
        count, day = count + 1, day - ONE_DAY
    return count


def _is_hard_endurance(past: Past, work: Work) -> bool:
    limits, block = past.parameters("hard_endurance_days_in_a_row"), work.block
    if work.minutes < limits["minutes"]:
        return False
    if block.goal == limits["goal"]:
        return True
    endures = block.goal in ENDURANCE or is_court_sport(block, past.vocabulary)
    return endures and work.rpe is not None and work.rpe >= limits["rpe"]


def _usual_minutes(past: Past, log: WorkLog) -> float | Unavailable:
    window = past.parameters("landing_minutes_above_usual_percent")
    this_week = past.log.today - timedelta(days=DAYS_A_WEEK - 1)
    weeks = []
    for week in range(1, window["weeks"] + 1):
        first = this_week - timedelta(days=week * DAYS_A_WEEK)
        end = first + timedelta(days=DAYS_A_WEEK)
        covered = past.log.covers((past.log.today - first).days)
        if covered and any(True for _ in log.between(first, end)):
            weeks.append(_minutes(past, log, first, end))
    if len(weeks) < window["least_weeks"]:
        return too_few("trained weeks before this one", window["least_weeks"], len(weeks))
    usual = median(weeks)
    if usual == 0:
        return Unavailable("needs landing work in the weeks before, has none")
    return float(usual)


def _minutes_this_week(past: Past, log: WorkLog) -> float:
    """Return the minutes of the last six days."""
    return _minutes(past, log, past.log.today - timedelta(days=DAYS_A_WEEK - 1), past.log.today)


def _minutes(past: Past, log: WorkLog, first: date, end: date) -> float:
    words = past.vocabulary
    return sum(w.minutes for w in log.between(first, end) if lands_hard(w.block, words))
