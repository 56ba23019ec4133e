"""Concerns in check-ins: what a check-in changes about them, and which ones a morning knows of."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from datetime import date, datetime, timedelta

from dawnrule.facts.pain import passed_through
from dawnrule.facts.suspicion import suspected_signs
from dawnrule.model import Vocabulary
from dawnrule.model.concern_transitions import (
    HealthReport,
    consider_report,
    health_report,
    lapse,
    new_concern_ids,
)
from dawnrule.model.concerns import Concern, ConcernRules
from dawnrule.model.entities import CheckIn, Session
from dawnrule.model.training import groups_of
from dawnrule.rules.staged_returns import stage_plans
from dawnrule.store import Transaction

_ONE_DAY = timedelta(days=1)


def changes_by_check_in(
    transaction: Transaction, check_in: CheckIn, check_in_id: str, now: datetime
) -> tuple[list[Concern], list[Concern]]:
    """Find the concerns that a check-in opens, continues, eases or ends, and all that are current
    on its date after it; nothing is written.

    A check-in that comes late, for an earlier date, opens a concern that later check-ins may have
    answered: these are considered too.
    """
    report = _report(check_in, now, check_in_id)
    concerns = transaction.concerns.current(check_in.athlete_id, check_in.date)
    sessions_since = session_counter(transaction, now)
    changed = consider_report(
        concerns, report, new_concern_ids(check_in_id), stage_plans(), sessions_since
    )
    known = {concern.id: concern for concern in concerns}
    changed = [
        concern
        if concern.id in known
        else _answered_since(transaction, concern, now, sessions_since)
        for concern in changed
    ]
    return changed, [*(known | {concern.id: concern for concern in changed}).values()]


def opened_by(
    check_in: CheckIn, now: datetime, check_in_id: str | None = None
) -> tuple[Concern, ...]:
    """Find the concerns that a check-in opens of an athlete of whom nothing else is known."""
    report = _report(check_in, now, check_in_id)
    ids = new_concern_ids(check_in_id or check_in.athlete_id)
    return tuple(consider_report((), report, ids, stage_plans(), lambda _: 0))


def _report(check_in: CheckIn, now: datetime, check_in_id: str | None) -> HealthReport:
    suspected = suspected_signs(check_in, Vocabulary.bundled())
    return health_report(check_in, now, check_in_id, suspected)


def _answered_since(
    transaction: Transaction,
    concern: Concern,
    now: datetime,
    sessions_since: Callable[[Concern], int],
) -> Concern:
    """Consider the check-ins of later dates on a concern that was opened late."""
    for later in _later_reports(transaction, concern, now):
        changed = consider_report(
            (concern,), later, new_concern_ids(concern.id), stage_plans(), sessions_since
        )
        concern = next((one for one in changed if one.id == concern.id), concern)
    return concern


def _later_reports(transaction: Transaction, concern: Concern, now: datetime) -> list[HealthReport]:
    tomorrow = now.date() + 2 * _ONE_DAY  # today may be a day ahead where the athlete is
    days = (tomorrow - concern.last_reported_on - _ONE_DAY).days
    if days <= 0:
        return []
    later = transaction.check_ins.before(concern.athlete_id, tomorrow, days)
    return [_report(check_in, now, None) for check_in in later]


def keep_changes(
    transaction: Transaction, changed: Sequence[Concern], *, by: str, at: datetime
) -> None:
    """Store the new events of concerns, in the transaction of the check-in that caused them."""
    for concern in changed:
        transaction.concerns.save(concern, by=by, at=at)


def concerns_on(concerns: Iterable[Concern], on: date, now: datetime) -> tuple[Concern, ...]:
    """Choose the concerns that a morning knows of out of those that are current: those that had
    begun and have not ended, and head injuries that rest the date."""
    rules = ConcernRules.bundled()
    lapsed = (lapse(concern, on, now) for concern in concerns)
    return tuple(
        concern
        for concern in lapsed
        if concern.began_on <= on and (not concern.is_closed or concern.rests_whole_date(on, rules))
    )


def session_counter(transaction: Transaction, now: datetime) -> Callable[[Concern], int]:
    """Make a function that counts an athlete's logged sessions since the stage of a concern began:
    those that load what hurts, or all where the concern names no muscle group."""

    def count(concern: Concern) -> int:
        if concern.stage_at is None:
            return 0
        groups = _groups_hurt(concern)
        sessions = transaction.sessions.window(concern.athlete_id, concern.stage_at, now)
        return sum(_loads(session, groups) for _, session in sessions)

    return count


def _groups_hurt(concern: Concern) -> set[str]:
    """Find the muscle groups that a pain concern is about: those named, else those of its place."""
    if concern.pain is None:
        return set()
    places = Vocabulary.bundled().pain_places
    place = places.get(concern.pain.place or "")
    return set(concern.pain.muscle_groups or (place.loads if place else ()))


def _loads(session: Session, groups: set[str]) -> bool:
    vocabulary = Vocabulary.bundled()
    borne_by = {
        group
        for block in session.blocks
        for group in (*groups_of(block, vocabulary), *passed_through(block, vocabulary))
    }
    return not groups or not groups.isdisjoint(borne_by)
