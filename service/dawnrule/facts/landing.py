"""Facts of landing work, running and hard endurance against the usual of weeks (pure)."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import date, timedelta
from statistics import median
from typing import TypeAlias

from dawnrule.facts.history import Past, Unavailable, too_few
from dawnrule.facts.illness import NOT_ILL, illness_of
from dawnrule.facts.load_formulas import rise_percent
from dawnrule.facts.pain import counts_for, passed_through
from dawnrule.facts.work import ENDURANCE, Work, WorkLog, is_court_sport, is_running, lands_hard
from dawnrule.model import FactValue
from dawnrule.model.concerns import Concern, ConcernKind, ConcernRules
from dawnrule.model.entities import Block, CheckIn, Pain
from dawnrule.model.training import ONE_DAY, groups_of

DAYS_A_WEEK = 7
PER_CENT = 100
_WEEK = timedelta(days=DAYS_A_WEEK)

Week: TypeAlias = Sequence[tuple[float, float]]
"""Landing minutes before today, each with what makes a week of them."""

_NEVER_LANDED = Unavailable("needs landing work in the weeks before, has none")


def plan_facts(past: Past, log: WorkLog) -> Iterator[tuple[str, FactValue | Unavailable]]:
    """Yield the facts of landing work and running that the plan is a part of."""
    weeks = _weeks_before(past)
    done = log.between(weeks[-1], past.log.today)
    landed = [work for work in done if lands_hard(work.block, past.vocabulary)]
    above = allowed = usual = _usual_minutes(past, log, landed, weeks)
    if not isinstance(usual, Unavailable):
        this_week = _this_week(past, landed)
        above = _minutes_above_usual_percent(past, usual, this_week)
        allowed = _minutes_allowed_today(past, usual, this_week)
    yield "landing_minutes_above_usual_percent", above
    yield "landing_minutes_allowed_today", allowed
    yield "running_from_none", _running_from_none(past, log)


def _minutes_above_usual_percent(past: Past, usual: float, this_week: Week) -> float | Unavailable:
    """Return the landing minutes of this week, today's plan included, against the usual of the
    four weeks before it.

    Planned work that does not say its minutes adds to what is known, so the rise is at least this;
    it is unknown only where none of the planned work says any.
    """
    planned = _planned_landing(past)
    if planned and all(block.minutes is None for block in planned):
        return Unavailable("the plan does not say its minutes")
    today = sum(block.minutes or 0.0 for block in planned)
    now = min((done + today) * per_week for done, per_week in this_week)
    return rise_percent(now, usual)


def _minutes_allowed_today(past: Past, usual: float, this_week: Week) -> float:
    """Return the landing minutes that keep the week a third above the usual at the most."""
    limits = past.parameters("landing_minutes_allowed_today")
    most = usual * (PER_CENT + limits["percent"]) / PER_CENT
    allowed: float = max(most / per_week - done for done, per_week in this_week)
    least: float = limits["least"]
    return max(allowed, least)


def _running_from_none(past: Past, log: WorkLog) -> bool | Unavailable:
    """Return whether running is planned today after four weeks without running or court sport."""
    days = past.parameters("running_from_none")["days"] - 1
    if not past.log.covers(days):
        return past.log.too_short(days)
    words, today = past.vocabulary, past.log.today
    if not any(is_running(block, words) for block in past.check_in.plan):
        return False
    before = log.between(today - timedelta(days=days), today)
    return not any(is_running(w.block, words) or is_court_sport(w.block, words) for w in before)


def hard_endurance_days_in_a_row(past: Past, log: WorkLog) -> int | Unavailable:
    """Count the days up to yesterday with intervals, or hard endurance or court sport."""
    if not any(day < past.log.today for day, _ in past.log.sessions):
        return Unavailable("needs one logged session before today, has none")
    count, day = 0, past.log.today - ONE_DAY
    while any(_is_hard_endurance(past, work) for work in log.on(day)):
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


def _usual_minutes(
    past: Past, log: WorkLog, landed: Sequence[Work], firsts: Sequence[date]
) -> float | Unavailable:
    """Return the landing minutes of a usual week; ``firsts`` are the first days of those that are
    looked at, the latest first.

    That is the median of the four weeks before this one. The last of them counts by itself where
    it holds more, up to a third above that median: who builds up by less than a third a week keeps
    to what was told, and one steep week is no usual one. Weeks without any training are left out,
    and those in which landing work was not to be done where that makes the usual more, as long as
    enough others are left.
    """
    window = past.parameters("landing_minutes_above_usual_percent")
    trained = [first for first in firsts if _is_trained(past, log, first)]
    if len(trained) < window["least_weeks"]:
        return too_few("trained weeks before this one", window["least_weeks"], len(trained))
    minutes = {first: _minutes(landed, first, first + _WEEK) for first in trained}
    if not any(minutes.values()):
        return _NEVER_LANDED
    usual = float(median(minutes.values()))
    free = [first for first in trained if not _was_told_to_rest(past, first)]
    if len(free) >= window["least_weeks"]:
        usual = max(usual, median(minutes[first] for first in free))
    if usual == 0:
        return _NEVER_LANDED
    steepest = usual * (PER_CENT + window["build_up_percent"]) / PER_CENT
    return float(max(usual, min(minutes.get(firsts[0], 0.0), steepest)))


def _weeks_before(past: Past) -> list[date]:
    """Return the first day of each of the weeks that are the usual, the latest first."""
    weeks = past.parameters("landing_minutes_above_usual_percent")["weeks"]
    this_week = past.log.today - timedelta(days=DAYS_A_WEEK - 1)
    return [this_week - week * _WEEK for week in range(1, weeks + 1)]


def _is_trained(past: Past, log: WorkLog, first: date) -> bool:
    covered = past.log.covers((past.log.today - first).days)
    return covered and any(log.on(first + timedelta(days=day)) for day in range(DAYS_A_WEEK))


def _was_told_to_rest(past: Past, first: date) -> bool:
    """Return whether a week holds a day on which landing work was not to be done: by a warning
    sign, an illness or pain of a check-in, or by what is open about the athlete still."""
    days_ago = [(past.log.today - first).days - day for day in range(DAYS_A_WEEK)]
    told = (check_in for days in days_ago for check_in in past.check_ins_on(days))
    return any(_rests(past, check_in) for check_in in told) or any(
        concern.began_on < first + _WEEK and _is_for_landing(past, concern)
        for concern in past.concerns
        if not concern.is_closed
    )


def _rests(past: Past, check_in: CheckIn) -> bool:
    rules = ConcernRules.bundled()
    ill = illness_of(check_in, rules.fever_from_c, past.vocabulary)
    pains = (pain for pain in check_in.pain or () if pain.kind in rules.pain_kinds)
    return bool(
        check_in.warning_signs
        or ill not in (None, NOT_ILL)
        or any(_hurts_landing(past, pain) for pain in pains)
    )


def _is_for_landing(past: Past, concern: Concern) -> bool:
    if concern.restriction is not None:
        restrictions = concern.restriction.restrictions
        rests = set(restrictions.muscle_groups_rest)
        return restrictions.rests_everything or any(
            not rests.isdisjoint(passed_through(block, past.vocabulary))
            or block.modality in restrictions.modalities_not
            or block.goal in restrictions.goals_not
            for block in _planned_landing(past)
        )
    if concern.pain is None or concern.kind is not ConcernKind.PAIN:
        return True
    site = concern.pain
    pain = Pain(site.where, site.kind, site.muscle_groups, site.place, site.side)
    return _hurts_landing(past, pain)


def _hurts_landing(past: Past, pain: Pain) -> bool:
    words = past.vocabulary
    return any(
        counts_for(pain, block, group, words)
        for block in _planned_landing(past)
        for group in groups_of(block, words)
    )


def _planned_landing(past: Past) -> list[Block]:
    return [block for block in past.check_in.plan if lands_hard(block, past.vocabulary)]


def _this_week(past: Past, landed: Sequence[Work]) -> Week:
    """Return the minutes of the days before this one of a week of seven days and of one of six,
    each with what makes a week of it: a match on Saturday after one on Sunday is one a week."""
    spans = (DAYS_A_WEEK, DAYS_A_WEEK - 1)
    firsts = (past.log.today - timedelta(days=days - 1) for days in spans)
    done = (_minutes(landed, first, past.log.today) for first in firsts)
    return [(minutes, DAYS_A_WEEK / days) for minutes, days in zip(done, spans, strict=True)]


def _minutes(landed: Sequence[Work], first: date, end: date) -> float:
    return sum(work.minutes for work in landed if first <= work.day < end)
