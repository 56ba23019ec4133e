"""What tests share of an application, and what each has of its own."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import datetime

import pytest
from flask import Flask, Response

from dawnrule.advice.advisor import Advisor
from dawnrule.settings import Settings
from dawnrule.store import Store
from dawnrule.web import create_app
from dawnrule.web.context import Context
from tests.prebuilt import Database

WRONG_KEY = {"Authorization": "Bearer dawn_wrong"}


@pytest.fixture
def another(
    settings: Settings,
    store: Store,
    advisor: Advisor,
    clock: Callable[[], datetime],
    new_id: Callable[[], str],
) -> Flask:
    """A second application with another body limit and one wrong guess a minute."""
    changed = replace(settings, body_limit_bytes=10, wrong_guesses_per_minute=1)
    return create_app(changed, store, advisor, clock, new_id)


def test_each_application_has_its_own_configuration_and_context(
    app: Flask, another: Flask, settings: Settings
) -> None:
    assert another.config["MAX_CONTENT_LENGTH"] == 10
    assert app.config["MAX_CONTENT_LENGTH"] == settings.body_limit_bytes
    assert Context.of(app) is not Context.of(another)


def test_each_application_counts_its_own_requests(app: Flask, another: Flask) -> None:
    def guess(app: Flask) -> int:
        return app.test_client().get("/v1/athletes", headers=WRONG_KEY).status_code

    assert [guess(another), guess(another)] == [401, 429]
    assert guess(app) == 401


def test_a_hook_of_one_application_is_not_called_by_another(app: Flask, another: Flask) -> None:
    def mark(response: Response) -> Response:
        response.headers["X-Marked"] = "yes"
        return response

    app.after_request(mark)
    app.register_error_handler(KeyError, lambda error: "a key")
    assert "X-Marked" in app.test_client().get("/healthz").headers
    assert "X-Marked" not in another.test_client().get("/healthz").headers
    assert app.error_handler_spec != another.error_handler_spec


def test_no_route_is_added_to_the_routes_of_all(app: Flask) -> None:
    with pytest.raises(AssertionError, match="shared"):
        app.add_url_rule("/more", view_func=lambda: "more")


def test_a_copied_database_is_private_and_its_own(
    store: Store, empty_database: Database, squad: object, tmp_path_factory: pytest.TempPathFactory
) -> None:
    file = tmp_path_factory.mktemp("other") / "other.db"
    empty_database.copy_to(file)
    assert file.stat().st_mode & 0o077 == 0
    with Store.open(file) as other:
        assert other.read(lambda transaction: transaction.athletes.all()) == []
    assert store.read(lambda transaction: transaction.athletes.all()) != []
