"""What does the service know of one person?"""

from __future__ import annotations

from flask import Response

from dawnrule.advice.export import export_athlete
from dawnrule.web.access import caller
from dawnrule.web.incoming import ATHLETE_ID, Blueprint
from dawnrule.web.language import texts
from dawnrule.web.service import service

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
    its = service()
    packed = export_athlete(its.store, athlete_id, texts(), by=caller().id, at=its.clock())
    headers = {"Content-Disposition": f'attachment; filename="{athlete_id}.zip"'}
    return Response(packed, headers=headers, mimetype=_ZIP)
