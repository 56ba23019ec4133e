"""The rest of a week as it is planned: the order that keeps it, and for whom it no longer holds.

Nothing of this is on the way of a check-in: a week is judged, without the solver, when a coach
looks, and not again until the check-in, the plan or the log has changed.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from time import monotonic

from dawnrule.analytics.squad import AthleteMorning
from dawnrule.application.plan_weeks import monday_of, week_from
from dawnrule.errors import InvalidInput
from dawnrule.model.entities import Athlete, Block
from dawnrule.model.weeks import WeekOrder
from dawnrule.store import StoredAdvice, Transaction
from dawnrule.web.coach.week_form import (
    Standing,
    answers_of_plans,
    kept,
    order_of,
    with_own_times,
)
from dawnrule.web.context import context
from dawnrule.web.http.locale import texts
from dawnrule.web.private.form import Answers

_KEPT_ROWS = ("windows/", "travel/")
_LOGGED_SINCE = timedelta(days=2)

Plans = Mapping[date, Sequence[Block]]


@dataclass(frozen=True, slots=True)
class BrokenWeek:
    """The rest of the week of an athlete that no longer holds, with what is refused and why."""

    athlete: Athlete
    refused: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class BrokenWeeks:
    """Whose week no longer holds, and how many weeks there was no time to look at."""

    weeks: tuple[BrokenWeek, ...]
    unseen: int


def days_left(athlete: Athlete, now: datetime) -> list[date]:
    """List the days of the week from the athlete's today on."""
    today = athlete.today_or_utc(now)
    return [day for day in week_from(monday_of(today)) if day >= today]


def rest_of(
    answers: Answers, athlete: Athlete, plans: Plans, now: datetime
) -> tuple[Answers, list[Standing]]:
    """Fill the form of the week in with what is planned for the rest of it, and list the sessions
    that stand; windows and journeys stay as they were filled in."""
    filled, standing = answers_of_plans(athlete, plans, now)
    days = days_left(athlete, now)
    given = {name: own for name, own in answers.given.items() if name.startswith(_KEPT_ROWS)}
    own = {
        "who": (f"athlete:{athlete.id}",),
        "from": (days[0].isoformat(),),
        "days": (str(len(days)),),
        "rest": ("yes",),
    }
    return filled.replaced(given | own), standing


def order_that_keeps(answers: Answers, athlete: Athlete, standing: Sequence[Standing]) -> WeekOrder:
    """Read the order that keeps the sessions that stand. Raises ``InvalidInput``."""
    return with_own_times(kept(order_of(answers, [athlete]), athlete, standing), athlete)


def broken_weeks(mornings: Sequence[AthleteMorning], within_seconds: float) -> BrokenWeeks:
    """Find those who have checked in and whose rest of the week no longer holds. Looking at weeks
    that have changed ends after a time; those that are left are counted."""
    checked_in = [(one.athlete, one.stored) for one in mornings if one.stored is not None]

    def look(transaction: Transaction) -> BrokenWeeks:
        now, until = context().clock(), monotonic() + within_seconds
        found, unseen = [], 0
        days = {day for athlete, _ in checked_in for day in days_left(athlete, now)}
        plans = transaction.plans.between(min(days), max(days)) if days else {}
        for athlete, stored in checked_in:
            own = {day: plans[athlete.id, day] for day in days if (athlete.id, day) in plans}
            refused = _refused(transaction, athlete, stored, own, now, may_look=monotonic() < until)
            if refused is None:
                unseen += 1
            elif refused:
                found.append(BrokenWeek(athlete, refused))
        return BrokenWeeks(tuple(found), unseen)

    return context().store.read(look)


def _refused(
    transaction: Transaction,
    athlete: Athlete,
    stored: StoredAdvice,
    plans: Plans,
    now: datetime,
    *,
    may_look: bool,
) -> tuple[str, ...] | None:
    """Say what of the rest of a week is refused; None where that would have to be looked at."""
    left = days_left(athlete, now)
    plans = {day: blocks for day, blocks in sorted(plans.items()) if day in left}
    answers, standing = rest_of(Answers({}), athlete, plans, now)
    if not standing:
        return ()
    logged = transaction.sessions.window(athlete.id, now - _LOGGED_SINCE, now.astimezone(UTC))
    judged = (stored.id, texts(), tuple(plans.items()), tuple(standing), tuple(logged))
    known = context().judged_weeks.get(athlete.id)
    if known is not None and known[0] == judged:
        return known[1]
    if not may_look:
        return None
    refused: tuple[str, ...] = ()
    with suppress(InvalidInput):  # a plan that the form cannot hold is not judged
        order = order_that_keeps(answers, athlete, standing)
        found = context().weeks.no_longer_holds(transaction, order, texts(), now)
        refused = tuple(one.text for one in found)
    context().judged_weeks[athlete.id] = judged, refused
    return refused
