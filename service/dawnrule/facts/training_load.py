"""Facts of training load, landing work and balance from the training log (pure)."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import date, timedelta
from functools import partial
from statistics import fmean

from dawnrule.facts.history import FactFunction, Past, Unavailable, too_few
from dawnrule.facts.load_formulas import monotony, rise_percent, strain, weighted_load
from dawnrule.model.concerns import Concern, ConcernKind, Restrictions
from dawnrule.model.entities import Block
from dawnrule.model.training import ONE_DAY, groups_of, movements_of

_HIGH_ECCENTRIC_LOAD = "high"
"""The eccentric load that counts as landing: the last of its kind in the fact dictionary."""

_ALL_ALIKE = Unavailable("needs days whose loads differ, all of the week are alike")


def _days_in_a_row(past: Past) -> int | Unavailable:
    trained = {day for day, _ in past.log.sessions if day < past.log.today}
    if not trained:
        return Unavailable("needs one logged session before today, has none")
    count, day = 0, past.log.today - ONE_DAY
    while day in trained:
        count, day = count + 1, day - ONE_DAY
    return count


def _weekly_load(past: Past) -> float | Unavailable:
    loads = past.log.daily_loads(past.parameters("weekly_load")["days"])
    return loads if isinstance(loads, Unavailable) else sum(loads)


def _weekly_load_rise(past: Past) -> float | Unavailable:
    now = _weekly_load(past)
    if isinstance(now, Unavailable):
        return now
    window = past.parameters("weekly_load_rise_percent")
    days = past.parameters("weekly_load")["days"]
    weeks = [
        sum(loads)
        for week in range(1, window["weeks"] + 1)
        if not isinstance(loads := past.log.daily_loads(days, ending=week * days), Unavailable)
    ]
    if len(weeks) < window["least_weeks"]:
        return too_few("rated weeks before this one", window["least_weeks"], len(weeks))
    if not any(weeks):
        return Unavailable("needs load in the weeks before, has none")
    return rise_percent(now, fmean(weeks))


def _monotony(past: Past) -> float | Unavailable:
    loads = past.log.daily_loads(past.parameters("weekly_load")["days"])
    if isinstance(loads, Unavailable):
        return loads
    return monotony(loads) or _ALL_ALIKE


def _strain(past: Past) -> float | Unavailable:
    loads = past.log.daily_loads(past.parameters("weekly_load")["days"])
    if isinstance(loads, Unavailable):
        return loads
    return strain(loads) or _ALL_ALIKE


def _weighted(past: Past, fact: str) -> float | Unavailable:
    window = past.parameters(fact)
    if not past.log.covers(window["least_days"]):
        return past.log.too_short(window["least_days"])
    loads = past.log.daily_loads(past.log.days_covered)
    return loads if isinstance(loads, Unavailable) else weighted_load(loads, window["days"])


def _week_lacks(past: Past, movement: str) -> bool | Unavailable:
    days = past.parameters(f"week_lacks_{movement}")["days"]
    if not past.log.covers(days):
        return past.log.too_short(days)
    if past.is_second_edition and any(map(_spares, past.concerns)):
        return Unavailable("something is spared on purpose")
    done = (block for session in past.log.last(days) for block in session.blocks)
    blocks: Iterable[Block] = (*done, *past.check_in.plan)
    return not any(movement in movements_of(block, past.vocabulary) for block in blocks)


def _spares(concern: Concern) -> bool:
    """Return whether pain that has not ended, or what a coach or clinician said, spares a part of
    the body."""
    if concern.kind is ConcernKind.PAIN:
        return not concern.is_closed
    told_by = concern.restriction or concern.clearance
    return told_by is not None and not concern.is_closed and _leaves_out(told_by.restrictions)


def _leaves_out(restrictions: Restrictions) -> bool:
    groups, goals = restrictions.muscle_groups_rest, restrictions.goals_not
    return bool(restrictions.rests_everything or groups or goals)


def _landing_minutes(past: Past, first: date, end: date) -> float:
    modalities = past.vocabulary.modalities
    return sum(
        minutes
        for block, minutes in past.log.blocks_between(first, end)
        if block.modality and modalities[block.modality].eccentric_load == _HIGH_ECCENTRIC_LOAD
    )


def _planned_landing(past: Past) -> list[Block]:
    modalities = past.vocabulary.modalities
    return [
        block
        for block in past.check_in.plan
        if block.modality and modalities[block.modality].eccentric_load == _HIGH_ECCENTRIC_LOAD
    ]


def _landing_week(past: Past) -> float | Unavailable:
    days = past.parameters("landing_minutes_week")["days"] - 1
    if not past.log.covers(days):
        return past.log.too_short(days)
    if any(block.minutes is None for block in _planned_landing(past)):
        return Unavailable("the plan does not say its minutes")
    today = past.log.today
    planned = sum(block.minutes or 0.0 for block in _planned_landing(past))
    return _landing_minutes(past, today - timedelta(days=days), today) + planned


def _landing_rise(past: Past) -> float | Unavailable:
    now = _landing_week(past)
    if isinstance(now, Unavailable):
        return now
    days = past.parameters("landing_minutes_rise_percent")["days"]
    end = past.log.today - timedelta(days=past.parameters("landing_minutes_week")["days"] - 1)
    first = end - timedelta(days=days)
    needed = (past.log.today - first).days
    if not past.log.covers(needed):
        return past.log.too_short(needed)
    before = _landing_minutes(past, first, end)
    if before == 0:
        return Unavailable("needs such minutes in the week before, has none")
    return rise_percent(now, before)


def _landing_from_none(past: Past) -> bool | Unavailable:
    days = past.parameters("landing_minutes_from_none")["days"] - 1
    if not past.log.covers(days):
        return past.log.too_short(days)
    before = _landing_minutes(past, past.log.today - timedelta(days=days), past.log.today)
    return bool(_planned_landing(past)) and before == 0


def _landing_again(past: Past) -> bool | Unavailable:
    """Return whether the first landing work of the last six days came after as long without as
    ``landing_minutes_from_none`` asks for."""
    week = past.parameters("landing_minutes_week")["days"] - 1
    without = past.parameters("landing_minutes_from_none")["days"] - 1
    first = past.log.today - timedelta(days=week)
    while first < past.log.today and not _landing_minutes(past, first, first + ONE_DAY):
        first += ONE_DAY
    needed = (past.log.today - first).days + without
    if not past.log.covers(needed):
        return past.log.too_short(needed)
    before = _landing_minutes(past, first - timedelta(days=without), first)
    return bool(_planned_landing(past)) and first < past.log.today and before == 0


def hard_sets_week(past: Past, group: str) -> int | Unavailable:
    """Count the sets of lifting goals for a muscle group over the fact's window."""
    days = past.parameters("hard_sets_week")["days"]
    if not past.log.covers(days):
        return past.log.too_short(days)
    blocks = [
        block
        for session in past.log.last(days)
        for block in session.blocks
        if block.goal in past.vocabulary.lifting_goals
        and group in groups_of(block, past.vocabulary)
    ]
    if any(block.sets is None for block in blocks):
        return Unavailable("a block of the week does not say its sets")
    return sum(block.sets or 0 for block in blocks)


DAY_FACTS: Mapping[str, FactFunction] = {
    "days_trained_in_a_row": _days_in_a_row,
    "weekly_load": _weekly_load,
    "weekly_load_rise_percent": _weekly_load_rise,
    "monotony": _monotony,
    "strain": _strain,
    "acute_load": partial(_weighted, fact="acute_load"),
    "chronic_load": partial(_weighted, fact="chronic_load"),
}

PLAN_FACTS: Mapping[str, FactFunction] = {
    "week_lacks_press": partial(_week_lacks, movement="press"),
    "week_lacks_pull": partial(_week_lacks, movement="pull"),
    "week_lacks_hinge": partial(_week_lacks, movement="hinge"),
    "week_lacks_squat": partial(_week_lacks, movement="squat"),
    "landing_minutes_week": _landing_week,
    "landing_minutes_rise_percent": _landing_rise,
    "landing_minutes_from_none": _landing_from_none,
    "landing_again_in_first_week": _landing_again,
}
"""Facts of a day that hang on its plan too."""
