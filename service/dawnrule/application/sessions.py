"""Training log: log, correct and delete a session; each re-decides today's advice.

A correction and a deletion are acts: without one, nobody could tell later that advice was given on
another session than the log has now.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from dawnrule.application.athletes import require_athlete
from dawnrule.application.check_ins import CheckIns, Submission, Submitted
from dawnrule.errors import FieldError, InvalidInput, NotFound
from dawnrule.facts.plausibility import in_future
from dawnrule.i18n.lazy import lazy
from dawnrule.model.entities import Session
from dawnrule.store import StoredSession, Transaction
from dawnrule.store.activity_log import COMMAND_LINE, record_act


@dataclass(frozen=True, slots=True)
class Logged:
    """A logged session as plain JSON values; ``is_new`` is False when it was logged before.
    ``today`` is the advice that supersedes today's, None where today's stays."""

    session_id: str
    session: Session
    is_new: bool
    today: Submitted | None


def log_session(
    transaction: Transaction,
    check_ins: CheckIns,
    session: Session,
    session_id: str,
    submission: Submission,
) -> Logged:
    """Store a session; to be run inside one transaction. A repeated session is stored once.

    Raises ``NotFound`` for an unknown athlete, ``InvalidInput`` for what cannot be true.
    """
    athlete = require_athlete(transaction, session.athlete_id)
    _refuse_implausible(session, submission)
    known = transaction.sessions.same_as(session)
    if known is not None:
        return Logged(known, session, is_new=False, today=None)
    transaction.sessions.add(
        StoredSession(session_id, session, submission.now, submission.posted_by)
    )
    today = check_ins.redecide_today(transaction, athlete, submission)
    return Logged(session_id, session, is_new=True, today=today)


def correct_session(
    transaction: Transaction,
    check_ins: CheckIns,
    session: Session,
    session_id: str,
    submission: Submission,
) -> Logged:
    """Replace a session in the log of the same athlete. Raises as ``log_session``, and
    ``NotFound`` where the log has no such session."""
    if require_session(transaction, session_id).athlete_id != session.athlete_id:
        raise NotFound(f"There is no session {session_id!r} of this athlete.")
    _refuse_implausible(session, submission)
    athlete = require_athlete(transaction, session.athlete_id)
    transaction.sessions.replace(
        StoredSession(session_id, session, submission.now, submission.posted_by)
    )
    _note(transaction, "session-corrected", athlete.id, session_id, submission)
    today = check_ins.redecide_today(transaction, athlete, submission)
    return Logged(session_id, session, is_new=False, today=today)


def remove_session(
    transaction: Transaction,
    check_ins: CheckIns,
    session_id: str,
    submission: Submission,
) -> Logged:
    """Delete a session from the log. Raises ``NotFound``."""
    session = require_session(transaction, session_id)
    athlete = require_athlete(transaction, session.athlete_id)
    transaction.sessions.delete(session_id)
    _note(transaction, "session-deleted", athlete.id, session_id, submission)
    today = check_ins.redecide_today(transaction, athlete, submission)
    return Logged(session_id, session, is_new=False, today=today)


def _note(
    transaction: Transaction, act: str, athlete_id: str, session_id: str, submission: Submission
) -> None:
    by = submission.posted_by or COMMAND_LINE
    about = {"athlete_id": athlete_id, "session": session_id}
    record_act(transaction, act, by=by, at=submission.now, about=about)


def require_session(transaction: Transaction, session_id: str) -> Session:
    """Find a session in the log. Raises ``NotFound``."""
    stored = transaction.sessions.get(session_id)
    if stored is None:
        raise NotFound(f"There is no session {session_id!r}.")
    return stored.session


def _refuse_implausible(session: Session, submission: Submission) -> None:
    errors = list(_implausible(session, submission))
    if errors:
        raise InvalidInput(lazy("field.untrue_session"), errors)


def _implausible(session: Session, submission: Submission) -> Iterator[FieldError]:
    yield from in_future("/starts_at", session.starts_at, submission.now)
    for index, block in enumerate(session.blocks):
        if block.starts_at is not None:
            yield from in_future(f"/blocks/{index}/starts_at", block.starts_at, submission.now)
