"""Concerns: list, open, clear, withdraw, confirm and advance."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from dawnrule.application.check_ins import CheckIns
from dawnrule.application.concerns import (
    Acting,
    ConcernChanged,
    advance_concern,
    clear_concern,
    concerns_of,
    confirm_correction,
    open_concern,
    open_concerns,
    withdraw,
)
from dawnrule.model.concern_transitions import ClearanceTerms, Opening
from dawnrule.model.concerns import ActorRole, Concern
from dawnrule.schemas.concern import (
    NEW_CLEARANCE,
    NEW_CLEARANCE_EXAMPLE,
    NEW_CONCERN,
    NEW_CONCERN_EXAMPLE,
    AdvanceSchema,
    ConcernSchema,
    ConcernsSchema,
    ConfirmationSchema,
)
from dawnrule.store import Role, Transaction
from dawnrule.web.context import context
from dawnrule.web.http.authorization import caller
from dawnrule.web.http.requests import ATHLETE_ID, Blueprint

concerns = Blueprint(
    "concerns",
    __name__,
    url_prefix="/v1",
    description="What stays open about an athlete until somebody lifts it.",
)

_ROLES = {
    Role.COACH: ActorRole.COACH,
    Role.CLINICIAN: ActorRole.CLINICIAN,
    Role.POSTER: ActorRole.ATHLETE,
    Role.ATHLETE: ActorRole.ATHLETE,
}


@dataclass(frozen=True, slots=True)
class ConcernList:
    """Some concerns."""

    concerns: Sequence[Concern]


@concerns.route("/concerns")
@concerns.response(200, ConcernsSchema)
def list_open_concerns() -> ConcernList:
    """The concerns of the squad that have not ended, by athlete."""
    now = context().clock()
    return ConcernList(context().store.read(lambda transaction: open_concerns(transaction, now)))


@concerns.route("/athletes/<athlete_id>/concerns", parameters=[ATHLETE_ID])
@concerns.response(200, ConcernsSchema)
@concerns.alt_response(404, "NOT_FOUND")
def list_concerns(athlete_id: str) -> ConcernList:
    """All concerns of an athlete with their history; those that have not ended come first."""
    now = context().clock()
    return ConcernList(
        context().store.read(lambda transaction: concerns_of(transaction, athlete_id, now))
    )


@concerns.route("/athletes/<athlete_id>/concerns", methods=["POST"], parameters=[ATHLETE_ID])
@concerns.arguments(NEW_CONCERN, example=NEW_CONCERN_EXAMPLE)
@concerns.response(201, ConcernSchema, description="Open.")
@concerns.alt_response(404, "NOT_FOUND")
def post_concern(body: tuple[Opening, str | None], athlete_id: str) -> Concern:
    """Open a concern, or report one again that has not ended; today's advice is decided again."""
    opening, name = body
    return _change(
        name,
        lambda transaction, check_ins, acting: open_concern(
            transaction, check_ins, athlete_id, opening, acting
        ),
    )


@concerns.route("/concerns/<concern_id>/clearances", methods=["POST"])
@concerns.arguments(NEW_CLEARANCE, example=NEW_CLEARANCE_EXAMPLE)
@concerns.response(201, ConcernSchema, description="Cleared.")
@concerns.alt_response(404, "NOT_FOUND")
def post_clearance(body: tuple[ClearanceTerms, str | None], concern_id: str) -> Concern:
    """Clear a concern: its staged return begins, or it ends where there is none."""
    terms, name = body
    return _change(
        name,
        lambda transaction, check_ins, acting: clear_concern(
            transaction, check_ins, concern_id, terms, acting
        ),
    )


@concerns.route("/concerns/<concern_id>/clearances/<clearance_id>", methods=["DELETE"])
@concerns.response(200, ConcernSchema)
@concerns.alt_response(404, "NOT_FOUND")
def delete_clearance(concern_id: str, clearance_id: str) -> Concern:
    """Withdraw a clearance: the concern is open again. Nothing is deleted from its history."""
    return _change(
        None,
        lambda transaction, check_ins, acting: withdraw(
            transaction, check_ins, concern_id, clearance_id, acting
        ),
    )


@concerns.route("/concerns/<concern_id>/confirm-correction", methods=["POST"])
@concerns.arguments(ConfirmationSchema, as_kwargs=True)
@concerns.response(200, ConcernSchema)
@concerns.alt_response(404, "NOT_FOUND")
def post_confirmation(concern_id: str, name: str | None = None) -> Concern:
    """Confirm that a report withdrawn on its own date was a typing error, or that pain which may
    have been a warning sign is none."""
    return _change(
        name,
        lambda transaction, check_ins, acting: confirm_correction(
            transaction, check_ins, concern_id, acting
        ),
    )


@concerns.route("/concerns/<concern_id>/advance", methods=["POST"])
@concerns.arguments(AdvanceSchema, as_kwargs=True)
@concerns.response(200, ConcernSchema)
@concerns.alt_response(404, "NOT_FOUND")
def post_advance(concern_id: str, *, back: bool = False, name: str | None = None) -> Concern:
    """Pass to the next stage of a staged return, or one back."""
    return _change(
        name,
        lambda transaction, check_ins, acting: advance_concern(
            transaction, check_ins, concern_id, acting, back=back
        ),
    )


def _change(
    name: str | None, change: Callable[[Transaction, CheckIns, Acting], ConcernChanged]
) -> Concern:
    """Change a concern as the caller, and decide today's advice again."""
    check_ins = context().check_ins
    acting = Acting(_ROLES[caller().role], check_ins.submission(caller().id), name)
    changed = context().store.write(lambda transaction: change(transaction, check_ins, acting))
    return changed.concern
