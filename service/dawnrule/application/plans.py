"""The coach's plans: set and remove the plan for a date. A plan that comes after the day's check-in
is considered at once, as if the athlete had checked in with it."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import UTC, date, datetime

from dawnrule.application.athletes import require_athlete
from dawnrule.application.check_ins import CheckIns, Submission, Submitted
from dawnrule.facts.plausibility import starts_elsewhere
from dawnrule.model.entities import Athlete, Block, CheckIn
from dawnrule.schemas.errors import invalid_input
from dawnrule.store import StoredCheckIn, StoredPlan, Transaction
from dawnrule.store.activity_log import COMMAND_LINE, record_act

_AGAIN = 2  # the first revision that replaces another


@dataclass(frozen=True, slots=True)
class PlanSet:
    """A plan that was set; ``is_new`` is False when it took the place of another. ``today`` is the
    advice that supersedes today's, None where today's stays or none was given."""

    plan: StoredPlan
    is_new: bool
    today: Submitted | None


def set_plan(transaction: Transaction, plan: StoredPlan, *, by: str) -> bool:
    """Store a plan for its date, or replace the earlier one, and log who did; return True if there
    was none. To be run inside one transaction. Raises ``NotFound`` for an unknown athlete.

    The plan itself is not logged: it may reveal that somebody cannot train.
    """
    require_athlete(transaction, plan.athlete_id)
    record_act(
        transaction, "plan-set", by=by, at=plan.posted_at, about=_about(plan.athlete_id, plan.date)
    )
    return transaction.plans.put(plan)


def plan_day(
    transaction: Transaction,
    check_ins: CheckIns,
    athlete_id: str,
    on: date,
    blocks: tuple[Block, ...],
    submission: Submission,
) -> PlanSet:
    """Set the plan for a date, and decide today's check-in again with it if it came before.

    To be run inside one transaction; a plan that stands already is not written again. Raises
    ``NotFound`` for an unknown athlete, ``InvalidInput`` for a start that is far from
    the date.
    """
    athlete = require_athlete(transaction, athlete_id)
    if faults := list(starts_elsewhere(athlete, CheckIn(athlete_id, on, blocks))):
        raise invalid_input(faults)
    before = transaction.plans.get(athlete_id, on)
    if before is not None and before.blocks == blocks:
        return PlanSet(before, is_new=False, today=None)
    at, key_id = submission.now.astimezone(UTC), submission.posted_by
    plan = StoredPlan(athlete_id, on, blocks, at, key_id)
    is_new = set_plan(transaction, plan, by=key_id or COMMAND_LINE)
    return PlanSet(plan, is_new, _considered(transaction, check_ins, athlete, plan, submission))


def _considered(
    transaction: Transaction,
    check_ins: CheckIns,
    athlete: Athlete,
    plan: StoredPlan,
    submission: Submission,
) -> Submitted | None:
    """Send today's check-in again with another plan; all that the athlete reported stays, and none
    of it is reported anew."""
    if plan.date != athlete.today(submission.now):
        return None
    stored = transaction.check_ins.latest(athlete.id, plan.date)
    if stored is None or stored.check_in.plan == plan.blocks:
        return None
    again = replace(stored.check_in, plan=plan.blocks)
    return check_ins.submit(transaction, again, submission, said=())


def plan_changed_at(transaction: Transaction, stored: StoredCheckIn | None) -> datetime | None:
    """Return when a coach changed the plan of a check-in that was already in; None where the
    athlete's own words came last. Plan and check-in were then written in one submission."""
    if stored is None or stored.revision < _AGAIN:
        return None
    plan = transaction.plans.get(stored.athlete_id, stored.date)
    if plan is None or plan.blocks != stored.check_in.plan:
        return None
    is_one = (plan.posted_at, plan.posted_by) == (stored.received_at, stored.posted_by)
    return stored.received_at if is_one else None


def remove_plan(
    transaction: Transaction, athlete_id: str, on: date, *, by: str, at: datetime
) -> bool:
    """Delete the plan for a date and log who did; return False, and log nothing, if there was none.
    To be run inside one transaction. Raises ``NotFound`` for an unknown athlete.

    A check-in that came with the plan keeps it, and its advice stays.
    """
    require_athlete(transaction, athlete_id)
    removed = transaction.plans.delete(athlete_id, on)
    if removed:
        record_act(transaction, "plan-removed", by=by, at=at, about=_about(athlete_id, on))
    return removed


def _about(athlete_id: str, on: date) -> dict[str, str]:
    return {"athlete_id": athlete_id, "date": on.isoformat()}
