"""Which advice holds for an athlete, for the squad, and why?"""

from __future__ import annotations

import json
from collections.abc import Mapping
from datetime import date
from typing import Any

from flask import Response

from dawnrule.advice.explanation import explain_record
from dawnrule.advice.outlook import Outlook
from dawnrule.advice.summary import without_check_in
from dawnrule.application.athletes import require_athlete
from dawnrule.application.outlooks import outlook_in_words, read_outlook
from dawnrule.errors import NotFound
from dawnrule.model.entities import Athlete
from dawnrule.schemas.advice import (
    AdviceSchema,
    OutlookQuerySchema,
    OutlookSchema,
    SquadAdviceSchema,
)
from dawnrule.schemas.query import SquadQuerySchema, day_of_address
from dawnrule.schemas.record import AdviceRecordSchema
from dawnrule.store import StoredAdvice, Transaction
from dawnrule.web.context import context
from dawnrule.web.http.authorization import may_see
from dawnrule.web.http.locale import (
    LANG,
    composer,
    in_language,
    speak_unless_asked,
    spoken_here,
    told_here,
)
from dawnrule.web.http.requests import ATHLETE_ID, Blueprint
from dawnrule.web.http.responses import (
    CSV,
    JSON,
    TEXT,
    advice_sheet,
    csv_answer,
    json_answer,
    preferred_media_type,
    text_answer,
)

outlooks = Blueprint("outlooks", __name__, url_prefix="/v1", description="What opens when.")


@outlooks.route("/athletes/<athlete_id>/outlook", parameters=[ATHLETE_ID])
@outlooks.arguments(OutlookQuerySchema, location="query")
@outlooks.response(200, OutlookSchema)
@outlooks.alt_response(404, "NOT_FOUND")
def get_outlook(query: Mapping[str, Any], athlete_id: str) -> Response:
    """When each muscle group opens for each goal, and a balanced session of four movements.

    It rests on the log, and on today's check-in if there is one; nothing is stored.
    """
    its, now = context(), context().clock()

    def look(transaction: Transaction) -> Outlook:
        today = require_athlete(transaction, athlete_id).today(now)
        what_if = its.advisor.library.what_if(its.in_force(transaction, athlete_id, today))
        return read_outlook(transaction, what_if, athlete_id, now, query["days"])

    outlook = its.store.read(look)
    return in_language(json_answer(outlook_in_words(outlook, query["goal"], composer())))


advice = Blueprint("advice", __name__, url_prefix="/v1", description="What holds, and why.")

_TODAY = "today"
_FORMS = ("txt", "json")
_DAY = {
    "name": "day",
    "in": "path",
    "description": "A date, or `today` where the athlete lives. `.txt` or `.json` at the end "
    "chooses the form, for clients that set no headers.",
    "schema": {
        "type": "string",
        "pattern": r"^(today|[0-9]{4}-[0-9]{2}-[0-9]{2})(\.(txt|json))?$",
        "examples": ["today", "2026-03-09", "today.txt"],
    },
}
_CSV = {"type": "string"}


@advice.route("/athletes/<athlete_id>/advice/<day>", parameters=[ATHLETE_ID, _DAY, LANG])
@advice.response(200, AdviceSchema)
@advice.alt_response(200, schema=_CSV, content_type=TEXT)
@advice.alt_response(404, "NOT_FOUND")
@advice.alt_response(422, "INVALID_INPUT")
def get_advice(athlete_id: str, day: str) -> Response:
    """The advice that holds for an athlete and a date.

    As plain text it is one or two sentences that a phone can speak; rest comes with all of its
    caution. Without a check-in there is no advice: the verdict is null, and the headline says so.
    Where no language is asked for, it is told in the athlete's.
    """
    day, form = _day_and_form(day)
    on = None if day == _TODAY else day_of_address(day)

    def find(transaction: Transaction) -> dict[str, Any]:
        athlete = require_athlete(transaction, athlete_id)
        date = on or athlete.today(context().clock())
        speak_unless_asked(athlete.language)
        return _told(athlete, date, transaction.advice.latest(athlete_id, date))

    found = context().store.read(find)
    if preferred_media_type((JSON, TEXT), form) == TEXT:
        return in_language(text_answer(spoken_here(found)))
    return in_language(json_answer(found))


@advice.route("/advice")
@advice.arguments(SquadQuerySchema, location="query")
@advice.response(200, SquadAdviceSchema)
@advice.alt_response(200, schema=_CSV, content_type=CSV)
def get_squad_advice(query: Mapping[str, Any]) -> Response:
    """The advice of everybody for one date; who has not checked in has no verdict."""
    on: date = query["date"]

    def find(transaction: Transaction) -> list[dict[str, Any]]:
        given = {one.athlete_id: one for one in transaction.advice.for_date(on)}
        return [_told(athlete, on, given.get(athlete.id)) for athlete in transaction.athletes.all()]

    found = context().store.read(find)
    if preferred_media_type((JSON, CSV), query.get("format")) == JSON:
        return in_language(json_answer({"date": on.isoformat(), "advice": found}))
    return csv_answer(advice_sheet(found), f"advice-{on}.csv")


@advice.route("/advice/<advice_id>")
@advice.response(200, AdviceRecordSchema)
@advice.alt_response(404, "NOT_FOUND")
def get_advice_record(advice_id: str) -> Response:
    """All that an advice was made of, and how every rule came out: why it is as it is."""
    stored, holding = context().store.read(lambda transaction: _record(transaction, advice_id))
    if stored is None or not may_see(stored.athlete_id):
        raise NotFound(f"There is no advice {advice_id!r}.")
    record = json.loads(stored.record)
    explained = _explained(record, stored.rule_set_digest)
    del record["fired"]
    superseded_by = holding.id if holding and holding.id != stored.id else None
    return json_answer(record | explained | {"superseded_by": superseded_by})


def _explained(record: dict[str, Any], digest: str) -> dict[str, Any]:
    """A record outlives its rule set: without that it is shown all the same."""
    advisor = context().advisor
    try:
        rule_set = advisor.library.by_digest(digest)
    except NotFound:
        return {"rules": [], "reproduced": False}
    return explain_record(record, rule_set, composer())


def _day_and_form(address: str) -> tuple[str, str]:
    day, _, form = address.rpartition(".")
    return (day, form) if form in _FORMS else (address, "")


def _record(
    transaction: Transaction, advice_id: str
) -> tuple[StoredAdvice | None, StoredAdvice | None]:
    """The advice of an id, and the one that holds for its athlete and date now."""
    stored = transaction.advice.get(advice_id)
    return stored, stored and transaction.advice.latest(stored.athlete_id, stored.date)


def _told(athlete: Athlete, on: date, stored: StoredAdvice | None) -> dict[str, Any]:
    if stored is None:
        return without_check_in(athlete.id, on, composer())
    return told_here(stored)
