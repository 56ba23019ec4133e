"""Sign-ins of coaches in a browser.

A signed cookie names the sign-in. Whether it has ended, and whether its key is still a coach's, is
read from the store each time, so a sign-out ends all copies of the cookie in every process. The
cookie holds no key and is sent to the coach's pages only, so it cannot open the interface for
programs.
"""

from __future__ import annotations

from datetime import datetime, timedelta

from flask import Flask, Request, Response, request, session
from flask.sessions import SecureCookieSession, SecureCookieSessionInterface, SessionMixin

from dawnrule.store import Key, Role, Transaction, hash_token, new_token
from dawnrule.web.context import context

SIGNED_IN_FOR = timedelta(hours=12)
"""How long a sign-in lasts: a day at the gym."""

COACH_PAGES = "/coach"

ONE_LOOK = timedelta(minutes=5)
"""Looks that are no further apart count as one: to load a page again must not make old of what
was new a minute ago."""

_LOOPBACK = {"localhost", "127.0.0.1", "[::1]"}
_SIGN_IN = "sign_in"
_LOOKED_AT, _LOOKED_BEFORE = "looked_at", "looked_before"


class CoachSessions(SecureCookieSessionInterface):
    """Flask's signed cookie, sent over https only, except on this machine. Programs have none, and
    for them nothing is made ready to read or to sign it."""

    def open_session(self, app: Flask, request: Request) -> SecureCookieSession | None:
        """Begin with what the cookie holds, or with nothing."""
        if not request.cookies.get(self.get_cookie_name(app)):
            return self.session_class()
        return super().open_session(app, request)

    def save_session(self, app: Flask, session: SessionMixin, response: Response) -> None:
        """Send the cookie if it changed."""
        if session or session.accessed or session.modified:
            super().save_session(app, session, response)

    def get_cookie_secure(self, app: Flask) -> bool:
        """Return whether the browser may send the cookie over https only."""
        given = request.headers.get("Host", "")  # request.host raises where it is not answered
        host = given.rpartition(":")[0] if _has_port(given) else given
        return request.is_secure or host not in _LOOPBACK


def use_coach_sessions(app: Flask, secret: bytes) -> None:
    """Set an application up for sign-ins, with cookies signed by a secret of its own."""
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
    """Begin a sign-in with a coach's key, and end an earlier one of this browser."""
    token, before, now = new_token(), _hash_of_cookie(), context().clock()

    def begin(transaction: Transaction) -> None:
        if before is not None:
            transaction.sign_ins.end(before)
        transaction.sign_ins.begin(hash_token(token), key.id, now, now + SIGNED_IN_FOR)

    context().store.write(begin)
    session.clear()
    session[_SIGN_IN] = token


def sign_out() -> None:
    """End the sign-in of this browser, for every copy of its cookie. Raises ``StoreBusy`` and
    ``StoreUnusable``; then it continues, and can be ended again."""
    hashed = _hash_of_cookie()
    if hashed is not None:
        context().store.write(lambda transaction: transaction.sign_ins.end(hashed))
    session.clear()


def key_of_session() -> Key | None:
    """Return the coach's key of this browser's sign-in; None if there is none, if it has ended or
    expired, or if the key was revoked."""
    hashed, now = _hash_of_cookie(), context().clock()
    if hashed is None:
        return None

    def find(transaction: Transaction) -> Key | None:
        key_id = transaction.sign_ins.key_id(hashed, now)
        return transaction.keys.in_use(key_id) if key_id is not None else None

    key = context().store.read(find)
    return key if key is not None and key.role is Role.COACH else None


def look() -> datetime | None:
    """Note that this sign-in looks at the squad now, and return when it last did before (aware);
    None at the first look."""
    now, last = context().clock(), _noted(_LOOKED_AT)
    if last is not None and now - last > ONE_LOOK:
        session[_LOOKED_BEFORE] = session[_LOOKED_AT]
    session[_LOOKED_AT] = now.isoformat()
    return _noted(_LOOKED_BEFORE)


def _noted(name: str) -> datetime | None:
    """Read a time from the cookie, which is signed."""
    return datetime.fromisoformat(session[name]) if name in session else None


def _hash_of_cookie() -> str | None:
    """Hash the token in the cookie; None without one."""
    token = session.get(_SIGN_IN)
    return hash_token(token) if isinstance(token, str) else None


def _has_port(host: str) -> bool:
    return host.rpartition(":")[2].isdecimal()
