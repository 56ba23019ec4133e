"""Signing in and out."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

from flask import redirect, render_template, request, url_for

from dawnrule.store import Key, Role, hash_key
from dawnrule.web.coach.layout import coach
from dawnrule.web.context import context
from dawnrule.web.http import login
from dawnrule.web.http.rate_limits import limit_sign_in

_REFUSED = 403
_SEE_OTHER = 303


@coach.get("/sign-in")
def ask_for_key() -> Any:
    """Show the form for a coach's key; redirect a browser that is signed in."""
    if login.key_of_session() is not None:
        return redirect(_next_page())
    return _form()


@coach.post("/sign-in")
@limit_sign_in
def sign_in() -> Any:
    """Sign in with a coach's key, and go to the page that was asked for."""
    key = _coach_key(request.form.get("key", ""))
    if key is None:
        return _form(refused=True), _REFUSED
    login.sign_in(key)
    return redirect(_next_page(), _SEE_OTHER)


@coach.post("/sign-out")
def sign_out() -> Any:
    """End the sign-in."""
    login.sign_out()
    return redirect(url_for("coach.ask_for_key"), _SEE_OTHER)


def _form(refused: bool = False) -> str:
    hours = login.SIGNED_IN_FOR // timedelta(hours=1)
    return render_template("coach/sign_in.html", refused=refused, next=_next_page(), hours=hours)


def _coach_key(given: str) -> Key | None:
    """Find the coach's key. One query and one answer, whether it is unknown, revoked, or not a
    coach's."""
    hashed = hash_key(given.strip())
    key = context().store.read(lambda transaction: transaction.keys.by_hash(hashed))
    return key if key is not None and key.role is Role.COACH else None


def _next_page() -> str:
    """Return the page to go on to: one of ours that was asked for, else the first."""
    page = request.values.get("next", "")
    is_ours = page.startswith(f"{login.COACH_PAGES}/")
    return page if is_ours and page.isprintable() and "\\" not in page else "/coach/"
