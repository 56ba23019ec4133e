"""Own recovery of an athlete."""

from __future__ import annotations

from typing import TYPE_CHECKING

from dawnrule.application.athletes import require_athlete
from dawnrule.application.recoveries import ProposedRules, RecoveryQuestion, SquadMember
from dawnrule.schemas.recovery import (
    ProposedRulesSchema,
    RecoveryQuery,
    RecoveryQuerySchema,
    RecoverySchema,
    SquadRecoveryQuerySchema,
    SquadRecoverySchema,
)
from dawnrule.store import Transaction
from dawnrule.web.context import context
from dawnrule.web.http.locale import language_header, texts
from dawnrule.web.http.requests import ATHLETE_ID, Blueprint

if TYPE_CHECKING:  # it needs numpy and scipy, which take as long to import as all else
    from dawnrule.recovery.report import RecoveryReport

recovery = Blueprint(
    "recovery", __name__, url_prefix="/v1", description="How long soreness lasts for whom."
)


@recovery.route("/athletes/<athlete_id>/recovery", parameters=[ATHLETE_ID])
@recovery.arguments(RecoveryQuerySchema, location="query")
@recovery.response(200, RecoverySchema)
@recovery.alt_response(404, "NOT_FOUND")
def get_recovery(query: RecoveryQuery, athlete_id: str) -> tuple[RecoveryReport, dict[str, str]]:
    """How long each muscle group of an athlete is sore after growth and landing work.

    It rests on the training log and the check-ins of the athlete, then on the squad's, then on
    published studies. A chance is given once the end of five episodes was seen. The rules decide
    all the same: this never allows what they do not.
    """
    ctx = context()
    question = RecoveryQuestion(athlete_id, query.kind, ctx.clock(), query.times)
    said = texts()
    report = ctx.store.read(lambda transaction: ctx.recoveries.read(transaction, question, said))
    return report, language_header()


@recovery.route("/recovery")
@recovery.arguments(SquadRecoveryQuerySchema, location="query", as_kwargs=True)
@recovery.response(200, SquadRecoverySchema)
def get_squad_recovery(kind: str) -> dict[str, list[SquadMember]]:
    """Who is sore for longer than the squad after the same work, the slowest first."""
    ctx, now = context(), context().clock()
    return {
        "athletes": ctx.store.read(lambda transaction: ctx.recoveries.squad(transaction, kind, now))
    }


@recovery.route("/athletes/<athlete_id>/recovery/rules", parameters=[ATHLETE_ID])
@recovery.response(200, ProposedRulesSchema)
@recovery.alt_response(404, "NOT_FOUND")
def get_proposed_rules(athlete_id: str) -> ProposedRules:
    """A rule set by which growth work waits for as long as this athlete was seen to be sore.

    It extends the rule set that decides for the athlete and only ever asks for more hours. Nothing
    is published: a coach checks it and publishes it for this athlete, or does not.
    """
    ctx, now = context(), context().clock()

    def propose(transaction: Transaction) -> ProposedRules:
        today = require_athlete(transaction, athlete_id).today(now)
        extends = ctx.rule_set_for(transaction, athlete_id, today)
        return ctx.recoveries.proposed_rules(transaction, athlete_id, extends, now)

    return ctx.store.read(propose)
