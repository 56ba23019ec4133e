"""What an athlete did beside what was advised."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from dawnrule.advice.done import Difference, Outcome
from dawnrule.analytics.timeline import AthleteDay, describe_days, read_weeks
from dawnrule.application.athletes import require_athlete
from dawnrule.model import Verdict
from dawnrule.schemas.done import DoneQuerySchema, DoneSchema
from dawnrule.store import Transaction
from dawnrule.web.context import context
from dawnrule.web.http.requests import ATHLETE_ID, Blueprint

done = Blueprint(
    "done", __name__, url_prefix="/v1", description="What was done beside what was advised."
)


@dataclass(frozen=True, slots=True)
class DayDone:
    """One day as it is answered."""

    date: date
    advice_id: str
    verdict: Verdict
    outcome: Outcome
    differences: Sequence[Difference]


@dataclass(frozen=True, slots=True)
class Done:
    """An athlete's days as they are answered."""

    athlete_id: str
    days: Sequence[DayDone]


@done.route("/athletes/<athlete_id>/done", parameters=[ATHLETE_ID])
@done.arguments(DoneQuerySchema, location="query", as_kwargs=True)
@done.response(200, DoneSchema)
@done.alt_response(404, "NOT_FOUND")
def get_done(athlete_id: str, days: int) -> Done:
    """The sessions of each day beside its advice: done as advised, more, less, or not logged.

    It describes, and no advice hangs on it.
    """

    def find(transaction: Transaction) -> list[AthleteDay]:
        athlete = require_athlete(transaction, athlete_id)
        today = athlete.today(context().clock())
        return describe_days(read_weeks(transaction, athlete, today, days), days)

    return Done(
        athlete_id,
        [
            DayDone(
                day.date,
                day.advice_id,
                Verdict(day.verdict),
                day.done.outcome,
                day.done.differences,
            )
            for day in reversed(context().store.read(find))
            if day.done is not None and day.advice_id is not None and day.verdict is not None
        ],
    )
