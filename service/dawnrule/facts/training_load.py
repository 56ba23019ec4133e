"""Facts of training load, landing work and balance from the training log (pure)."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from datetime import date, timedelta
from statistics import fmean
from typing import TypeAlias

from dawnrule.facts.history import Past, Unavailable, too_few
from dawnrule.facts.load_formulas import monotony, rise_percent, strain, weighted_load
from dawnrule.facts.work import Work
from dawnrule.model import FactValue, Vocabulary
from dawnrule.model.concerns import Concern, ConcernKind, Restrictions
from dawnrule.model.entities import Block
from dawnrule.model.training import ONE_DAY, groups_of, movements_of

_HIGH_ECCENTRIC_LOAD = "high"
"""The eccentric load that counts as landing: the last of its kind in the fact dictionary."""

Finding: TypeAlias = FactValue | Unavailable
Landed: TypeAlias = Sequence[tuple[date, float]]
"""The date and the minutes of each block of landing work."""

_ALL_ALIKE = Unavailable("needs days whose loads differ, all of the week are alike")


def _days_in_a_row(past: Past) -> int | Unavailable:
    trained = {day for day, _ in past.log.sessions if day < past.log.today}
    if not trained:
        return Unavailable("needs one logged session before today, has none")
    count, day = 0, past.log.today - ONE_DAY
    while day in trained:
        count, day = count + 1, day - ONE_DAY
    return count


def _weekly_load_rise(past: Past, week: list[float]) -> float | Unavailable:
    window = past.parameters("weekly_load_rise_percent")
    days = past.parameters("weekly_load")["days"]
    weeks = [
        sum(loads)
        for ago in range(1, window["weeks"] + 1)
        if not isinstance(loads := past.log.daily_loads(days, ending=ago * days), Unavailable)
    ]
    if len(weeks) < window["least_weeks"]:
        return too_few("rated weeks before this one", window["least_weeks"], len(weeks))
    if not any(weeks):
        return Unavailable("needs load in the weeks before, has none")
    return rise_percent(sum(week), fmean(weeks))


def _loads_of_week(past: Past) -> Iterator[tuple[str, Finding]]:
    week = past.log.daily_loads(past.parameters("weekly_load")["days"])
    if isinstance(week, Unavailable):
        for fact in ("weekly_load", "weekly_load_rise_percent", "monotony", "strain"):
            yield fact, week
        return
    ratio = monotony(week)
    yield "weekly_load", sum(week)
    yield "weekly_load_rise_percent", _weekly_load_rise(past, week)
    yield "monotony", ratio or _ALL_ALIKE
    yield "strain", strain(week, ratio) if ratio else _ALL_ALIKE


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


def _lands(block: Block, words: Vocabulary) -> bool:
    modality = block.modality
    return (
        modality is not None and words.modalities[modality].eccentric_load == _HIGH_ECCENTRIC_LOAD
    )


def landed_of(works: Iterable[Work], words: Vocabulary) -> Landed:
    """Find the landing work of the log."""
    return [(work.day, work.minutes) for work in works if _lands(work.block, words)]


def _landing_minutes(landed: Landed, first: date, end: date) -> float:
    return sum(minutes for day, minutes in landed if first <= day < end)


def _planned_landing(past: Past) -> list[Block]:
    return [block for block in past.check_in.plan if _lands(block, past.vocabulary)]


def _landing_week(past: Past, landed: Landed) -> float | Unavailable:
    days = past.parameters("landing_minutes_week")["days"] - 1
    if not past.log.covers(days):
        return past.log.too_short(days)
    if any(block.minutes is None for block in _planned_landing(past)):
        return Unavailable("the plan does not say its minutes")
    today = past.log.today
    planned = sum(block.minutes or 0.0 for block in _planned_landing(past))
    return _landing_minutes(landed, today - timedelta(days=days), today) + planned


def _landing_rise(past: Past, landed: Landed) -> float | Unavailable:
    now = _landing_week(past, landed)
    if isinstance(now, Unavailable):
        return now
    days = past.parameters("landing_minutes_rise_percent")["days"]
    end = past.log.today - timedelta(days=past.parameters("landing_minutes_week")["days"] - 1)
    first = end - timedelta(days=days)
    needed = (past.log.today - first).days
    if not past.log.covers(needed):
        return past.log.too_short(needed)
    before = _landing_minutes(landed, first, end)
    if before == 0:
        return Unavailable("needs such minutes in the week before, has none")
    return rise_percent(now, before)


def _landing_from_none(past: Past, landed: Landed) -> bool | Unavailable:
    days = past.parameters("landing_minutes_from_none")["days"] - 1
    if not past.log.covers(days):
        return past.log.too_short(days)
    before = _landing_minutes(landed, past.log.today - timedelta(days=days), past.log.today)
    return bool(_planned_landing(past)) and before == 0


def _landing_again(past: Past, landed: Landed) -> bool | Unavailable:
    """Return whether the first landing work of the last six days came after as long without as
    ``landing_minutes_from_none`` asks for."""
    week = past.parameters("landing_minutes_week")["days"] - 1
    without = past.parameters("landing_minutes_from_none")["days"] - 1
    first = past.log.today - timedelta(days=week)
    while first < past.log.today and not _landing_minutes(landed, first, first + ONE_DAY):
        first += ONE_DAY
    needed = (past.log.today - first).days + without
    if not past.log.covers(needed):
        return past.log.too_short(needed)
    before = _landing_minutes(landed, first - timedelta(days=without), first)
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


def day_facts(past: Past) -> Iterator[tuple[str, Finding]]:
    """Yield the day's facts of the log that do not hang on the plan."""
    yield "days_trained_in_a_row", _days_in_a_row(past)
    yield from _loads_of_week(past)
    yield "acute_load", _weighted(past, "acute_load")
    yield "chronic_load", _weighted(past, "chronic_load")


def plan_facts(past: Past, landed: Landed) -> Iterator[tuple[str, Finding]]:
    """Yield the day's facts of the log that the plan is a part of."""
    for movement in ("press", "pull", "hinge", "squat"):
        yield f"week_lacks_{movement}", _week_lacks(past, movement)
    yield "landing_minutes_week", _landing_week(past, landed)
    yield "landing_minutes_rise_percent", _landing_rise(past, landed)
    yield "landing_minutes_from_none", _landing_from_none(past, landed)
    yield "landing_again_in_first_week", _landing_again(past, landed)
