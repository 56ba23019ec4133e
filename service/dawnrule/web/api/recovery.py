"""Own recovery of an athlete."""

from __future__ import annotations

from typing import TYPE_CHECKING

from dawnrule.application.recoveries import RecoveryQuestion
from dawnrule.schemas.recovery import RecoveryQuery, RecoveryQuerySchema, RecoverySchema
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
    published studies. A chance is told once the end of five episodes was seen. The rules decide
    all the same: this never opens what they keep shut.
    """
    ctx = context()
    question = RecoveryQuestion(athlete_id, query.kind, ctx.clock(), query.times)
    said = texts()
    report = ctx.store.read(lambda transaction: ctx.recoveries.read(transaction, question, said))
    return report, language_header()
