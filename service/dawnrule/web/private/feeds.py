"""Feeds of a private address: today's advice as text and JSON, the outlook as a calendar."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date, datetime

from flask import Response, request

from dawnrule.advice.outlook import OutlookReport
from dawnrule.advice.summary import without_check_in
from dawnrule.application.outlooks import read_outlook
from dawnrule.errors import DawnruleError
from dawnrule.model.advice import Advice, NoAdvice
from dawnrule.model.entities import Athlete
from dawnrule.model.time_zones import zone_named
from dawnrule.schemas.advice import USUAL_DAYS, USUAL_GOAL, TodayFeedSchema
from dawnrule.store import Purpose, Transaction
from dawnrule.web.context import context
from dawnrule.web.http.locale import composer, pain_cautions, read_localized, say, spoken_advice
from dawnrule.web.http.problems import answer_error
from dawnrule.web.http.rate_limits import limit_private_address
from dawnrule.web.http.requests import Blueprint
from dawnrule.web.http.responses import TEXT, text_answer
from dawnrule.web.private.addresses import FEEDS
from dawnrule.web.private.visitor import keep_private, visitor

CALENDAR = "text/calendar"

feeds = Blueprint(
    "feeds",
    __name__,
    url_prefix=FEEDS,
    description="What a private address for reading gives; the token in it is the key.",
)
feeds.after_request(keep_private)


@feeds.after_request
def answer_if_changed(response: Response) -> Response:
    """Answer 304 without a body when the reader has the same answer already."""
    if response.status_code == _OK:
        response.add_etag()
        response.make_conditional(request)
    if response.status_code == _NOT_MODIFIED:
        response.set_data(b"")
    return response


_TOKEN = {
    "name": "token",
    "in": "path",
    "description": "The secret part of a private address.",
    "schema": {"type": "string"},
}
_TEXT = {"type": "string"}
_OK, _NOT_MODIFIED = 200, 304
_UNCHANGED = "Not changed since the ETag that was sent."
_NOTHING_HERE = "No such address, or one that was replaced."


@dataclass(frozen=True, slots=True)
class Today:
    """Today's advice for an athlete; ``as_of`` is when it was given, None without a check-in."""

    athlete: Athlete
    date: date
    advice: Advice | NoAdvice
    as_of: datetime | None

    @property
    def check_in(self) -> str:
        """Whether today's check-in is ``present`` or ``missing``."""
        return "missing" if self.as_of is None else "present"


@feeds.errorhandler(DawnruleError)
def answer_in_form(error: DawnruleError) -> Response:
    """Answer an error in the form asked for: a spreadsheet's cell shows the text as it is."""
    answer = answer_error(error)
    if not request.path.endswith(".json"):
        answer.set_data(f"{error.title}. {error.detail}")
        answer.mimetype = TEXT
    return answer


@feeds.route("/<token>/today.txt", parameters=[_TOKEN])
@feeds.response(200, _TEXT, content_type=TEXT)
@feeds.alt_response(304, description=_UNCHANGED)
@feeds.alt_response(404, schema=_TEXT, content_type=TEXT, description=_NOTHING_HERE)
@feeds.alt_response(429, schema=_TEXT, content_type=TEXT, description="Asked too often.")
@limit_private_address
def get_today_text(token: str) -> Response:
    """Today's advice in one line that a phone can speak or a cell can show."""
    today = _today(token)
    text = spoken_advice(today.advice)
    if today.as_of is not None:  # with its date: a cell may show it long after
        text = say("phone.spoken_as_of", said=text, time=today.as_of.strftime("%Y-%m-%d %H:%M"))
    return text_answer(" ".join(text.split()))


@feeds.route("/<token>/today.json", parameters=[_TOKEN])
@feeds.response(200, TodayFeedSchema)
@feeds.alt_response(304, description=_UNCHANGED)
@feeds.alt_response(404, "NOT_FOUND")
@limit_private_address
def get_today(token: str) -> Today:
    """Today's advice in a few members: no more than a lock screen needs."""
    return _with_all_cautions(_today(token))


@feeds.route("/<token>/outlook.ics", parameters=[_TOKEN])
@feeds.response(200, _TEXT, content_type=CALENDAR)
@feeds.alt_response(304, description=_UNCHANGED)
@feeds.alt_response(404, schema=_TEXT, content_type=TEXT, description=_NOTHING_HERE)
@feeds.alt_response(429, schema=_TEXT, content_type=TEXT, description="Asked too often.")
@limit_private_address
def get_outlook_calendar(token: str) -> Response:
    """What is ready again when, and today's verdict, as a calendar (RFC 5545)."""
    today = _with_all_cautions(_today(token))
    ctx, now = context(), context().clock()

    def look(transaction: Transaction) -> OutlookReport:
        what_if = ctx.advisor.library.what_if(
            ctx.rule_set_for(transaction, today.athlete.id, today.date)
        )
        ahead = read_outlook(transaction, what_if, today.athlete.id, now, USUAL_DAYS)
        return OutlookReport.of(ahead, USUAL_GOAL, composer().texts)

    from dawnrule.web.private.calendar import calendar_of  # icalendar takes long to import

    outlook = ctx.store.read(look)
    text = calendar_of(today.athlete, today.date, today.advice, today.as_of, outlook, composer())
    return Response(text, mimetype=CALENDAR)


def _today(token: str) -> Today:
    """Read today's advice for the athlete of a token. Raises ``NotFound``."""
    _, athlete = visitor(token, Purpose.READ)
    on = athlete.today(context().clock())
    stored = context().store.read(lambda transaction: transaction.advice.latest(athlete.id, on))
    if stored is None:
        return Today(athlete, on, without_check_in(athlete.id, on, composer()), None)
    since = stored.decided_at.astimezone(zone_named(athlete.time_zone)).replace(microsecond=0)
    return Today(athlete, on, read_localized(stored), since)


def _with_all_cautions(today: Today) -> Today:
    """Add the cautions of notes on pain, illness or a warning sign to that of the advice."""
    cautions = [today.advice.caution, *pain_cautions(today.advice)]
    return replace(today, advice=replace(today.advice, caution=" ".join(filter(None, cautions))))
