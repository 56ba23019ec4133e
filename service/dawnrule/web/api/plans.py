"""Plans: a coach's plan for an athlete and a date."""

from __future__ import annotations

from dataclasses import replace

from flask import Response

from dawnrule.application.athletes import require_athlete
from dawnrule.application.plans import PlanSet, plan_day, remove_plan
from dawnrule.errors import NotFound
from dawnrule.model.entities import Block
from dawnrule.schemas.check_in import PlannedDaySchema, PlanSchema
from dawnrule.schemas.plan import PlanSetSchema
from dawnrule.schemas.query import day_of_address
from dawnrule.store import StoredPlan, Transaction
from dawnrule.web.context import context
from dawnrule.web.http.authorization import caller
from dawnrule.web.http.locale import localize
from dawnrule.web.http.requests import ATHLETE_ID, DATE, Blueprint

plans = Blueprint("plans", __name__, url_prefix="/v1", description="What the coach plans.")

_ADDRESS = "/athletes/<athlete_id>/plans/<date>"


@plans.route(_ADDRESS, methods=["PUT"], parameters=[ATHLETE_ID, DATE])
@plans.arguments(PlanSchema(), as_kwargs=True)
@plans.response(200, PlanSetSchema, description="Replaced.")
@plans.alt_response(201, schema=PlanSetSchema, description="New.")
@plans.alt_response(404, "NOT_FOUND")
def put_plan(athlete_id: str, date: str, plan: tuple[Block, ...]) -> tuple[PlanSet, int]:
    """Say what an athlete is to do on a date; the page for checking in then offers it.

    It is no check-in: advice is given on what the athlete sends. If today's check-in came before,
    it is decided again with this plan at once, and `today` says what became of the advice.
    """
    on, check_ins = day_of_address(date), context().check_ins
    submission = check_ins.submission(caller().id)
    done = context().store.write(
        lambda transaction: plan_day(transaction, check_ins, athlete_id, on, plan, submission)
    )
    if done.today is not None:
        done = replace(done, today=replace(done.today, advice=localize(done.today.advice)))
    return done, 201 if done.is_new else 200


@plans.route(_ADDRESS, parameters=[ATHLETE_ID, DATE])
@plans.response(200, PlannedDaySchema)
@plans.alt_response(404, "NOT_FOUND")
def get_plan(athlete_id: str, date: str) -> StoredPlan:
    """What the coach plans for a date."""
    on = day_of_address(date)

    def find(transaction: Transaction) -> StoredPlan | None:
        require_athlete(transaction, athlete_id)
        return transaction.plans.get(athlete_id, on)

    found = context().store.read(find)
    if found is None:
        raise _no_plan(date)
    return found


@plans.route(_ADDRESS, methods=["DELETE"], parameters=[ATHLETE_ID, DATE])
@plans.response(204)
@plans.alt_response(404, "NOT_FOUND")
def delete_plan(athlete_id: str, date: str) -> Response:
    """Take back what was planned for a date."""
    on, now, key_id = day_of_address(date), context().clock(), caller().id
    if not context().store.write(
        lambda transaction: remove_plan(transaction, athlete_id, on, by=key_id, at=now)
    ):
        raise _no_plan(date)
    return Response(status=204)


def _no_plan(date: str) -> NotFound:
    return NotFound(f"There is no plan for {date}.")
