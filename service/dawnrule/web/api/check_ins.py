"""Check-ins, one at a time."""

from __future__ import annotations

from flask import Response, request

from dawnrule.application.amendments import Amendment, Told
from dawnrule.errors import FieldError, InvalidInput
from dawnrule.model.entities import CheckIn
from dawnrule.model.serialization import to_json
from dawnrule.schemas.advice import AdviceSchema
from dawnrule.schemas.check_in import CHECK_IN, EXAMPLE
from dawnrule.schemas.errors import invalid_input
from dawnrule.schemas.json import read_json
from dawnrule.schemas.query import day_of_address
from dawnrule.web.context import context
from dawnrule.web.http.authorization import caller, refuse_foreign
from dawnrule.web.http.locale import LANG, language_header, localize
from dawnrule.web.http.requests import ATHLETE_ID, DATE, Blueprint, refuse_other_than
from dawnrule.web.http.responses import json_answer

check_ins = Blueprint(
    "check-ins", __name__, url_prefix="/v1", description="What athletes report in the morning."
)

MERGE_PATCH = "application/merge-patch+json"
_PATCH = {
    "required": True,
    "content": {
        MERGE_PATCH: {
            "schema": {"type": "object", "additionalProperties": True},
            "example": {"hrv_rmssd_ms": 71, "soreness": {"chest": 2, "calves": None}},
        }
    },
}
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

    Sent again unchanged it gives the same advice; a changed one replaces the one before as a whole,
    which is kept: what it leaves out was not reported. PATCH changes a part and leaves the rest.
    """
    refuse_foreign(check_in.athlete_id)
    return _answer(check_in)


@check_ins.route(
    "/check-ins/<athlete_id>/<date>", methods=["PATCH"], parameters=[ATHLETE_ID, DATE, LANG]
)
@check_ins.doc(requestBody=_PATCH)
@check_ins.response(201, AdviceSchema, description="Changed, or new.", headers=_LOCATION)
@check_ins.alt_response(
    200, schema=AdviceSchema, description="The same as before; nothing is stored."
)
@check_ins.alt_response(404, "NOT_FOUND")
@check_ins.alt_response(422, "UNPROCESSABLE_ENTITY")
def patch_check_in(athlete_id: str, date: str) -> Response:
    """Change a part of a day's check-in and give its advice.

    The body is a JSON Merge Patch (RFC 7396) of the check-in: what it leaves out stays as it was
    told, null takes a member away, and a list replaces the list before. Where nobody has checked in
    yet, it is the check-in, with the coach's plan for the day.
    """
    refuse_foreign(athlete_id)
    refuse_other_than(MERGE_PATCH)
    changes = read_json(request.get_data())
    if not isinstance(changes, dict):
        raise InvalidInput("The body must be an object.", [FieldError("", None, "is no object")])
    on = day_of_address(date)
    subject = {"athlete_id": athlete_id, "date": on.isoformat()}
    faults = [
        FieldError(f"/{name}", changes[name], f"must be left out, or be {value}")
        for name, value in subject.items()
        if changes.get(name, value) != value
    ]
    if faults:
        raise invalid_input(faults)
    return _answer(Amendment(athlete_id, on, changes))


def _answer(told: Told) -> Response:
    """Store what was told and answer with its advice."""
    begin = context().answer_for(caller().id)
    answered = context().store.write(begin(told))
    headers = {"Location": f"/v1/advice/{answered.advice.advice_id}"} | language_header()
    advice = to_json(localize(answered.advice))  # as the schema would, in a fraction of its time
    return json_answer(advice, 201 if answered.is_new else 200, headers)
