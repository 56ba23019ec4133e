"""Facts of open concerns: warning signs, illness, pain, restrictions, staged returns (pure).

A staged return is data of the rules, which this package does not know: ``StagedReturns`` says what
a stage allows and what is left of it.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Protocol, TypeAlias

from dawnrule.facts.breaks import Break
from dawnrule.facts.history import Past
from dawnrule.facts.illness import NOT_ILL
from dawnrule.facts.pain import counts_for, passed_through
from dawnrule.facts.suspicion import suspected_signs
from dawnrule.model import Facts, FactValue, Vocabulary
from dawnrule.model.concern_transitions import site_of
from dawnrule.model.concerns import (
    Concern,
    ConcernKind,
    ConcernRules,
    ConcernState,
    Restrictions,
)
from dawnrule.model.entities import Block, Pain
from dawnrule.model.training import groups_of

Stage: TypeAlias = tuple[str, int]
"""A stage of a staged return: what the return follows, and the number of the stage."""

BREAK = "break"
BY_CLEARANCE = "clearance"


class StagedReturns(Protocol):
    """What the stages of staged returns allow, and how long they last."""

    def allows(self, staged_return: str, stage: int, facts: Facts) -> bool:
        """Return whether a stage allows a block, by the facts of one of its parts."""

    def left(self, concern: Concern, on: date, at: datetime, sessions: int) -> int:
        """Return the days or sessions that are left of a concern's stage at the least."""

    def limits(self, stages: Iterable[Stage], told: Iterable[Restrictions]) -> Facts:
        """Return the strictest of the limits that stages and restrictions set, as facts."""


class NothingAllowed:
    """Staged returns that nobody knows: no stage allows a block."""

    def allows(self, staged_return: str, stage: int, facts: Facts) -> bool:
        """Allow nothing."""
        return False

    def left(self, concern: Concern, on: date, at: datetime, sessions: int) -> int:
        """Return 0, as nothing is known of a stage's length."""
        return 0

    def limits(self, stages: Iterable[Stage], told: Iterable[Restrictions]) -> Facts:
        """Limit nothing, as nothing is allowed."""
        return {}


@dataclass(frozen=True, slots=True)
class UnderWay:
    """A staged return that is under way for a part: what it follows, its stage, what is left of
    the stage, and whether the stage allows the block."""

    after: str
    stage: int
    left: int
    allows: bool


def day_facts(
    concerns: Collection[Concern], past: Past, now: datetime
) -> Iterator[tuple[str, FactValue]]:
    """Yield what open concerns say of the day; nothing where none is open."""
    if not concerns:
        return
    day = past.check_in.date
    if signs := list(_open_signs(concerns, past)):
        urgency = past.vocabulary.concern_signs.index
        sign, concern = min(signs, key=lambda one: (urgency(one[0]), one[1].id))
        yield "open_warning_sign", sign
        yield "open_warning_sign_days", max((day - concern.last_reported_on).days, 0)
    ill = [c for c in concerns if c.kind is ConcernKind.ILLNESS and c.state is ConcernState.OPEN]
    if known := [concern for concern in ill if concern.illness in past.vocabulary.illnesses]:
        worst = max(known, key=lambda c: past.vocabulary.illnesses.index(str(c.illness)))
        yield "open_illness", str(worst.illness)
        if because := _why_open(worst, past, past.check_in.reported_at or now):
            yield "open_illness_because", because


def days_ill(concerns: Collection[Concern], past: Past) -> int | None:
    """Return the days since an illness that is open began, this morning counted."""
    began = [
        concern.began_on
        for concern in concerns
        if concern.kind is ConcernKind.ILLNESS and concern.state is ConcernState.OPEN
    ]
    return (past.check_in.date - min(began)).days + 1 if began else None


def part_facts(
    concerns: Collection[Concern], past: Past, block: Block, group: str | None, facts: Facts
) -> Iterator[tuple[str, FactValue]]:
    """Yield what open concerns say of a part; ``facts`` are the part's others."""
    words, day = past.vocabulary, past.check_in.date
    hurting = [c for c in concerns if _hurts_here(c, block, group, words)]
    opened = sorted(
        (c for c in hurting if c.state is ConcernState.OPEN),
        key=lambda c: (words.pain_kinds.index(_pain_of(c).kind), c.id),
    )
    if opened:
        yield "open_pain", _pain_of(opened[0]).kind
        yield "open_pain_days", max((day - opened[0].last_reported_on).days, 0)
    if hurting:
        yield "pain_mornings", max(concern.mornings for concern in hurting)
    reasons = words.restriction_reasons
    orders = [
        c for c in concerns if c.kind is ConcernKind.RESTRICTION and c.state is ConcernState.OPEN
    ]
    ordered = [
        c.restriction.reason
        for c in orders
        if c.restriction and _rests(c.restriction.restrictions, block, group, words)
    ]
    if ordered:
        yield "rest_ordered", min(ordered, key=reasons.index)
    effort_of = past.parameters("beyond_restriction")["effort_of"]
    if any(_is_beyond_clearance(c, past, block, group, facts) for c in concerns):
        yield "beyond_restriction", BY_CLEARANCE
        return
    beyond = [
        c.restriction.reason
        for c in orders
        if c.restriction and is_beyond(c.restriction.restrictions, facts, effort_of)
    ]
    if beyond:
        yield "beyond_restriction", min(beyond, key=reasons.index)


def is_cleared_for_training(concerns: Collection[Concern], pain: Pain, past: Past) -> bool:
    """Return whether a clearance in force lets reported pain be trained with."""
    rules, day = ConcernRules.bundled(), past.check_in.date
    key = site_of(pain).key
    return any(
        concern.lets_train_with(pain.severity, day, rules)
        for concern in concerns
        if concern.pain is not None and concern.pain.key == key
    )


def is_beyond(restrictions: Restrictions, facts: Facts, effort_of: Mapping[str, float]) -> bool:
    """Return whether a block is more than restrictions allow. What it leaves out is within, save
    the effort of what is hard by its goal, which ``effort_of`` gives at the least."""
    effort, minutes = facts.get("planned_effort"), facts.get("planned_minutes")
    if effort is None:
        effort = effort_of.get(str(facts.get("goal")))
    return (
        facts.get("goal") in restrictions.goals_not
        or facts.get("modality") in restrictions.modalities_not
        or _exceeds(effort, restrictions.effort_at_most)
        or _exceeds(minutes, restrictions.minutes_at_most)
        or (restrictions.no_contact and facts.get("planned_contact") is True)
        or (restrictions.no_maximal and facts.get("planned_maximal") is True)
    )


def returns_under_way(
    concerns: Collection[Concern],
    pause: Break | None,
    past: Past,
    block: Block,
    group: str | None,
    facts: Facts,
    returns: StagedReturns,
    now: datetime,
) -> Iterator[UnderWay]:
    """Yield the staged returns that count for a part, in the order of the vocabulary."""
    words, at = past.vocabulary, past.check_in.reported_at or now
    found = []
    for concern in concerns:
        if concern.state is not ConcernState.RETURNING or concern.stage is None:
            continue
        if concern.kind is not ConcernKind.PAIN or _hurts_here(concern, block, group, words):
            after = concern.kind.value
            left = returns.left(concern, past.check_in.date, at, _sessions_since(concern, past))
            allows = returns.allows(after, concern.stage, facts)
            found.append(UnderWay(after, concern.stage, left, allows))
    if pause is not None:
        day, week = past.check_in.date, pause.week_since_end(past.check_in.date)
        allows = returns.allows(BREAK, week, facts)
        found.append(UnderWay(BREAK, week, pause.days_left_of_week(day), allows))
    yield from sorted(found, key=lambda one: (words.returns.index(one.after), one.stage))


def return_facts(found: Collection[UnderWay]) -> Iterator[tuple[str, FactValue]]:
    """Yield the first return whose stage does not allow the block, else the first."""
    if not found:
        return
    one = next((one for one in found if not one.allows), next(iter(found)))
    yield "return_after", one.after
    yield "return_stage", one.stage
    yield "return_left", one.left
    if not one.allows:
        yield "beyond_return_stage", one.after


def restrictions_in_force(concerns: Iterable[Concern], on: date) -> Iterator[Restrictions]:
    """Yield what coaches and clinicians have restricted on a date, with clearances too."""
    for concern in concerns:
        if concern.restriction and concern.state is ConcernState.OPEN:
            yield concern.restriction.restrictions
        if concern.clearance and concern.has_clearance_on(on):
            yield concern.clearance.restrictions


def _open_signs(concerns: Collection[Concern], past: Past) -> Iterator[tuple[str, Concern]]:
    """Yield the signs that rest the day; pain that this check-in tells has a fact of its own, and
    none where it was taken back on the same date."""
    rules, day = ConcernRules.bundled(), past.check_in.date
    suspected = {sign for sign, _ in suspected_signs(past.check_in, past.vocabulary)}
    for concern in concerns:
        if not concern.kind.is_warning_sign:
            continue
        rests = concern.state is ConcernState.OPEN or concern.rests_whole_date(day, rules)
        for sign in concern.signs or _signs_of(concern.kind, rules, past.vocabulary):
            is_told_as_suspected = concern.suspected and sign in suspected
            if rests and not is_told_as_suspected:
                yield sign, concern


def _signs_of(kind: ConcernKind, rules: ConcernRules, words: Vocabulary) -> list[str]:
    """Return the most urgent sign of a kind, for a concern that was opened without one."""
    return [sign for sign in words.concern_signs if rules.kind_of_sign.get(sign) is kind][:1]


def _why_open(concern: Concern, past: Past, at: datetime) -> str | None:
    """Return what keeps an illness open; None while it is reported."""
    answer = past.check_in.illness
    if answer is None:
        return "not-answered"
    if answer != NOT_ILL:
        return None
    rules = ConcernRules.bundled()
    free = timedelta(hours=rules.hours_without_fever - rules.tolerance_hours)
    if concern.last_fever_at is not None and at - concern.last_fever_at < free:
        return "fever-within-24-h"
    medicine_at = at if past.check_in.fever_medicine else concern.last_medicine_at
    if medicine_at is not None and at - medicine_at < free:
        return "fever-medicine-within-24-h"
    return "answered-the-same-day"


def _pain_of(concern: Concern) -> Pain:
    site = concern.pain
    assert site is not None, "a concern about pain has a site"
    return Pain(site.where, site.kind, site.muscle_groups, site.place, site.side)


def _hurts_here(concern: Concern, block: Block, group: str | None, words: Vocabulary) -> bool:
    if concern.kind is not ConcernKind.PAIN or concern.pain is None or concern.is_closed:
        return False
    return counts_for(_pain_of(concern), block, group, words)


def _rests(restrictions: Restrictions, block: Block, group: str | None, words: Vocabulary) -> bool:
    if restrictions.rests_everything:
        return True
    resting = restrictions.muscle_groups_rest
    borne_by = {group, *passed_through(block, words)}
    return bool(resting) and (group is None or not borne_by.isdisjoint(resting))


def _is_beyond_clearance(
    concern: Concern, past: Past, block: Block, group: str | None, facts: Facts
) -> bool:
    if concern.clearance is None or not concern.has_clearance_on(past.check_in.date):
        return False
    restrictions = concern.clearance.restrictions
    effort_of = past.parameters("beyond_restriction")["effort_of"]
    rests = _rests(restrictions, block, group, past.vocabulary)
    return rests or is_beyond(restrictions, facts, effort_of)


def _exceeds(value: FactValue | None, limit: float | None) -> bool:
    return limit is not None and isinstance(value, int | float) and value > limit


def _sessions_since(concern: Concern, past: Past) -> int:
    """Count the logged sessions since the stage began that load what the concern is about; all
    sessions where it names no muscle group."""
    since = concern.stage_at
    if since is None:
        return 0
    groups = set(concern.pain.muscle_groups) if concern.pain else set()
    words = past.vocabulary

    def loads(blocks: Collection[Block]) -> bool:
        borne = {g for b in blocks for g in (*groups_of(b, words), *passed_through(b, words))}
        return not groups or not groups.isdisjoint(borne)

    return sum(s.starts_at >= since and loads(s.blocks) for _, s in past.log.sessions)
