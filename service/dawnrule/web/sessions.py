"""What was trained? Sessions are logged, read, mended and taken back."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import UTC, date, datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from flask import Response

from dawnrule.advice.morning import known_athlete
from dawnrule.advice.training import Logged, logged_session, mend_session, take_back_session
from dawnrule.errors import NotFound
from dawnrule.facts.check_in import Session
from dawnrule.facts.plain import to_plain
from dawnrule.schemas.session import (
    EXAMPLE,
    SESSION,
    LoggedSchema,
    SessionsQuerySchema,
    SessionsSchema,
    ToldSessionSchema,
    cursor_of,
)
from dawnrule.schemas.values import EARLIEST, LATEST
from dawnrule.store import Books
from dawnrule.web.access import caller, may_see, refuse_foreign
from dawnrule.web.answers import json_answer
from dawnrule.web.incoming import ATHLETE_ID, Blueprint
from dawnrule.web.language import told_again
from dawnrule.web.service import service

sessions = Blueprint("sessions", __name__, url_prefix="/v1", description="What was trained.")

_ONE_DAY = timedelta(days=1)
_LOCATION = {"Location": {"description": "The session.", "schema": {"type": "string"}}}


@sessions.route("/sessions", methods=["POST"])
@sessions.arguments(SESSION, example=EXAMPLE)
@sessions.response(201, LoggedSchema, description="Logged.", headers=_LOCATION)
@sessions.alt_response(
    200, schema=LoggedSchema, description="The same as before; nothing is stored."
)
@sessions.alt_response(404, "NOT_FOUND")
def post_session(session: Session) -> Response:
    """Log a session, and say what became of today's advice.

    Two different sessions may begin at the same time; the same session again is logged once.
    """
    refuse_foreign(session.athlete_id)
    log = service().log_for(caller().id)
    logged = service().store.write(lambda books: log(books, session))
    headers = {"Location": f"/v1/sessions/{logged.session_id}"}
    return json_answer(logged_to_plain(logged), 201 if logged.is_new else 200, headers)


@sessions.route("/athletes/<athlete_id>/sessions", parameters=[ATHLETE_ID])
@sessions.arguments(SessionsQuerySchema, location="query")
@sessions.response(200, SessionsSchema)
@sessions.alt_response(404, "NOT_FOUND")
def list_sessions(query: Mapping[str, Any], athlete_id: str) -> Response:
    """The sessions of an athlete, the newest first, a page at a time."""
    limit: int = query["limit"]

    def find(books: Books) -> list[tuple[str, Session]]:
        zone = ZoneInfo(known_athlete(books, athlete_id).time_zone)
        first = _midnight(query.get("first", EARLIEST), zone)
        end = _midnight(query.get("to", LATEST) + _ONE_DAY, zone)
        return books.sessions.newest_first(athlete_id, first, end, limit + 1, query.get("cursor"))

    found = service().store.read(find)
    page = found[:limit]
    more = len(found) > limit
    return json_answer(
        {
            "sessions": [_told(session_id, to_plain(session)) for session_id, session in page],
            "next": cursor_of(page[-1][1].starts_at, page[-1][0]) if more else None,
        }
    )


@sessions.route("/sessions/<session_id>")
@sessions.response(200, ToldSessionSchema)
@sessions.alt_response(404, "NOT_FOUND")
def get_session(session_id: str) -> Response:
    """One session."""
    return json_answer(_told(session_id, to_plain(_seen(session_id))))


@sessions.route("/sessions/<session_id>", methods=["PUT"])
@sessions.arguments(SESSION)
@sessions.response(200, LoggedSchema)
@sessions.alt_response(404, "NOT_FOUND")
def put_session(session: Session, session_id: str) -> Response:
    """Mend a session of the same athlete, and say what became of today's advice.

    The advice that was given on the session as it was stays as it is.
    """
    refuse_foreign(session.athlete_id)
    _seen(session_id)
    its, posting = service(), service().posting(caller().id)
    logged = its.store.write(
        lambda books: mend_session(books, its.advisor, its.rule_set, session, session_id, posting)
    )
    return json_answer(logged_to_plain(logged))


@sessions.route("/sessions/<session_id>", methods=["DELETE"])
@sessions.response(200, LoggedSchema)
@sessions.alt_response(404, "NOT_FOUND")
def delete_session(session_id: str) -> Response:
    """Take a session back, and say what became of today's advice.

    The advice that was given on it stays as it is.
    """
    _seen(session_id)
    its, posting = service(), service().posting(caller().id)
    logged = its.store.write(
        lambda books: take_back_session(books, its.advisor, its.rule_set, session_id, posting)
    )
    return json_answer(logged_to_plain(logged))


def logged_to_plain(logged: Logged) -> dict[str, Any]:
    """A session that was written, and what became of today's advice, as plain JSON values."""
    return _told(logged.session_id, logged.session) | {"today": _today(logged)}


def _today(logged: Logged) -> dict[str, Any] | None:
    if logged.today is None:
        return None
    advice = told_again(logged.today.advice)
    return {
        "advice_id": advice["advice_id"],
        "supersedes": logged.today.supersedes,
        "verdict": advice["verdict"],
        "headline": advice["headline"],
    }


def _told(session_id: str, session: Mapping[str, Any]) -> dict[str, Any]:
    return {"session_id": session_id, **session}


def _seen(session_id: str) -> Session:
    """A session that the caller may know of. Raises ``NotFound``, the same for all others."""
    session = service().store.read(lambda books: logged_session(books, session_id))
    if not may_see(session.athlete_id):
        raise NotFound(f"There is no session {session_id!r}.")
    return session


def _midnight(day: date, zone: ZoneInfo) -> datetime:
    return datetime.combine(day, time.min, zone).astimezone(UTC)
