"""How does a coach's plan come to stand for a date, and how does it go?"""

from __future__ import annotations

from datetime import date, datetime

from dawnrule.advice.acts import note_act
from dawnrule.advice.morning import known_athlete
from dawnrule.store import Books, StoredPlan


def set_plan(books: Books, plan: StoredPlan, *, by: str) -> bool:
    """Store a plan for its date, or replace the one of before, and note who did; True if there was
    none. Run it inside one transaction. Raises ``NotFound`` for an unknown athlete.

    What is planned is not noted: it may say of somebody that they cannot train.
    """
    known_athlete(books, plan.athlete_id)
    note_act(books, "plan-set", by=by, at=plan.posted_at, about=_about(plan.athlete_id, plan.date))
    return books.plans.put(plan)


def remove_plan(books: Books, athlete_id: str, on: date, *, by: str, at: datetime) -> bool:
    """Take back the plan for a date and note who did; False, and nothing noted, if there was none.
    Run it inside one transaction. Raises ``NotFound`` for an unknown athlete."""
    known_athlete(books, athlete_id)
    removed = books.plans.delete(athlete_id, on)
    if removed:
        note_act(books, "plan-removed", by=by, at=at, about=_about(athlete_id, on))
    return removed


def _about(athlete_id: str, on: date) -> dict[str, str]:
    return {"athlete_id": athlete_id, "date": on.isoformat()}
