"""Who drifts."""

from __future__ import annotations

from dawnrule.application.drifts import AthleteDrift, read_drifts
from dawnrule.schemas.drift import DriftQuerySchema, DriftsSchema
from dawnrule.web.context import context
from dawnrule.web.http.requests import Blueprint

drifts = Blueprint(
    "drifts", __name__, url_prefix="/v1", description="Who drifts from the own usual."
)


@drifts.route("/drifts")
@drifts.arguments(DriftQuerySchema, location="query", as_kwargs=True)
@drifts.response(200, DriftsSchema)
@drifts.alt_response(404, "NOT_FOUND")
def get_drifts(group: str | None) -> dict[str, list[AthleteDrift]]:
    """Each athlete's sleep, fatigue, soreness, resting heart rate, heart-rate variability and jump
    height of the last 7 days beside the athlete's own usual of the 28 days before.

    Each measure stands for itself, and no advice hangs on it.
    """
    now = context().clock()
    return {"athletes": context().store.read(lambda b: read_drifts(b, now, group))}
