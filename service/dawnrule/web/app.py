"""The Flask application, with its parts wired together."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from datetime import datetime
from functools import partial
from secrets import token_bytes
from urllib.parse import urlsplit

from flask import Flask, Response, g, request
from flask.typing import ResponseReturnValue

from dawnrule.advice.advisor import Advisor
from dawnrule.analytics.archive import Archive
from dawnrule.analytics.replay_jobs import ReplayJobs, ReplayRunner
from dawnrule.application.active_rules import StoredTexts
from dawnrule.application.leftovers import Leftovers
from dawnrule.application.recoveries import Recoveries
from dawnrule.application.rule_sets import Publisher
from dawnrule.settings import Settings, name_and_version
from dawnrule.store import Store, Transaction
from dawnrule.web.api.advice import advice, outlooks
from dawnrule.web.api.athletes import athletes, export
from dawnrule.web.api.batch import batches
from dawnrule.web.api.check_ins import check_ins
from dawnrule.web.api.concerns import concerns
from dawnrule.web.api.done import done
from dawnrule.web.api.drifts import drifts
from dawnrule.web.api.evaluations import evaluations
from dawnrule.web.api.groups import groups
from dawnrule.web.api.ledger import acts, ledger
from dawnrule.web.api.mornings import mornings
from dawnrule.web.api.operations import operations
from dawnrule.web.api.plans import plans
from dawnrule.web.api.private_addresses import addresses
from dawnrule.web.api.recovery import recovery
from dawnrule.web.api.replays import replays
from dawnrule.web.api.rule_sets import publishing, rule_sets
from dawnrule.web.api.sessions import sessions
from dawnrule.web.api.sheets import sheets
from dawnrule.web.api.weeks import weeks
from dawnrule.web.backup_schedule import Backups
from dawnrule.web.coach import coach, use_coach_pages
from dawnrule.web.context import Context, context
from dawnrule.web.http.authorization import check_access, require_declared_access
from dawnrule.web.http.locale import add_to_templates
from dawnrule.web.http.problems import register_problems
from dawnrule.web.http.rate_limits import Limits
from dawnrule.web.http.requests import refuse_compressed
from dawnrule.web.http.responses import JsonProvider
from dawnrule.web.observability import Metrics, watch_requests
from dawnrule.web.openapi import api_for, document_yaml
from dawnrule.web.pages import pages
from dawnrule.web.private.check_in_page import page
from dawnrule.web.private.feeds import feeds

RESOURCES = (
    athletes,
    groups,
    check_ins,
    sessions,
    batches,
    sheets,
    advice,
    outlooks,
    recovery,
    weeks,
    plans,
    addresses,
    feeds,
    mornings,
    drifts,
    done,
    evaluations,
    concerns,
    rule_sets,
    publishing,
    replays,
    ledger,
    acts,
    export,
    operations,
)

_PERSONAL = ("/v1/", "/metrics")
_REQUEST_ID = re.compile(r"[A-Za-z0-9._-]{1,64}")
_PAGE_POLICY = "default-src 'none'; style-src 'self'; base-uri 'none'; frame-ancestors 'none'"


def create_app(
    settings: Settings,
    store: Store,
    advisor: Advisor,
    clock: Callable[[], datetime],
    new_id: Callable[[], str],
) -> Flask:
    """Build the application over an open store.

    ``clock`` gives aware times, ``new_id`` unique ids. Raises ``NotFound`` for an unknown rule set
    in the settings, ``RuleSetInvalid`` for one that may not decide for people.
    """
    library = advisor.library.with_published(StoredTexts(store))
    rule_set = library.get(*name_and_version(settings.rule_set))
    library.require_safe(rule_set)
    archive = Archive(store)
    metrics = Metrics(store)
    ctx = Context(
        settings,
        store,
        archive,
        replace(advisor, library=library, stored=metrics.stored),
        Publisher(store, library, clock),
        ReplayJobs(ReplayRunner(store, archive, clock), library, new_id),
        Recoveries(),
        rule_set,
        clock,
        new_id,
        metrics,
        Backups(store.file, settings, metrics, clock),
        Leftovers(store),
    )
    app = build_routes()
    app.config["TRUSTED_HOSTS"] = settings.hosts or None
    app.config["MAX_CONTENT_LENGTH"] = settings.body_limit_bytes
    ctx.attach(app)
    watch_requests(app, metrics)
    Limits(settings).attach(app)
    use_coach_pages(app, store.write(partial(_secret, at=clock())))
    register_problems(app)
    app.before_request(_name_request)
    app.before_request(check_access)
    app.before_request(refuse_compressed)
    app.after_request(_add_headers)
    return app


def openapi_yaml() -> str:
    """Build openapi.yaml; needs no store."""
    return document_yaml(build_routes())


class _Application(Flask):
    """An application that answers every request, whatever goes wrong in a view."""

    def dispatch_request(self) -> ResponseReturnValue:
        """Call the view. Compiled libraries raise panics that are no ``Exception``, polars among
        them; Flask lets these pass, and the server would never answer."""
        try:
            return super().dispatch_request()
        except Exception:
            raise
        except BaseException as error:
            raise RuntimeError("a library failed in a way that it never should") from error


def build_routes() -> Flask:
    """Build an application with its routes and their description, but without a context."""
    app = _Application(__name__)
    app.json = JsonProvider(app)
    api = api_for(app)
    for resource in RESOURCES:
        api.register_blueprint(resource)
    app.register_blueprint(pages)
    app.register_blueprint(page)
    app.register_blueprint(coach)
    add_to_templates(app)
    require_declared_access(app)
    return app


def _secret(transaction: Transaction, at: datetime) -> bytes:
    """Get the secret that signs cookies, the same after a restart and in each process."""
    return transaction.secrets.get_or_make("coach-sessions", token_bytes, at)


def _name_request() -> None:
    """Take the request's id from its sender if it is well-formed, else make one."""
    given = request.headers.get("X-Request-Id", "")
    g.request_id = given if _REQUEST_ID.fullmatch(given) else context().new_id()


def _add_headers(response: Response) -> Response:
    response.headers["X-Request-Id"] = g.request_id
    response.headers["X-Content-Type-Options"] = "nosniff"
    response.headers.setdefault("Referrer-Policy", "no-referrer")
    response.headers.setdefault("Content-Security-Policy", _PAGE_POLICY)
    _make_redirect_relative(response)
    if request.path.startswith(_PERSONAL):
        response.headers["Cache-Control"] = "private, no-store"
        response.headers["Vary"] = "Authorization, Accept, Accept-Language"
    return response


def _make_redirect_relative(response: Response) -> None:
    """Make redirects relative: an absolute one would repeat the request's Host header, and a cache
    would send others to that host."""
    to = response.location
    if to and not to.startswith("/"):
        response.location = urlsplit(to)._replace(scheme="", netloc="").geturl()
        response.set_data(b"")
