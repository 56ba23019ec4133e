"""When does each muscle group open again?"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from flask import Response

from dawnrule.advice.ahead import look_ahead, told_outlook
from dawnrule.advice.morning import known_athlete
from dawnrule.advice.outlook import Outlook
from dawnrule.schemas.outlook import OutlookQuerySchema, OutlookSchema
from dawnrule.store import Books
from dawnrule.web.answers import json_answer
from dawnrule.web.incoming import ATHLETE_ID, Blueprint
from dawnrule.web.language import composer, in_language
from dawnrule.web.service import service

outlooks = Blueprint("outlooks", __name__, url_prefix="/v1", description="What opens when.")


@outlooks.route("/athletes/<athlete_id>/outlook", parameters=[ATHLETE_ID])
@outlooks.arguments(OutlookQuerySchema, location="query")
@outlooks.response(200, OutlookSchema)
@outlooks.alt_response(404, "NOT_FOUND")
def get_outlook(query: Mapping[str, Any], athlete_id: str) -> Response:
    """When each muscle group opens for each goal, and a balanced session of four movements.

    It rests on the log, and on today's check-in if there is one; nothing is stored.
    """
    its, now = service(), service().clock()

    def look(books: Books) -> Outlook:
        today = known_athlete(books, athlete_id).today(now)
        what_if = its.advisor.library.what_if(its.in_force(books, athlete_id, today))
        return look_ahead(books, what_if, athlete_id, now, query["days"])

    outlook = its.store.read(look)
    return in_language(json_answer(told_outlook(outlook, query["goal"], composer())))
