"""Which coach does a browser belong to? A signed cookie says by which key and since when.

The cookie holds no key, only its id: whether that still is a coach's key is asked of the store
each time. It goes to the coach's pages alone, so it cannot open the interface for programs.
"""

from __future__ import annotations

from datetime import datetime, timedelta

from flask import Flask, request, session
from flask.sessions import SecureCookieSessionInterface

from dawnrule.store import Key, Role
from dawnrule.web.service import service

SIGNED_IN_FOR = timedelta(hours=12)
"""How long a sign-in lasts: a day at the gym."""

COACH_PAGES = "/coach"

_LOOPBACK = {"localhost", "127.0.0.1", "[::1]"}
_KEY, _SINCE = "key", "since"


class CoachSessions(SecureCookieSessionInterface):
    """Flask's signed cookie, kept to https except on this machine itself, where there is none."""

    def get_cookie_secure(self, app: Flask) -> bool:
        """Whether the browser may send the cookie over https only."""
        given = request.headers.get("Host", "")  # request.host raises where it is not answered
        host = given.rpartition(":")[0] if _has_port(given) else given
        return request.is_secure or host not in _LOOPBACK


def use_coach_sessions(app: Flask, secret: bytes) -> None:
    """Let an application keep coaches signed in, with cookies signed by a secret of its own."""
    app.secret_key = secret
    app.session_interface = CoachSessions()
    app.config.update(
        SESSION_COOKIE_NAME="dawnrule_coach",
        SESSION_COOKIE_PATH=COACH_PAGES,
        SESSION_COOKIE_HTTPONLY=True,
        # Lax, not Strict: a link in a message shall open the page for who is signed in. Nothing
        # changes by GET, and each POST needs its token.
        SESSION_COOKIE_SAMESITE="Lax",
        PERMANENT_SESSION_LIFETIME=SIGNED_IN_FOR,
    )


def sign_in(key: Key) -> None:
    """Begin a new session for a coach's key; nothing of an earlier one is kept."""
    session.clear()
    session[_KEY] = key.id
    session[_SINCE] = service().clock().timestamp()


def sign_out() -> None:
    """End the session of this browser."""
    session.clear()


def key_of_session() -> Key | None:
    """The coach's key that this browser signed in with; None if it did not, or too long ago, or
    the key has been revoked since."""
    key_id, since = session.get(_KEY), session.get(_SINCE)
    if not isinstance(key_id, str) or not isinstance(since, float):
        return None
    now = service().clock()
    if not timedelta(0) <= now - datetime.fromtimestamp(since, now.tzinfo) < SIGNED_IN_FOR:
        return None
    key = service().store.read(lambda books: books.keys.in_use(key_id))
    return key if key is not None and key.role is Role.COACH else None


def _has_port(host: str) -> bool:
    return host.rpartition(":")[2].isdecimal()
