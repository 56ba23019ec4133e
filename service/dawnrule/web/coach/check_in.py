"""A check-in for an athlete without a phone: the athlete's own page, filled in by the coach."""

from __future__ import annotations

from datetime import datetime

from flask import Response, redirect, request, url_for
from werkzeug.wrappers import Response as AnyResponse

from dawnrule.application.athletes import require_athlete
from dawnrule.store import Transaction
from dawnrule.web.coach.forms import OK, SEE_OTHER, UNPROCESSABLE
from dawnrule.web.coach.layout import coach
from dawnrule.web.context import context
from dawnrule.web.http.authorization import caller
from dawnrule.web.private.check_in_page import Accepted, Day, Refused, accept_answers, rendered
from dawnrule.web.private.form import Answers, Faults

_TEMPLATE = "coach/check_in.html"


@coach.get("/athletes/<athlete_id>/check-in")
def check_in_for(athlete_id: str) -> Response:
    """Show an athlete's check-in of today, to be entered or corrected."""
    now = context().clock()
    day = context().store.read(lambda transaction: _day(transaction, athlete_id, now))
    return rendered(day, day.answers(), Faults({}), OK, _TEMPLATE)


@coach.post("/athletes/<athlete_id>/check-in")
def send_check_in_for(athlete_id: str) -> AnyResponse:
    """Store a check-in that the coach entered, and show the advice, or show what is wrong."""
    answers, now, by = Answers.of_form(request.form), context().clock(), caller().id
    begin = context().answer_for(by)

    def accept(transaction: Transaction) -> Refused | Accepted:
        return accept_answers(transaction, _day(transaction, athlete_id, now), answers, by, begin)

    result = context().store.write(accept)
    if isinstance(result, Refused):
        return rendered(result.day, result.answers, result.faults, UNPROCESSABLE, _TEMPLATE)
    left_out = result.left_out
    shown_at = url_for("coach.check_in_for", athlete_id=athlete_id, left_out=left_out)
    return redirect(shown_at, SEE_OTHER)


def _day(transaction: Transaction, athlete_id: str, now: datetime) -> Day:
    return Day.of(transaction, require_athlete(transaction, athlete_id), now)
