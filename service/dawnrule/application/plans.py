"""How does a coach's plan come to stand for a date, and how does it go?"""

from __future__ import annotations

from datetime import date, datetime

from dawnrule.application.athletes import require_athlete
from dawnrule.store import StoredPlan, Transaction
from dawnrule.store.activity_log import record_act


def set_plan(transaction: Transaction, plan: StoredPlan, *, by: str) -> bool:
    """Store a plan for its date, or replace the one of before, and note who did; True if there was
    none. Run it inside one transaction. Raises ``NotFound`` for an unknown athlete.

    What is planned is not noted: it may say of somebody that they cannot train.
    """
    require_athlete(transaction, plan.athlete_id)
    record_act(
        transaction, "plan-set", by=by, at=plan.posted_at, about=_about(plan.athlete_id, plan.date)
    )
    return transaction.plans.put(plan)


def remove_plan(
    transaction: Transaction, athlete_id: str, on: date, *, by: str, at: datetime
) -> bool:
    """Take back the plan for a date and note who did; False, and nothing noted, if there was none.
    Run it inside one transaction. Raises ``NotFound`` for an unknown athlete."""
    require_athlete(transaction, athlete_id)
    removed = transaction.plans.delete(athlete_id, on)
    if removed:
        record_act(transaction, "plan-removed", by=by, at=at, about=_about(athlete_id, on))
    return removed


def _about(athlete_id: str, on: date) -> dict[str, str]:
    return {"athlete_id": athlete_id, "date": on.isoformat()}
