"""Concerns: what stays open about an athlete until somebody lifts it.

A concern is the sum of its events, which are only added, never changed: ``concern_of`` folds them.
So the state of a concern depends on nothing but what was recorded, and can be told again years
later. Which event may follow which is decided in ``concern_transitions``.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from enum import StrEnum
from functools import cache
from pathlib import Path
from typing import Any, Self

from dawnrule.i18n.resources import read_data, rules_folder


class ConcernKind(StrEnum):
    """The kinds of concern; all but the last three are warning signs."""

    HEART_OR_CHEST = "heart-or-chest"
    HEAD_INJURY = "head-injury"
    NUMBNESS_OR_WEAKNESS = "numbness-or-weakness"
    MUSCLE_BREAKDOWN = "muscle-breakdown"
    SEVERE_SWELLING = "severe-swelling"
    LEG_CLOT = "leg-clot"
    ILLNESS = "illness"
    PAIN = "pain"
    RESTRICTION = "restriction"

    @property
    def is_warning_sign(self) -> bool:
        """Whether only a clearance can lead from an open concern of this kind to its end."""
        return self not in (ConcernKind.ILLNESS, ConcernKind.PAIN, ConcernKind.RESTRICTION)


class ConcernState(StrEnum):
    """The states of a concern, from its beginning to its end."""

    OPEN = "open"
    CLEARED = "cleared"
    RETURNING = "returning"
    CLOSED = "closed"


class EventKind(StrEnum):
    """The kinds of event in the history of a concern."""

    OPENED = "opened"
    REPORTED_AGAIN = "reported-again"
    ANSWERED_NONE = "answered-none"
    WITHDRAWN_SAME_DAY = "withdrawn-same-day"
    TYPING_ERROR_CONFIRMED = "typing-error-confirmed"
    CLEARED = "cleared"
    CLEARANCE_REVOKED = "clearance-revoked"
    STAGE_REACHED = "stage-reached"
    STAGE_LOST = "stage-lost"
    CAME_BACK = "came-back"
    CLOSED = "closed"


REPORTS = frozenset({EventKind.OPENED, EventKind.REPORTED_AGAIN, EventKind.CAME_BACK})
"""The events that say that the thing itself was reported."""


class ActorRole(StrEnum):
    """Who caused an event. Check-ins count as the athlete's, whoever posted them."""

    ATHLETE = "athlete"
    COACH = "coach"
    CLINICIAN = "clinician"
    SERVICE = "service"


@dataclass(frozen=True, slots=True)
class Restrictions:
    """What an athlete may not do, as told by a coach or clinician.

    ``effort_at_most`` is on the CR10 scale. None, False and empty mean no limit.
    """

    rests_everything: bool = False
    muscle_groups_rest: tuple[str, ...] = ()
    goals_not: tuple[str, ...] = ()
    modalities_not: tuple[str, ...] = ()
    effort_at_most: float | None = None
    minutes_at_most: float | None = None
    no_contact: bool = False
    no_maximal: bool = False


NO_RESTRICTIONS = Restrictions()


@dataclass(frozen=True, slots=True)
class Clearance:
    """A clearance by a coach or clinician; ``name`` is that of the person, where it was told.

    ``until`` is the last date on which it counts, None for no end. ``severity_at_most`` (0 to 10)
    lets pain up to that severity be trained with.
    """

    id: str
    given_by: ActorRole
    given_on: date
    name: str | None = None
    restrictions: Restrictions = NO_RESTRICTIONS
    severity_at_most: float | None = None
    until: date | None = None


@dataclass(frozen=True, slots=True)
class Restriction:
    """A restriction that a coach or clinician ordered: why, what, and until which date."""

    reason: str
    restrictions: Restrictions
    until: date | None = None


@dataclass(frozen=True, slots=True)
class PainSite:
    """Pain of one kind at one place, as it was reported."""

    kind: str
    where: str = ""
    muscle_groups: tuple[str, ...] = ()
    place: str | None = None
    side: str | None = None
    severity: float | None = None

    @property
    def key(self) -> tuple[str, ...]:
        """What tells one site from another: the place, else the muscle groups, else the words."""
        if self.place is not None:
            return ("place", self.place)
        if self.muscle_groups:
            return ("muscle-groups", *sorted(self.muscle_groups))
        return ("where", " ".join(self.where.casefold().split()))


@dataclass(frozen=True, slots=True)
class ConcernEvent:
    """One event of a concern. Fields that do not belong to its kind keep their defaults.

    ``on`` is the athlete's date that it is about, ``at`` (aware) when it was reported or recorded.
    ``suspected`` marks pain that may be a warning sign. ``fever`` and ``medicine`` say that a fever
    was reported, or medicine against it. ``staged_return`` is the id and version of the return
    that ``stage`` belongs to.
    """

    kind: EventKind
    on: date
    at: datetime
    by: ActorRole
    name: str | None = None
    check_in_id: str | None = None
    signs: tuple[str, ...] = ()
    suspected: bool = False
    illness: str | None = None
    fever: bool = False
    medicine: bool = False
    pain: PainSite | None = None
    restriction: Restriction | None = None
    clearance: Clearance | None = None
    clearance_id: str | None = None
    staged_return: str | None = None
    stage: int | None = None


@dataclass(frozen=True, slots=True)
class Concern:
    """A concern as its events make it.

    ``mornings`` is the number of dates on which it was reported, ``answered_on`` the last date on
    which its question was answered with none. ``correction_on`` is a date on which a report was
    withdrawn and nobody has confirmed that it was a typing error. ``stage`` counts from 1, and
    ``stage_on`` and ``stage_at`` say since when. ``is_void`` means that all its reports were
    confirmed to be typing errors.
    """

    id: str
    athlete_id: str
    kind: ConcernKind
    events: tuple[ConcernEvent, ...]
    state: ConcernState
    began_on: date
    last_reported_on: date
    last_reported_at: datetime
    mornings: int
    signs: tuple[str, ...] = ()
    suspected: bool = False
    illness: str | None = None
    last_fever_at: datetime | None = None
    last_medicine_at: datetime | None = None
    pain: PainSite | None = None
    restriction: Restriction | None = None
    clearance: Clearance | None = None
    answered_on: date | None = None
    correction_on: date | None = None
    staged_return: str | None = None
    stage: int | None = None
    stage_on: date | None = None
    stage_at: datetime | None = None
    closed_on: date | None = None
    is_void: bool = False

    @property
    def is_closed(self) -> bool:
        """Whether the concern has ended."""
        return self.state is ConcernState.CLOSED

    @property
    def days_reported(self) -> int:
        """The number of days from the first report to the last, both counted."""
        return (self.last_reported_on - self.began_on).days + 1

    @property
    def lifted_by(self) -> str:
        """What can end the concern: ``clearance``, ``answered-none``, or ``coach-or-clinician``."""
        if self.kind is ConcernKind.RESTRICTION:
            return "coach-or-clinician"
        return "clearance" if self.kind.is_warning_sign else "answered-none"

    def has_clearance_on(self, day: date) -> bool:
        """Whether a clearance is in force on a date."""
        until = self.clearance.until if self.clearance else None
        return self.clearance is not None and (until is None or day <= until)

    def lets_train_with(self, severity: float | None, day: date, rules: ConcernRules) -> bool:
        """Whether a clearance in force on a date lets pain of a severity be trained with."""
        if self.kind is not ConcernKind.PAIN or self.clearance is None or severity is None:
            return False
        limit = self.clearance.severity_at_most
        at_most = rules.pain_trained_with_at_most if limit is None else limit
        return self.has_clearance_on(day) and severity <= at_most

    def rests_whole_date(self, day: date, rules: ConcernRules) -> bool:
        """Whether a head injury rests a date, whatever was reported or confirmed since."""
        if self.kind is not ConcernKind.HEAD_INJURY:
            return False
        reported = any(event.kind in REPORTS and event.on == day for event in self.events)
        rest = timedelta(days=rules.head_injury_rest_days)
        in_relative_rest = not self.is_closed and day <= self.last_reported_on + rest
        return reported or in_relative_rest


def concern_of(
    concern_id: str, athlete_id: str, kind: ConcernKind, events: Sequence[ConcernEvent]
) -> Concern:
    """Fold the events of a concern, in the order in which they were recorded.

    Raises ``ValueError`` when there are none, or the first is not a report.
    """
    if not events or events[0].kind not in REPORTS:
        raise ValueError(f"a concern begins with a report, {concern_id} does not")
    counted = _counted(events)
    first = events[0]
    concern = Concern(
        concern_id, athlete_id, kind, tuple(events), ConcernState.OPEN, first.on, first.on,
        first.at, 0,
    )  # fmt: skip
    if not any(event.kind in REPORTS for event in counted):
        return replace(concern, state=ConcernState.CLOSED, closed_on=events[-1].on, is_void=True)
    for event in counted:
        concern = _with(concern, event, counted)
    dates = [event.on for event in counted if event.kind in REPORTS]
    return replace(concern, mornings=len(set(dates)), began_on=min(dates))


def with_events(concern: Concern, *events: ConcernEvent) -> Concern:
    """Add events to a concern."""
    return concern_of(concern.id, concern.athlete_id, concern.kind, (*concern.events, *events))


def _counted(events: Iterable[ConcernEvent]) -> list[ConcernEvent]:
    """Leave out the reports that somebody confirmed to be typing errors."""
    counted: list[ConcernEvent] = []
    for event in events:
        if event.kind is EventKind.TYPING_ERROR_CONFIRMED:
            counted = [one for one in counted if not _is_taken_back(one, event)]
        counted.append(event)
    return counted


def _is_taken_back(event: ConcernEvent, confirmed: ConcernEvent) -> bool:
    if event.kind is EventKind.WITHDRAWN_SAME_DAY:
        return event.on == confirmed.on
    is_named = event.suspected if confirmed.suspected else event.on == confirmed.on
    return event.kind in REPORTS and is_named


def _with(concern: Concern, event: ConcernEvent, counted: Sequence[ConcernEvent]) -> Concern:
    match event.kind:
        case EventKind.OPENED | EventKind.REPORTED_AGAIN | EventKind.CAME_BACK:
            return _reported(concern, event, is_first=event is _first_report(counted))
        case EventKind.ANSWERED_NONE:
            return replace(concern, answered_on=event.on)
        case EventKind.WITHDRAWN_SAME_DAY:
            return replace(concern, correction_on=event.on)
        case EventKind.TYPING_ERROR_CONFIRMED:
            return replace(concern, correction_on=None)
        case EventKind.CLEARED:
            return replace(concern, state=ConcernState.CLEARED, clearance=event.clearance)
        case EventKind.CLEARANCE_REVOKED:
            return _open(concern)
        case EventKind.STAGE_REACHED | EventKind.STAGE_LOST:
            return replace(
                concern,
                state=ConcernState.RETURNING,
                staged_return=event.staged_return,
                stage=event.stage,
                stage_on=event.on,
                stage_at=event.at,
            )
        case EventKind.CLOSED:
            return replace(concern, state=ConcernState.CLOSED, closed_on=event.on)


def _first_report(events: Iterable[ConcernEvent]) -> ConcernEvent:
    return next(event for event in events if event.kind in REPORTS)


def _open(concern: Concern) -> Concern:
    return replace(
        concern,
        state=ConcernState.OPEN,
        clearance=None,
        staged_return=None,
        stage=None,
        stage_on=None,
        stage_at=None,
        closed_on=None,
    )


def _reported(concern: Concern, event: ConcernEvent, is_first: bool) -> Concern:
    if event.kind is EventKind.CAME_BACK:
        concern = _open(concern)
    is_latest = is_first or event.on >= concern.last_reported_on
    took_back = concern.correction_on == event.on
    return replace(
        concern,
        last_reported_on=event.on if is_latest else concern.last_reported_on,
        last_reported_at=event.at if is_first else max(event.at, concern.last_reported_at),
        signs=tuple(dict.fromkeys((*concern.signs, *event.signs))),
        suspected=event.suspected and (is_first or concern.suspected),
        illness=_worst_illness(concern.illness, event.illness),
        last_fever_at=_later(concern.last_fever_at, event.at if event.fever else None),
        last_medicine_at=_later(concern.last_medicine_at, event.at if event.medicine else None),
        pain=event.pain or concern.pain,
        restriction=event.restriction or concern.restriction,
        correction_on=None if took_back else concern.correction_on,
    )


def _worst_illness(before: str | None, now: str | None) -> str | None:
    order = ConcernRules.bundled().illnesses
    known = [illness for illness in (before, now) if illness is not None]
    return max(known, key=order.index) if known else None


def _later(before: datetime | None, now: datetime | None) -> datetime | None:
    known = [moment for moment in (before, now) if moment is not None]
    return max(known) if known else None


@dataclass(frozen=True, slots=True)
class ConcernRules:
    """``rules/concerns.yaml``: which reports open a concern, and when one may end."""

    kind_of_sign: dict[str, ConcernKind]
    swelling_is_breakdown_from_soreness: float
    illnesses: tuple[str, ...]
    fever_from_c: float
    hours_without_fever: float
    tolerance_hours: float
    pain_kinds: tuple[str, ...]
    pain_trained_with_at_most: float
    head_injury_rest_days: int
    head_injury_first_stage: int

    @classmethod
    @cache
    def bundled(cls) -> Self:
        """Read the rules that ship with the service."""
        return cls.from_file(rules_folder() / "concerns.yaml")

    @classmethod
    def from_file(cls, file: Path) -> Self:
        """Read a file of the form of ``rules/concerns.yaml``."""
        data: dict[str, Any] = read_data(file)
        return cls(
            kind_of_sign={sign: ConcernKind(kind) for sign, kind in data["signs"].items()},
            swelling_is_breakdown_from_soreness=data["swelling_is_breakdown_from_soreness"],
            illnesses=tuple(data["illnesses"]),
            fever_from_c=data["fever_from_c"],
            hours_without_fever=data["hours_without_fever"],
            tolerance_hours=data["tolerance_hours"],
            pain_kinds=tuple(data["pain_kinds"]),
            pain_trained_with_at_most=data["pain_trained_with_at_most"],
            head_injury_rest_days=data["head_injury_rest_days"],
            head_injury_first_stage=data["head_injury_first_stage"],
        )
