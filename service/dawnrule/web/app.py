"""How is the application put together?"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from datetime import datetime

from flask import Flask, Response, g, request

from dawnrule.advice.advisor import Advisor
from dawnrule.advice.archive import Archive
from dawnrule.advice.in_force import StoredTexts
from dawnrule.advice.publishing import Publisher
from dawnrule.advice.replays import ReplayJobs, ReplayRunner
from dawnrule.settings import Settings, name_and_version
from dawnrule.store import Store
from dawnrule.web.access import check_access, refuse_open_routes
from dawnrule.web.advice import advice
from dawnrule.web.athletes import athletes
from dawnrule.web.batch import batches
from dawnrule.web.check_ins import check_ins
from dawnrule.web.evaluations import evaluations
from dawnrule.web.openapi import api_for, document_yaml
from dawnrule.web.operations import operations
from dawnrule.web.outlook import outlooks
from dawnrule.web.pages import pages
from dawnrule.web.problems import register_problems
from dawnrule.web.publishing import publishing
from dawnrule.web.replays import replays
from dawnrule.web.rule_sets import rule_sets
from dawnrule.web.service import Service, service
from dawnrule.web.sessions import sessions

RESOURCES = (
    athletes,
    check_ins,
    sessions,
    batches,
    advice,
    outlooks,
    evaluations,
    rule_sets,
    publishing,
    replays,
    operations,
)

_REQUEST_ID = re.compile(r"[A-Za-z0-9._-]{1,64}")
_PAGE_POLICY = "default-src 'none'; style-src 'self'; base-uri 'none'; frame-ancestors 'none'"


def create_app(
    settings: Settings,
    store: Store,
    advisor: Advisor,
    clock: Callable[[], datetime],
    new_id: Callable[[], str],
) -> Flask:
    """The application over an open store. ``clock`` gives aware times, ``new_id`` ids that are
    never given twice. Raises ``NotFound`` when the settings name a rule set that is not there."""
    library = advisor.library.with_published(StoredTexts(store))
    archive = Archive(store)
    its = Service(
        settings,
        store,
        archive,
        replace(advisor, library=library),
        Publisher(store, library, clock),
        ReplayJobs(ReplayRunner(store, archive, clock), library, new_id),
        library.get(*name_and_version(settings.rule_set)),
        clock,
        new_id,
    )
    app = _routes()
    app.config["MAX_CONTENT_LENGTH"] = settings.body_limit_bytes
    its.attach(app)
    register_problems(app)
    app.before_request(_name_request)
    app.before_request(check_access)
    app.after_request(_add_headers)
    return app


def openapi_yaml() -> str:
    """The description of the interface as YAML text, as it is committed; no store is needed."""
    return document_yaml(_routes())


def _routes() -> Flask:
    """The application with its routes and their description, and nothing behind them."""
    app = Flask(__name__)
    api = api_for(app)
    for resource in RESOURCES:
        api.register_blueprint(resource)
    app.register_blueprint(pages)
    refuse_open_routes(app)
    return app


def _name_request() -> None:
    """Take the request's id from its sender if it is fit to be repeated, else give it one."""
    given = request.headers.get("X-Request-Id", "")
    g.request_id = given if _REQUEST_ID.fullmatch(given) else service().new_id()


def _add_headers(response: Response) -> Response:
    response.headers["X-Request-Id"] = g.request_id
    response.headers["X-Content-Type-Options"] = "nosniff"
    response.headers["Referrer-Policy"] = "no-referrer"
    response.headers["Content-Security-Policy"] = _PAGE_POLICY
    if request.path.startswith("/v1/"):
        response.headers["Cache-Control"] = "private, no-store"
        response.headers["Vary"] = "Authorization, Accept"
    return response
