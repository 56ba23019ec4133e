"""A session is logged, mended or taken back: what is stored, and what becomes of today?"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from dawnrule.advice.advisor import Advisor
from dawnrule.advice.morning import Answer, Posting, advise_again_today, known_athlete
from dawnrule.errors import FieldError, InvalidInput, NotFound
from dawnrule.facts.check_in import Session
from dawnrule.facts.plain import to_plain
from dawnrule.facts.plausible import in_future
from dawnrule.rules.rule_set import RuleSet
from dawnrule.store import Books
from dawnrule.vocabulary.said import say


@dataclass(frozen=True, slots=True)
class Logged:
    """A session in the log as plain JSON values; ``is_new`` is False when it stood there already.
    ``today`` is the advice that takes the place of today's, None where today's stays."""

    session_id: str
    session: dict[str, Any]
    is_new: bool
    today: Answer | None


def log_session(
    books: Books,
    advisor: Advisor,
    rule_set: RuleSet,
    session: Session,
    session_id: str,
    posting: Posting,
) -> Logged:
    """Store a session; run it inside one transaction. The same session again is stored once.

    Raises ``NotFound`` for an unknown athlete, ``InvalidInput`` for what cannot be true.
    """
    athlete = known_athlete(books, session.athlete_id)
    _refuse_implausible(session, posting)
    body = to_plain(session)
    known = books.sessions.same_as(session)
    if known is not None:
        return Logged(known, body, is_new=False, today=None)
    books.sessions.add(
        session_id, athlete.id, session.starts_at, body, posting.now, posting.posted_by
    )
    today = advise_again_today(books, advisor, rule_set, athlete, posting)
    return Logged(session_id, body, is_new=True, today=today)


def mend_session(
    books: Books,
    advisor: Advisor,
    rule_set: RuleSet,
    session: Session,
    session_id: str,
    posting: Posting,
) -> Logged:
    """Put a session in the place of one in the log, of the same athlete. Raises as
    ``log_session``, and ``NotFound`` where the log has no such session."""
    if logged_session(books, session_id).athlete_id != session.athlete_id:
        raise NotFound(f"There is no session {session_id!r} of this athlete.")
    _refuse_implausible(session, posting)
    athlete = known_athlete(books, session.athlete_id)
    body = to_plain(session)
    books.sessions.replace(session_id, session.starts_at, body, posting.now, posting.posted_by)
    today = advise_again_today(books, advisor, rule_set, athlete, posting)
    return Logged(session_id, body, is_new=False, today=today)


def take_back_session(
    books: Books, advisor: Advisor, rule_set: RuleSet, session_id: str, posting: Posting
) -> Logged:
    """Delete a session from the log. Raises ``NotFound``."""
    session = logged_session(books, session_id)
    athlete = known_athlete(books, session.athlete_id)
    books.sessions.delete(session_id)
    today = advise_again_today(books, advisor, rule_set, athlete, posting)
    return Logged(session_id, to_plain(session), is_new=False, today=today)


def logged_session(books: Books, session_id: str) -> Session:
    """A session of the log. Raises ``NotFound``."""
    stored = books.sessions.get(session_id)
    if stored is None:
        raise NotFound(f"There is no session {session_id!r}.")
    return stored.session


def _refuse_implausible(session: Session, posting: Posting) -> None:
    errors = list(_implausible(session, posting))
    if errors:
        raise InvalidInput(say("field.untrue_session"), errors)


def _implausible(session: Session, posting: Posting) -> Iterator[FieldError]:
    yield from in_future("/starts_at", session.starts_at, posting.now)
    for index, block in enumerate(session.blocks):
        if block.starts_at is not None:
            yield from in_future(f"/blocks/{index}/starts_at", block.starts_at, posting.now)
