"""Concerns: open, clear, withdraw, confirm and advance, each by a coach or clinician.

Every function is to be run inside one transaction. Each change is an event in the chain, and
today's advice is decided again after it.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime

from dawnrule.application.athletes import require_athlete
from dawnrule.application.check_ins import CheckIns, Submission, Submitted
from dawnrule.application.concern_reports import session_counter
from dawnrule.errors import InvalidInput, NotFound
from dawnrule.i18n.lazy import lazy
from dawnrule.model.concern_transitions import (
    Actor,
    ClearanceTerms,
    Opening,
    advance,
    clear,
    confirm_typing_error,
    lapse,
    new_concern_ids,
    open_by,
    withdraw_clearance,
)
from dawnrule.model.concerns import (
    ActorRole,
    Clearance,
    Concern,
    ConcernKind,
)
from dawnrule.model.entities import Athlete
from dawnrule.rules.staged_returns import stage_plans
from dawnrule.store import Transaction
from dawnrule.store.activity_log import COMMAND_LINE


@dataclass(frozen=True, slots=True)
class Acting:
    """Who changes a concern: the role, the person's name where it was told, and the submission
    whose time, key and ids are used."""

    role: ActorRole
    submission: Submission
    name: str | None = None

    def on_date_of(self, athlete: Athlete) -> Actor:
        """The same actor on the athlete's date of now."""
        now = self.submission.now
        return Actor(self.role, athlete.today(now), now, self.name)


@dataclass(frozen=True, slots=True)
class ConcernChanged:
    """A concern after a change. ``today`` is the advice that supersedes today's, None where
    today's stays or there is none."""

    concern: Concern
    today: Submitted | None


def open_concern(
    transaction: Transaction,
    check_ins: CheckIns,
    athlete_id: str,
    opening: Opening,
    acting: Acting,
) -> ConcernChanged:
    """Open a concern of an athlete, or report one again that has not ended. Raises ``NotFound``,
    and ``Forbidden`` for an athlete's key."""
    athlete = require_athlete(transaction, athlete_id)
    _refuse_incomplete(opening)
    actor = acting.on_date_of(athlete)
    current = transaction.concerns.current(athlete_id, actor.on)
    new_id = new_concern_ids(acting.submission.check_in_id)
    concern = open_by(current, athlete_id, opening, actor, new_id())
    return _changed(transaction, check_ins, athlete, concern, acting)


def clear_concern(
    transaction: Transaction,
    check_ins: CheckIns,
    concern_id: str,
    terms: ClearanceTerms,
    acting: Acting,
) -> ConcernChanged:
    """Give a clearance; its id is made of the submission's. Raises ``NotFound``, ``Conflict`` for a
    concern that has ended, and ``Forbidden`` for an athlete's key."""

    def given(concern: Concern, actor: Actor) -> Concern:
        new_id = new_concern_ids(f"clearance {acting.submission.check_in_id}")
        clearance = Clearance(
            new_id(),
            actor.role,
            actor.on,
            actor.name,
            terms.restrictions,
            terms.severity_at_most,
            terms.until,
        )
        if terms.until is not None and terms.until < actor.on:
            raise InvalidInput(lazy("field.untrue_concern"))
        return clear(concern, clearance, actor, stage_plans())

    return _change(transaction, check_ins, concern_id, given, acting)


def withdraw(
    transaction: Transaction,
    check_ins: CheckIns,
    concern_id: str,
    clearance_id: str,
    acting: Acting,
) -> ConcernChanged:
    """Withdraw a clearance: the concern is open again. Raises ``NotFound``, ``Conflict`` when that
    clearance is not in force, and ``Forbidden`` for an athlete's key."""
    return _change(
        transaction,
        check_ins,
        concern_id,
        lambda concern, actor: withdraw_clearance(concern, clearance_id, actor),
        acting,
    )


def confirm_correction(
    transaction: Transaction, check_ins: CheckIns, concern_id: str, acting: Acting
) -> ConcernChanged:
    """Confirm that a withdrawn report was a typing error, or that a suspected warning sign is none.
    Raises ``NotFound``, ``Conflict`` where there is nothing to confirm, and ``Forbidden``."""
    return _change(transaction, check_ins, concern_id, confirm_typing_error, acting)


def advance_concern(
    transaction: Transaction,
    check_ins: CheckIns,
    concern_id: str,
    acting: Acting,
    *,
    back: bool = False,
) -> ConcernChanged:
    """Pass to the next stage of a staged return, or one back. Raises ``NotFound``, ``Conflict``
    where the stage has not lasted enough or the next one needs a clearance, and ``Forbidden``."""
    count = session_counter(transaction, acting.submission.now)

    def moved(concern: Concern, actor: Actor) -> Concern:
        return advance(concern, actor, stage_plans(), count(concern), back=back)

    return _change(transaction, check_ins, concern_id, moved, acting)


def require_concern(transaction: Transaction, concern_id: str) -> Concern:
    """Find a concern. Raises ``NotFound``."""
    concern = transaction.concerns.get(concern_id)
    if concern is None:
        raise NotFound(f"There is no concern {concern_id!r}.")
    return concern


def concerns_of(transaction: Transaction, athlete_id: str, now: datetime) -> list[Concern]:
    """Read all concerns of an athlete as they are at a time (aware), those that have not ended
    first, then the latest. Raises ``NotFound``."""
    athlete = require_athlete(transaction, athlete_id)
    today = athlete.today(now)
    concerns = [lapse(one, today, now) for one in transaction.concerns.of_athlete(athlete_id)]
    return sorted(concerns, key=lambda one: (one.is_closed, -one.last_reported_on.toordinal()))


def open_concerns(transaction: Transaction, now: datetime) -> list[Concern]:
    """Read the concerns of the squad that have not ended at a time (aware), by athlete."""
    athletes = {athlete.id: athlete for athlete in transaction.athletes.all()}
    concerns = (
        lapse(one, athletes[one.athlete_id].today_or_utc(now), now)
        for one in transaction.concerns.not_ended()
    )
    return sorted(
        (concern for concern in concerns if not concern.is_closed),
        key=lambda concern: (athletes[concern.athlete_id].name.casefold(), concern.athlete_id),
    )


def _change(
    transaction: Transaction,
    check_ins: CheckIns,
    concern_id: str,
    change: Callable[[Concern, Actor], Concern],
    acting: Acting,
) -> ConcernChanged:
    concern = require_concern(transaction, concern_id)
    athlete = require_athlete(transaction, concern.athlete_id)
    actor = acting.on_date_of(athlete)
    after = change(lapse(concern, actor.on, actor.at), actor)
    return _changed(transaction, check_ins, athlete, after, acting)


def _changed(
    transaction: Transaction,
    check_ins: CheckIns,
    athlete: Athlete,
    concern: Concern,
    acting: Acting,
) -> ConcernChanged:
    """Store what changed and decide today's advice again."""
    submission = acting.submission
    by = submission.posted_by or COMMAND_LINE
    transaction.concerns.save(concern, by=by, at=submission.now)
    today = check_ins.redecide_today(transaction, athlete, submission)
    return ConcernChanged(concern, today)


def _refuse_incomplete(opening: Opening) -> None:
    """Raise ``InvalidInput`` for an opening without what its kind is about."""
    needed = {
        ConcernKind.PAIN: opening.pain,
        ConcernKind.ILLNESS: opening.illness,
        ConcernKind.RESTRICTION: opening.restriction,
    }
    if opening.kind in needed and needed[opening.kind] is None:
        raise InvalidInput(lazy("field.incomplete_concern", kind=opening.kind.value))
