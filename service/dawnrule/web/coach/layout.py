"""Layout of the coach's pages: headers, forms, errors.

The pages are for a browser in which a coach has signed in. They load nothing from other sites, run
no scripts, and accept a form only with its token: ``csrf_token()`` in the template, in a hidden
field of that name. A page is a view of ``coach``; the template extends ``coach/base.html``.
"""

from __future__ import annotations

import logging
from collections.abc import Mapping
from typing import Any

from flask import Blueprint, Flask, Response, g, render_template
from flask_wtf.csrf import CSRFProtect
from werkzeug.exceptions import HTTPException, InternalServerError

from dawnrule.errors import DawnruleError, NotFound
from dawnrule.i18n.catalog import ENGLISH
from dawnrule.web.http.locale import language
from dawnrule.web.http.login import COACH_PAGES, use_coach_sessions
from dawnrule.web.http.problems import headers_of

coach = Blueprint("coach", __name__, url_prefix=COACH_PAGES)

_forged = CSRFProtect()
_log = logging.getLogger("dawnrule.web")
_SERVER_ERROR = 500
_PROBLEMS_IN_WORDS = (400, 404, 429, 503)

_POLICY = (
    "default-src 'none'; style-src 'self'; img-src 'self'; form-action 'self'; "
    "base-uri 'none'; frame-ancestors 'none'"
)


def use_coach_pages(app: Flask, secret: bytes) -> None:
    """Set an application up for the coach's pages; ``secret`` signs sessions and forms."""
    use_coach_sessions(app, secret)
    # Programs bring a key with each call, which no other site can make a browser send; so only
    # the pages are guarded, below. A form is good for as long as the session is.
    app.config.update(WTF_CSRF_CHECK_DEFAULT=False, WTF_CSRF_TIME_LIMIT=None)
    _forged.init_app(app)
    app.jinja_env.globals["coach_is_signed_in"] = _coach_is_signed_in


@coach.before_request
def refuse_forged_forms() -> None:
    """Raise ``BadRequest`` for a form without the token of this browser."""
    _forged.protect()


@coach.after_request
def add_headers(response: Response) -> Response:
    """Keep pages out of caches and frames; ``same-origin``, as the token's check reads the
    referrer."""
    response.headers["Content-Security-Policy"] = _POLICY
    response.headers["Referrer-Policy"] = "same-origin"
    response.headers["Cache-Control"] = "no-store"
    return response


@coach.errorhandler(DawnruleError)
def show_error(error: DawnruleError) -> tuple[str, int, Mapping[str, str]]:
    """Show one of our own errors as a page."""
    if error.status >= _SERVER_ERROR:
        _log.error("request %s: %s", g.request_id, error.title, exc_info=error)
    return *_problem_page(error.status, error.detail), headers_of(error)


@coach.errorhandler(HTTPException)
def show_http_error(error: HTTPException) -> tuple[str, int]:
    """Show an error of Flask or of a form's token as a page; their texts are for programmers."""
    status = error.code or _SERVER_ERROR
    if isinstance(error, InternalServerError):
        _log.error("request %s failed", g.request_id, exc_info=error.original_exception)
    return _problem_page(status)


@coach.get("/<path:elsewhere>")
def no_such_page(elsewhere: str) -> Any:
    """Answer an unknown address under these pages. Raises ``NotFound``."""
    raise NotFound(f"There is no page {COACH_PAGES}/{elsewhere}.")


def _coach_is_signed_in() -> bool:
    """Return whether the layout shows the navigation."""
    return g.get("key") is not None


def _problem_page(status: int, detail: str = "") -> tuple[str, int]:
    """Render what has happened and what to do; in English with the detail of our own error."""
    page = render_template(
        "coach/problem.html",
        kind=status if status in _PROBLEMS_IN_WORDS else "other",
        detail=detail if language() == ENGLISH else "",
        request_id=g.request_id,
    )
    return page, status
