"""Transitions of concerns: what a check-in, a coach, a clinician or time does to them (pure).

Each function returns the concerns that changed, with new events at their end; nothing that was
recorded is changed or left out. A warning sign never ends by silence, by an answered "none" or by
time: only a coach or clinician can clear it, or confirm that it was a typing error.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, time, timedelta, timezone
from itertools import count
from uuid import NAMESPACE_OID, uuid5

from dawnrule.errors import Conflict, Forbidden
from dawnrule.model.concerns import (
    NO_RESTRICTIONS,
    REPORTS,
    ActorRole,
    Clearance,
    Concern,
    ConcernEvent,
    ConcernKind,
    ConcernRules,
    ConcernState,
    EventKind,
    PainSite,
    Restriction,
    Restrictions,
    concern_of,
    with_events,
)
from dawnrule.model.entities import CheckIn, Pain
from dawnrule.model.vocabulary import Vocabulary

GIVERS = frozenset({ActorRole.COACH, ActorRole.CLINICIAN})
"""Who may open, clear, confirm and advance concerns."""

_NONE = "none"
_DARK_URINE, _SWELLING = "dark-urine", "severe-swelling"
_CHEST = "chest-pain"
_FEVER = "fever"
_LAST_ZONE = timezone(timedelta(hours=-12))
"""Where each date ends last."""


@dataclass(frozen=True, slots=True)
class Actor:
    """Who does something, in which role, on which date of the athlete and when (aware)."""

    role: ActorRole
    on: date
    at: datetime
    name: str | None = None


@dataclass(frozen=True, slots=True)
class Stage:
    """What a stage of a return needs before the next: at least so much, and perhaps a clearance to
    be entered at all."""

    least: float = 0
    needs_clearance: bool = False


@dataclass(frozen=True, slots=True)
class StagePlan:
    """The stages of a staged return, as far as passing from one to the next is concerned.

    ``counted_in`` is ``hours``, ``days``, ``weeks`` or ``sessions``. With ``follows_length`` the
    last stage lasts as long as the concern was reported, ``least`` and ``most`` being its limits.
    """

    staged_return: str
    counted_in: str
    stages: tuple[Stage, ...]
    follows_length: bool = False
    least: float = 0
    most: float = 0


StagePlans = Mapping[ConcernKind, StagePlan]
SessionsSince = Callable[[Concern], int]
"""Counts the logged sessions that load what a concern is about, since its stage began."""


@dataclass(frozen=True, slots=True)
class HealthReport:
    """What a check-in says that concerns are made of. None means that a question was left open.

    ``suspected`` are warning signs that reported pain may be, and the pain that they were found in.
    """

    athlete_id: str
    on: date
    at: datetime
    check_in_id: str | None
    signs: tuple[str, ...] | None
    illness: str | None
    pains: tuple[PainSite, ...] | None
    suspected: tuple[tuple[str, PainSite], ...] = ()
    fever: bool = False
    medicine: bool = False
    worst_soreness: float | None = None


def health_report(
    check_in: CheckIn,
    received_at: datetime,
    check_in_id: str | None,
    suspected: Sequence[tuple[str, Pain]] = (),
) -> HealthReport:
    """Take from a check-in what concerns are made of. One that does not say when it was made was
    made when it was received (aware), or, if it came late, by the end of its date. ``suspected``
    are warning signs that its pain may be."""
    end_of_date = datetime.combine(check_in.date + timedelta(days=1), time(), _LAST_ZONE)
    rules = ConcernRules.bundled()
    temperature = check_in.temperature_c
    is_hot = temperature is not None and temperature >= rules.fever_from_c
    illness = _FEVER if is_hot else check_in.illness
    pains = None if check_in.pain is None else tuple(map(site_of, check_in.pain))
    return HealthReport(
        athlete_id=check_in.athlete_id,
        on=check_in.date,
        at=check_in.reported_at or min(received_at, end_of_date),
        check_in_id=check_in_id,
        signs=check_in.warning_signs,
        illness=illness,
        pains=pains,
        suspected=tuple((sign, site_of(pain)) for sign, pain in suspected),
        fever=illness == _FEVER,
        medicine=bool(check_in.fever_medicine),
        worst_soreness=max(check_in.soreness.values(), default=None),
    )


def site_of(pain: Pain) -> PainSite:
    """Return what tells one pain from another, located by its words."""
    return located(
        PainSite(pain.kind, pain.where, pain.muscle_groups, pain.place, pain.side, pain.severity)
    )


def located(site: PainSite) -> PainSite:
    """Locate pain at the place that was named, or that its words are known for."""
    place = Vocabulary.bundled().pain_place(site.place, site.where)
    return replace(site, place=place.id if place else None)


def new_concern_ids(seed: str) -> Callable[[], str]:
    """Make a source of ids out of another id: as unique, and the same each time."""
    numbers = count(1)
    return lambda: str(uuid5(NAMESPACE_OID, f"{seed} {next(numbers)}"))


@dataclass(frozen=True, slots=True)
class _ReportedItem:
    """One thing that a report says is there, in the fields of an event."""

    kind: ConcernKind
    signs: tuple[str, ...] = ()
    suspected: bool = False
    illness: str | None = None
    pain: PainSite | None = None
    fever: bool = False
    medicine: bool = False

    def is_about(self, concern: Concern) -> bool:
        if self.kind is not concern.kind:
            return False
        if self.kind is not ConcernKind.PAIN or self.pain is None or concern.pain is None:
            return self.kind is not ConcernKind.PAIN
        return self.pain.key == concern.pain.key


def consider_report(
    concerns: Iterable[Concern],
    report: HealthReport,
    new_id: Callable[[], str],
    plans: StagePlans,
    sessions_since: SessionsSince,
) -> list[Concern]:
    """Open, continue, ease or end concerns by a check-in; return those that changed.

    ``concerns`` are the athlete's; ``plans`` are the staged returns by kind of concern.
    """
    rules = ConcernRules.bundled()
    items = list(_items_in(report, rules))
    changed: list[Concern] = []
    unmatched = list(items)
    for concern in concerns:
        lapsed = lapse(concern, report.on, report.at)
        matching = [one for one in items if one.is_about(lapsed)]
        if lapsed.is_closed:
            events: tuple[ConcernEvent, ...] = ()
        elif matching:
            unmatched = [one for one in unmatched if one not in matching]
            events = tuple(_again(lapsed, matching[0], report))
        else:
            events = tuple(_answered(lapsed, report, rules, plans, sessions_since))
        after = with_events(lapsed, *events) if events else lapsed
        if after is not concern:
            changed.append(after)
    for one in unmatched:
        opened = _event(EventKind.OPENED, one, report)
        changed.append(concern_of(new_id(), report.athlete_id, one.kind, (opened,)))
    return changed


def _items_in(report: HealthReport, rules: ConcernRules) -> Iterator[_ReportedItem]:
    """Yield what a report says is there, one for each concern that it may open."""
    signs: dict[ConcernKind, tuple[str, ...]] = {}
    for sign in report.signs or ():
        kind = _kind_of_sign(sign, report, rules)
        signs[kind] = (*signs.get(kind, ()), sign)
    for kind, some in signs.items():
        yield _ReportedItem(kind, signs=some)
    suspected = {rules.kind_of_sign[sign]: (sign, pain) for sign, pain in report.suspected}
    for kind, (sign, pain) in suspected.items():
        if kind not in signs:
            yield _ReportedItem(kind, signs=(sign,), suspected=True, pain=pain)
    if report.illness in rules.illnesses:
        yield _ReportedItem(
            ConcernKind.ILLNESS,
            illness=report.illness,
            fever=report.fever,
            medicine=report.medicine,
        )
    sites = {pain.key: pain for pain in report.pains or () if pain.kind in rules.pain_kinds}
    for pain in sites.values():
        yield _ReportedItem(ConcernKind.PAIN, pain=pain)


def _kind_of_sign(sign: str, report: HealthReport, rules: ConcernRules) -> ConcernKind:
    is_very_sore = (
        report.worst_soreness is not None
        and report.worst_soreness >= rules.swelling_is_breakdown_from_soreness
    )
    if sign == _SWELLING and (is_very_sore or _DARK_URINE in (report.signs or ())):
        return ConcernKind.MUSCLE_BREAKDOWN
    return rules.kind_of_sign[sign]


def _event(kind: EventKind, item: _ReportedItem, report: HealthReport) -> ConcernEvent:
    return ConcernEvent(
        kind,
        report.on,
        report.at,
        ActorRole.ATHLETE,
        check_in_id=report.check_in_id,
        signs=item.signs,
        suspected=item.suspected,
        illness=item.illness,
        fever=item.fever,
        medicine=item.medicine,
        pain=item.pain,
    )


def _again(concern: Concern, item: _ReportedItem, report: HealthReport) -> Iterator[ConcernEvent]:
    """Yield that a concern was reported once more, unless that adds nothing to the date, or is
    pain that a clearance lets be trained with."""
    severity = item.pain.severity if item.pain else None
    if concern.lets_train_with(severity, report.on, ConcernRules.bundled()):
        return
    is_back = concern.state in (ConcernState.CLEARED, ConcernState.RETURNING) and report.on >= (
        concern.stage_on or concern.last_reported_on
    )
    event = _event(EventKind.CAME_BACK if is_back else EventKind.REPORTED_AGAIN, item, report)
    if is_back or concern.correction_on == report.on or not _is_known(concern, event):
        yield event


def _is_known(concern: Concern, event: ConcernEvent) -> bool:
    """Whether an earlier event of the same date says as much."""
    said = [one for one in concern.events if one.kind in REPORTS and one.on == event.on]
    signs = {sign for one in said for sign in one.signs}
    return (
        bool(said)
        and set(event.signs) <= signs
        and event.suspected >= all(one.suspected for one in said)
        and event.illness in {None, *(one.illness for one in said)}
        and event.fever <= any(one.fever for one in said)
        and event.medicine <= any(one.medicine for one in said)
        and event.pain in {None, *(one.pain for one in said)}
    )


def _answered(
    concern: Concern,
    report: HealthReport,
    rules: ConcernRules,
    plans: StagePlans,
    sessions_since: SessionsSince,
) -> Iterator[ConcernEvent]:
    """Yield what an answered "none" does to a concern; nothing where the question was left open."""
    if not _is_answered(concern, report):
        return
    if report.on == concern.last_reported_on:
        if concern.correction_on != report.on and _was_in_a_check_in(concern, report.on):
            yield _by_athlete(EventKind.WITHDRAWN_SAME_DAY, report)
        return
    if report.on < concern.last_reported_on:
        return
    if concern.state is ConcernState.RETURNING:
        yield from _answered_while_returning(concern, report, plans, sessions_since)
    elif concern.state is ConcernState.OPEN:
        yield from _answered_while_open(concern, report, rules, plans)


def _is_answered(concern: Concern, report: HealthReport) -> bool:
    """Whether a report answers a concern's question, and does not report it."""
    match concern.kind:
        case ConcernKind.RESTRICTION:
            return False
        case ConcernKind.ILLNESS:
            return report.illness == _NONE
        case ConcernKind.PAIN:
            return report.pains is not None
        case _:
            answer = report.pains if concern.suspected else report.signs
            return answer is not None


def _was_in_a_check_in(concern: Concern, day: date) -> bool:
    return any(
        event.kind in REPORTS and event.on == day and event.by is ActorRole.ATHLETE
        for event in concern.events
    )


def _by_athlete(kind: EventKind, report: HealthReport) -> ConcernEvent:
    return ConcernEvent(
        kind, report.on, report.at, ActorRole.ATHLETE, check_in_id=report.check_in_id
    )


def _answered_while_open(
    concern: Concern, report: HealthReport, rules: ConcernRules, plans: StagePlans
) -> Iterator[ConcernEvent]:
    """Yield what an answered "none" on a later date does to an open concern."""
    if concern.kind is ConcernKind.ILLNESS and (report.fever or report.medicine):
        yield replace(
            _by_athlete(EventKind.REPORTED_AGAIN, report),
            fever=report.fever,
            medicine=report.medicine,
        )
        return
    is_over = _is_over(concern, report, rules)
    if is_over or concern.answered_on is None or concern.answered_on <= concern.last_reported_on:
        yield _by_athlete(EventKind.ANSWERED_NONE, report)
    if is_over:
        first = rules.head_injury_first_stage if concern.kind is ConcernKind.HEAD_INJURY else 1
        by_service = Actor(ActorRole.SERVICE, report.on, report.at)
        if concern.kind in plans or not concern.kind.is_warning_sign:
            yield _begin_return(concern, by_service, plans, first)


def _is_over(concern: Concern, report: HealthReport, rules: ConcernRules) -> bool:
    match concern.kind:
        case ConcernKind.PAIN:
            return True
        case ConcernKind.ILLNESS:
            free = timedelta(hours=rules.hours_without_fever - rules.tolerance_hours)
            last = [at for at in (concern.last_fever_at, concern.last_medicine_at) if at]
            return all(report.at >= at + free for at in last)
        case ConcernKind.HEAD_INJURY:
            rest = timedelta(days=rules.head_injury_rest_days)
            return report.on > concern.last_reported_on + rest
        case _:
            return False


def _begin_return(
    concern: Concern, actor: Actor, plans: StagePlans, stage: int = 1
) -> ConcernEvent:
    """Make the event by which a concern begins its staged return, or ends where there is none."""
    plan = plans.get(concern.kind)
    if plan is None:
        return _by(actor, EventKind.CLOSED)
    return replace(
        _by(actor, EventKind.STAGE_REACHED), staged_return=plan.staged_return, stage=stage
    )


def _by(actor: Actor, kind: EventKind) -> ConcernEvent:
    return ConcernEvent(kind, actor.on, actor.at, actor.role, name=actor.name)


def _answered_while_returning(
    concern: Concern, report: HealthReport, plans: StagePlans, sessions_since: SessionsSince
) -> Iterator[ConcernEvent]:
    """Yield the next stage of a return, or its end, where the present one has lasted enough."""
    plan = plans.get(concern.kind)
    if plan is None or concern.stage is None:
        return
    sessions = sessions_since(concern) if plan.counted_in == "sessions" else 0
    if left_of_stage(concern, plan, report.on, report.at, sessions) > 0:
        return
    actor = Actor(ActorRole.SERVICE, report.on, report.at)
    event = _next_stage(concern, plan, actor)
    if event is not None:
        yield event


def _next_stage(concern: Concern, plan: StagePlan, actor: Actor) -> ConcernEvent | None:
    """Make the event of the next stage, or of the end; None where that needs a clearance.

    A clearance that restricts something or runs out holds until then or until a fuller one is
    given, so the return does not end under it: after its last date a warning sign is open again.
    """
    assert concern.stage is not None, "a concern that is returning has a stage"
    if concern.stage >= len(plan.stages):
        given = concern.clearance
        holds = given is not None and (
            given.restrictions != NO_RESTRICTIONS
            or (given.until is not None and concern.kind.is_warning_sign)
        )
        return None if holds else _by(actor, EventKind.CLOSED)
    needs_clearance = plan.stages[concern.stage].needs_clearance
    if needs_clearance and not concern.has_clearance_on(actor.on):
        return None
    return replace(
        _by(actor, EventKind.STAGE_REACHED),
        staged_return=plan.staged_return,
        stage=concern.stage + 1,
    )


def left_of_stage(
    concern: Concern, plan: StagePlan, on: date, at: datetime, sessions: int
) -> float:
    """Compute what is left at the least of the present stage, in what the return is counted in;
    0 when it has lasted enough. ``sessions`` are those logged since it began."""
    if concern.stage is None or concern.stage_on is None or concern.stage_at is None:
        return 0
    index = min(concern.stage, len(plan.stages)) - 1
    least = plan.stages[index].least
    if plan.follows_length and index == len(plan.stages) - 1:
        lasted = concern.mornings if plan.counted_in == "sessions" else concern.days_reported
        least = min(max(lasted, plan.least), plan.most)
    days = (on - concern.stage_on).days
    match plan.counted_in:
        case "hours":
            rules = ConcernRules.bundled()
            hours = (at - concern.stage_at) / timedelta(hours=1)
            return max(least - rules.tolerance_hours - hours, 0)
        case "days":
            return max(least - days, 0)
        case "weeks":
            return max(least - days // 7, 0)
        case _:
            return max(least - sessions, 0)


def lapse(concern: Concern, on: date, at: datetime) -> Concern:
    """End what has run out by a date: a clearance (the concern is open again) or a restriction."""
    actor = Actor(ActorRole.SERVICE, on, at)
    clearance, restriction = concern.clearance, concern.restriction
    if concern.is_closed:
        return concern
    if clearance is not None and not concern.has_clearance_on(on):
        revoked = replace(_by(actor, EventKind.CLEARANCE_REVOKED), clearance_id=clearance.id)
        return with_events(concern, revoked)
    if restriction is not None and restriction.until is not None and on > restriction.until:
        return with_events(concern, _by(actor, EventKind.CLOSED))
    return concern


@dataclass(frozen=True, slots=True)
class Opening:
    """What a coach or clinician opens a concern about."""

    kind: ConcernKind
    signs: tuple[str, ...] = ()
    illness: str | None = None
    pain: PainSite | None = None
    restriction: Restriction | None = None


def open_by(
    concerns: Sequence[Concern], athlete_id: str, opening: Opening, actor: Actor, concern_id: str
) -> Concern:
    """Open a concern, or report one again that is not closed. Raises ``Forbidden`` for an athlete.

    Restrictions are separate: each opening of one is a concern of its own.
    """
    _require_giver(actor)
    pain = located(opening.pain) if opening.pain else None
    item = _ReportedItem(opening.kind, opening.signs, illness=opening.illness, pain=pain)
    same = [one for one in concerns if not one.is_closed and item.is_about(one)]
    known = same[-1] if same and opening.kind is not ConcernKind.RESTRICTION else None
    kind = EventKind.OPENED
    if known is not None:
        is_open = known.state is ConcernState.OPEN
        kind = EventKind.REPORTED_AGAIN if is_open else EventKind.CAME_BACK
    event = replace(
        _by(actor, kind),
        signs=opening.signs,
        illness=opening.illness,
        fever=opening.illness == _FEVER,
        pain=pain,
        restriction=opening.restriction,
    )
    if known is not None:
        return with_events(known, event)
    return concern_of(concern_id, athlete_id, opening.kind, (event,))


@dataclass(frozen=True, slots=True)
class ClearanceTerms:
    """What a clearance says, without who gave it and when."""

    restrictions: Restrictions = NO_RESTRICTIONS
    severity_at_most: float | None = None
    until: date | None = None


def clear(concern: Concern, clearance: Clearance, actor: Actor, plans: StagePlans) -> Concern:
    """Clear a concern: its staged return begins, or it ends where there is none.

    A head injury that is returning keeps its stage: a clearance lets it pass to the stages that
    need one. Raises ``Forbidden`` for an athlete, ``Conflict`` for a closed concern.
    """
    _require_giver(actor)
    if concern.is_closed:
        raise Conflict("This concern is closed; there is nothing to clear.")
    cleared = replace(_by(actor, EventKind.CLEARED), clearance=clearance)
    if concern.kind is ConcernKind.RESTRICTION:
        return with_events(concern, cleared, _by(actor, EventKind.CLOSED))
    stage = concern.stage if concern.state is ConcernState.RETURNING else 1
    return with_events(concern, cleared, _begin_return(concern, actor, plans, stage or 1))


def withdraw_clearance(concern: Concern, clearance_id: str, actor: Actor) -> Concern:
    """Take a clearance back: the concern is open again, and nothing is deleted.

    Raises ``Forbidden`` for an athlete, ``Conflict`` when this clearance is not the one in force.
    """
    _require_giver(actor)
    if concern.clearance is None or concern.clearance.id != clearance_id:
        raise Conflict("This clearance is not in force, so it cannot be withdrawn.")
    revoked = replace(_by(actor, EventKind.CLEARANCE_REVOKED), clearance_id=clearance_id)
    return with_events(concern, revoked)


def confirm_typing_error(concern: Concern, actor: Actor) -> Concern:
    """Confirm that a report withdrawn on its own date was a typing error, or that a suspected
    warning sign is none: those reports no longer count.

    Raises ``Forbidden`` for an athlete, ``Conflict`` when there is nothing to confirm.
    """
    _require_giver(actor)
    on = concern.correction_on
    if concern.is_closed or (on is None and not concern.suspected):
        raise Conflict("Nothing was withdrawn that could be confirmed to be a typing error.")
    confirmed = replace(
        _by(actor, EventKind.TYPING_ERROR_CONFIRMED),
        on=on or concern.last_reported_on,
        suspected=concern.suspected,
    )
    return with_events(concern, confirmed)


def advance(
    concern: Concern, actor: Actor, plans: StagePlans, sessions: int, *, back: bool = False
) -> Concern:
    """Pass to the next stage of a return, or with ``back`` to the one before; after the last stage
    the concern ends, and before the first it is open again.

    Raises ``Forbidden`` for an athlete; ``Conflict`` when the concern is not returning, the present
    stage has not lasted enough, or the next one needs a clearance.
    """
    _require_giver(actor)
    plan = plans.get(concern.kind)
    if concern.state is not ConcernState.RETURNING or plan is None or concern.stage is None:
        raise Conflict("This concern is not in a staged return.")
    if back:
        return with_events(concern, _one_back(concern, plan, actor))
    left = left_of_stage(concern, plan, actor.on, actor.at, sessions)
    if left > 0:
        raise Conflict(f"This stage needs at least {left:g} more {plan.counted_in}.")
    event = _next_stage(concern, plan, actor)
    if event is None:
        raise Conflict("The next stage needs a clearance by a coach or clinician first.")
    return with_events(concern, event)


def _one_back(concern: Concern, plan: StagePlan, actor: Actor) -> ConcernEvent:
    if concern.stage is None or concern.stage <= 1:
        back = _by(actor, EventKind.CAME_BACK)
        return replace(back, signs=concern.signs, illness=concern.illness)
    lost = _by(actor, EventKind.STAGE_LOST)
    return replace(lost, staged_return=plan.staged_return, stage=concern.stage - 1)


def _require_giver(actor: Actor) -> None:
    if actor.role not in GIVERS:
        raise Forbidden("Only a coach or clinician can do this.")
