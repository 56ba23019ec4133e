"""Advice of an athlete and of the squad, its explanation, and the outlook."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from flask import Response

from dawnrule.advice.explanation import Explanation, explain_record
from dawnrule.advice.outlook import OutlookReport
from dawnrule.advice.summary import without_check_in
from dawnrule.application.athletes import require_athlete
from dawnrule.application.outlooks import read_outlook
from dawnrule.errors import NotFound
from dawnrule.model.advice import Advice, NoAdvice
from dawnrule.model.entities import Athlete
from dawnrule.model.record import Record
from dawnrule.schemas.advice import (
    AdviceSchema,
    OutlookQuerySchema,
    OutlookSchema,
    SquadAdviceSchema,
)
from dawnrule.schemas.query import SquadQuery, SquadQuerySchema, day_of_address
from dawnrule.schemas.record import AdviceRecordSchema
from dawnrule.store import StoredAdvice, Transaction
from dawnrule.web.context import context
from dawnrule.web.http.authorization import may_see
from dawnrule.web.http.locale import (
    LANG,
    composer,
    default_to_language,
    language_header,
    read_localized,
    spoken_advice,
    with_language,
)
from dawnrule.web.http.requests import ATHLETE_ID, Blueprint
from dawnrule.web.http.responses import (
    CSV,
    JSON,
    TEXT,
    advice_sheet,
    csv_answer,
    preferred_media_type,
    text_answer,
)

outlooks = Blueprint("outlooks", __name__, url_prefix="/v1", description="What is ready when.")


@outlooks.route("/athletes/<athlete_id>/outlook", parameters=[ATHLETE_ID])
@outlooks.arguments(OutlookQuerySchema, location="query", as_kwargs=True)
@outlooks.response(200, OutlookSchema)
@outlooks.alt_response(404, "NOT_FOUND")
def get_outlook(
    athlete_id: str, days: int, goal: str, lang: str | None = None
) -> tuple[OutlookReport, dict[str, str]]:
    """When each muscle group is ready again for each goal, and a balanced session.

    It rests on the log, and on today's check-in if there is one; nothing is stored. ``recovery``
    forecasts the athlete's own soreness, from five times seen on.
    """
    ctx, now, said = context(), context().clock(), composer().texts

    def look(transaction: Transaction) -> OutlookReport:
        athlete = require_athlete(transaction, athlete_id)
        rule_set = ctx.rule_set_for(transaction, athlete_id, athlete.today(now))
        what_if = ctx.advisor.library.what_if(rule_set)
        outlook = read_outlook(transaction, what_if, athlete_id, now, days)
        recovery = ctx.recoveries.forecasts(transaction, athlete, now, said)
        return OutlookReport.of(outlook, goal, said, recovery)

    return ctx.store.read(look), language_header()


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


@dataclass(frozen=True, slots=True)
class SquadAdvice:
    """The advice of everybody for one date."""

    date: date
    advice: Sequence[Advice | NoAdvice]


@dataclass(frozen=True, slots=True)
class ExplainedRecord:
    """A record, how every rule came out, and the id of the advice that holds instead, if any."""

    record: Record
    explanation: Explanation
    superseded_by: str | None


@advice.route("/athletes/<athlete_id>/advice/<day>", parameters=[ATHLETE_ID, _DAY, LANG])
@advice.response(200, AdviceSchema)
@advice.alt_response(200, schema=_CSV, content_type=TEXT)
@advice.alt_response(404, "NOT_FOUND")
@advice.alt_response(422, "INVALID_INPUT")
def get_advice(athlete_id: str, day: str) -> Response | tuple[Advice | NoAdvice, dict[str, str]]:
    """The advice that holds for an athlete and a date.

    As plain text it is one or two sentences that a phone can speak; rest comes with all of its
    caution. Without a check-in there is no advice: the verdict is null, and the headline says so.
    Where no language is asked for, it is in the athlete's.
    """
    day, form = _day_and_form(day)
    on = None if day == _TODAY else day_of_address(day)

    def find(transaction: Transaction) -> Advice | NoAdvice:
        athlete = require_athlete(transaction, athlete_id)
        date = on or athlete.today(context().clock())
        default_to_language(athlete.language)
        return _advice_or_none(athlete, date, transaction.advice.latest(athlete_id, date))

    found = context().store.read(find)
    if preferred_media_type((JSON, TEXT), form) == TEXT:
        return with_language(text_answer(spoken_advice(found)))
    return found, language_header()


@advice.route("/advice")
@advice.arguments(SquadQuerySchema, location="query")
@advice.response(200, SquadAdviceSchema)
@advice.alt_response(200, schema=_CSV, content_type=CSV)
def get_squad_advice(
    query: SquadQuery,
) -> Response | tuple[SquadAdvice, dict[str, str]]:
    """The advice of everybody for one date; who has not checked in has no verdict."""
    on = query.date

    def find(transaction: Transaction) -> list[Advice | NoAdvice]:
        given = {one.athlete_id: one for one in transaction.advice.for_date(on)}
        return [
            _advice_or_none(athlete, on, given.get(athlete.id))
            for athlete in transaction.athletes.all()
        ]

    found = context().store.read(find)
    if preferred_media_type((JSON, CSV), query.format) == JSON:
        return SquadAdvice(on, found), language_header()
    return csv_answer(advice_sheet(found), f"advice-{on}.csv")


@advice.route("/advice/<advice_id>")
@advice.response(200, AdviceRecordSchema)
@advice.alt_response(404, "NOT_FOUND")
def get_advice_record(advice_id: str) -> ExplainedRecord:
    """All that an advice was made of, and how every rule came out: why it is as it is."""
    stored, holding = context().store.read(lambda transaction: _record(transaction, advice_id))
    if stored is None or not may_see(stored.athlete_id):
        raise NotFound(f"There is no advice {advice_id!r}.")
    record = stored.read_record()
    superseded_by = holding.id if holding and holding.id != stored.id else None
    return ExplainedRecord(record, _explanation(record), superseded_by)


def _explanation(record: Record) -> Explanation:
    """Explain a record; one that has outlived its rule set is shown without explanation."""
    try:
        rule_set = context().advisor.library.by_digest(record.advice.rule_set.digest)
    except NotFound:
        return Explanation()
    return explain_record(record, rule_set, composer())


def _day_and_form(address: str) -> tuple[str, str]:
    day, _, form = address.rpartition(".")
    return (day, form) if form in _FORMS else (address, "")


def _record(
    transaction: Transaction, advice_id: str
) -> tuple[StoredAdvice | None, StoredAdvice | None]:
    """Find the advice of an id, and the one that holds for its athlete and date now."""
    stored = transaction.advice.get(advice_id)
    return stored, stored and transaction.advice.latest(stored.athlete_id, stored.date)


def _advice_or_none(athlete: Athlete, on: date, stored: StoredAdvice | None) -> Advice | NoAdvice:
    if stored is None:
        return without_check_in(athlete.id, on, composer())
    return read_localized(stored)
