"""Check-ins, one at a time."""

from __future__ import annotations

from flask import Response

from dawnrule.model.entities import CheckIn
from dawnrule.model.serialization import to_json
from dawnrule.schemas.advice import AdviceSchema
from dawnrule.schemas.check_in import CHECK_IN, EXAMPLE
from dawnrule.web.context import context
from dawnrule.web.http.authorization import caller, refuse_foreign
from dawnrule.web.http.locale import LANG, language_header, localize
from dawnrule.web.http.requests import Blueprint
from dawnrule.web.http.responses import json_answer

check_ins = Blueprint(
    "check-ins", __name__, url_prefix="/v1", description="What athletes report in the morning."
)

_LOCATION = {"Location": {"description": "The advice.", "schema": {"type": "string"}}}


@check_ins.route("/check-ins", methods=["POST"], parameters=[LANG])
@check_ins.arguments(CHECK_IN, example=EXAMPLE)
@check_ins.response(201, AdviceSchema, description="New, or changed.", headers=_LOCATION)
@check_ins.alt_response(
    200, schema=AdviceSchema, description="The same as before; nothing is stored."
)
@check_ins.alt_response(404, "NOT_FOUND")
def post_check_in(check_in: CheckIn) -> Response:
    """Store a check-in and give its advice.

    Sent again unchanged it gives the same advice; a changed one takes the place of the one before,
    which is kept.
    """
    refuse_foreign(check_in.athlete_id)
    begin = context().answer_for(caller().id)
    answered = context().store.write(begin(check_in))
    headers = {"Location": f"/v1/advice/{answered.advice.advice_id}"} | language_header()
    advice = to_json(localize(answered.advice))  # as the schema would, in a fraction of its time
    return json_answer(advice, 201 if answered.is_new else 200, headers)
