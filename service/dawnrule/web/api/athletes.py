"""Athletes: list, read, edit, export and erase."""

from __future__ import annotations

from flask import Response, request

from dawnrule.application.athletes import Erased, erase, export_athlete, require_athlete
from dawnrule.application.athletes import put_athlete as put
from dawnrule.facts.plausibility import implausible_athlete
from dawnrule.model.entities import Athlete
from dawnrule.schemas.athlete import (
    ATHLETE,
    ErasedSchema,
    SquadSchema,
    identified,
)
from dawnrule.schemas.errors import invalid_input
from dawnrule.web.context import context
from dawnrule.web.http.authorization import caller
from dawnrule.web.http.locale import texts
from dawnrule.web.http.requests import ATHLETE_ID, Blueprint

export = Blueprint(
    "export", __name__, url_prefix="/v1", description="All that is stored of one person."
)

_ZIP = "application/zip"
_BYTES = {"type": "string", "format": "binary"}


@export.route("/athletes/<athlete_id>/export", parameters=[ATHLETE_ID])
@export.response(200, schema=_BYTES, content_type=_ZIP)
@export.alt_response(404, "NOT_FOUND")
def get_export(athlete_id: str) -> Response:
    """All that is stored of an athlete, as a zip of JSON and CSV with a README; for the athlete to
    keep. That it was asked for is noted among the acts."""
    ctx = context()
    headers = {"Content-Disposition": f'attachment; filename="{athlete_id}.zip"'}
    if request.method == "HEAD":  # nothing is given out, so nothing is made or noted
        ctx.store.read(lambda transaction: require_athlete(transaction, athlete_id))
        return Response(headers=headers, mimetype=_ZIP)
    packed = export_athlete(ctx.store, athlete_id, texts(), by=caller().id, at=ctx.clock())
    return Response(packed, headers=headers, mimetype=_ZIP)


athletes = Blueprint("athletes", __name__, url_prefix="/v1", description="Who trains.")


@athletes.route("/athletes")
@athletes.response(200, SquadSchema)
def list_athletes() -> dict[str, list[Athlete]]:
    """Everybody, in the order of their ids."""
    return {"athletes": context().store.read(lambda transaction: transaction.athletes.all())}


@athletes.route("/athletes/<athlete_id>", methods=["PUT"], parameters=[ATHLETE_ID])
@athletes.arguments(ATHLETE)
@athletes.response(200, ATHLETE, description="Replaced.")
@athletes.alt_response(201, schema=ATHLETE, description="Created.")
def put_athlete(body: Athlete, athlete_id: str) -> tuple[Athlete, int]:
    """Create an athlete, or replace what is known of them."""
    athlete = identified(body, athlete_id)
    faults = list(implausible_athlete(athlete, context().clock()))
    if faults:
        raise invalid_input(faults)
    by, at = caller().id, context().clock()
    created = context().store.write(lambda transaction: put(transaction, athlete, by=by, at=at))
    return athlete, 201 if created else 200


@athletes.route("/athletes/<athlete_id>", parameters=[ATHLETE_ID])
@athletes.response(200, ATHLETE)
@athletes.alt_response(404, "NOT_FOUND")
def get_athlete(athlete_id: str) -> Athlete:
    """One athlete."""
    return context().store.read(lambda transaction: require_athlete(transaction, athlete_id))


@athletes.route("/athletes/<athlete_id>", methods=["DELETE"], parameters=[ATHLETE_ID])
@athletes.response(200, ErasedSchema)
@athletes.alt_response(404, "NOT_FOUND")
def erase_athlete(athlete_id: str) -> Erased:
    """Erase a person and all that is known of them: check-ins, advice, sessions, plans, keys and
    private addresses.

    The entries of their advice stay in the logbook, with fingerprints of what nobody has any
    more. An erasure that was cut off is finished when it is asked for again.
    """
    ctx = context()
    erased = erase(ctx.store, athlete_id, by=caller().id, at=ctx.clock())
    ctx.backups.list_erased()
    return erased
