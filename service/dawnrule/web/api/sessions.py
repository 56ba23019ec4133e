"""Sessions: log, list, read, correct and delete."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from dawnrule.application.athletes import require_athlete
from dawnrule.application.sessions import Logged, correct_session, remove_session, require_session
from dawnrule.errors import NotFound
from dawnrule.model.entities import Session
from dawnrule.model.time_zones import zone_named
from dawnrule.schemas.fields import EARLIEST, LATEST
from dawnrule.schemas.session import (
    EXAMPLE,
    SESSION,
    LoggedSchema,
    SessionsQuerySchema,
    SessionsSchema,
    ToldSessionSchema,
    cursor_of,
)
from dawnrule.store import Transaction
from dawnrule.web.context import context
from dawnrule.web.http.authorization import caller, may_see, refuse_foreign
from dawnrule.web.http.locale import localize
from dawnrule.web.http.requests import ATHLETE_ID, Blueprint

sessions = Blueprint("sessions", __name__, url_prefix="/v1", description="What was trained.")

_ONE_DAY = timedelta(days=1)
_LOCATION = {"Location": {"description": "The session.", "schema": {"type": "string"}}}


@dataclass(frozen=True, slots=True)
class KnownSession:
    """A session in the log."""

    session_id: str
    session: Session


@dataclass(frozen=True, slots=True)
class SessionPage:
    """Sessions, newest first; ``next`` is the cursor of the page after, None at the end."""

    sessions: Sequence[KnownSession]
    next: str | None


@sessions.route("/sessions", methods=["POST"])
@sessions.arguments(SESSION, example=EXAMPLE)
@sessions.response(201, LoggedSchema, description="Logged.", headers=_LOCATION)
@sessions.alt_response(
    200, schema=LoggedSchema, description="The same as before; nothing is stored."
)
@sessions.alt_response(404, "NOT_FOUND")
def post_session(session: Session) -> tuple[Logged, int, dict[str, str]]:
    """Log a session, and say what became of today's advice.

    Two different sessions may begin at the same time; the same session again is logged once.
    """
    refuse_foreign(session.athlete_id)
    begin = context().log_for(caller().id)
    logged = context().store.write(begin(session))
    headers = {"Location": f"/v1/sessions/{logged.session_id}"}
    return in_language_of_request(logged), 201 if logged.is_new else 200, headers


@sessions.route("/athletes/<athlete_id>/sessions", parameters=[ATHLETE_ID])
@sessions.arguments(SessionsQuerySchema, location="query", as_kwargs=True)
@sessions.response(200, SessionsSchema)
@sessions.alt_response(404, "NOT_FOUND")
def list_sessions(
    athlete_id: str,
    limit: int,
    first: date = EARLIEST,
    to: date = LATEST,
    cursor: tuple[datetime, str] | None = None,
) -> SessionPage:
    """The sessions of an athlete, the newest first, a page at a time."""

    def find(transaction: Transaction) -> list[tuple[str, Session]]:
        zone = zone_named(require_athlete(transaction, athlete_id).time_zone)
        start, end = _midnight(first, zone), _midnight(to + _ONE_DAY, zone)
        return transaction.sessions.newest_first(athlete_id, start, end, limit + 1, cursor)

    found = context().store.read(find)
    page = found[:limit]
    more = len(found) > limit
    return SessionPage(
        [KnownSession(session_id, session) for session_id, session in page],
        cursor_of(page[-1][1].starts_at, page[-1][0]) if more else None,
    )


@sessions.route("/sessions/<session_id>")
@sessions.response(200, ToldSessionSchema)
@sessions.alt_response(404, "NOT_FOUND")
def get_session(session_id: str) -> KnownSession:
    """One session."""
    return KnownSession(session_id, _seen(session_id))


@sessions.route("/sessions/<session_id>", methods=["PUT"])
@sessions.arguments(SESSION)
@sessions.response(200, LoggedSchema)
@sessions.alt_response(404, "NOT_FOUND")
def put_session(session: Session, session_id: str) -> Logged:
    """Mend a session of the same athlete, and say what became of today's advice.

    The advice that was given on the session as it was stays as it is.
    """
    refuse_foreign(session.athlete_id)
    _seen(session_id)
    check_ins = context().check_ins
    submission = check_ins.submission(caller().id)
    logged = context().store.write(
        lambda transaction: correct_session(transaction, check_ins, session, session_id, submission)
    )
    return in_language_of_request(logged)


@sessions.route("/sessions/<session_id>", methods=["DELETE"])
@sessions.response(200, LoggedSchema)
@sessions.alt_response(404, "NOT_FOUND")
def delete_session(session_id: str) -> Logged:
    """Take a session back, and say what became of today's advice.

    The advice that was given on it stays as it is.
    """
    _seen(session_id)
    check_ins = context().check_ins
    submission = check_ins.submission(caller().id)
    logged = context().store.write(
        lambda transaction: remove_session(transaction, check_ins, session_id, submission)
    )
    return in_language_of_request(logged)


def in_language_of_request(logged: Logged) -> Logged:
    """Translate the advice that a session has led to into the language of this request."""
    if logged.today is None:
        return logged
    return replace(logged, today=replace(logged.today, advice=localize(logged.today.advice)))


def _seen(session_id: str) -> Session:
    """Read a session that the caller may see. Raises ``NotFound``, the same for all others."""
    session = context().store.read(lambda transaction: require_session(transaction, session_id))
    if not may_see(session.athlete_id):
        raise NotFound(f"There is no session {session_id!r}.")
    return session


def _midnight(day: date, zone: ZoneInfo) -> datetime:
    return datetime.combine(day, time.min, zone).astimezone(UTC)
