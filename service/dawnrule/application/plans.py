"""The coach's plans: set and remove the plan for a date."""

from __future__ import annotations

from datetime import date, datetime

from dawnrule.application.athletes import require_athlete
from dawnrule.store import StoredPlan, Transaction
from dawnrule.store.activity_log import record_act


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


def remove_plan(
    transaction: Transaction, athlete_id: str, on: date, *, by: str, at: datetime
) -> bool:
    """Delete the plan for a date and log who did; return False, and log nothing, if there was none.
    To be run inside one transaction. Raises ``NotFound`` for an unknown athlete."""
    require_athlete(transaction, athlete_id)
    removed = transaction.plans.delete(athlete_id, on)
    if removed:
        record_act(transaction, "plan-removed", by=by, at=at, about=_about(athlete_id, on))
    return removed


def _about(athlete_id: str, on: date) -> dict[str, str]:
    return {"athlete_id": athlete_id, "date": on.isoformat()}
