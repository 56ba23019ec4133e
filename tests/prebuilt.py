"""A migrated database and an application's routes: built once per session, copied for each test.

Migrating takes 10 to 30 ms and registering the routes 50 ms, which a thousand tests would each pay.
"""

from __future__ import annotations

import copy
import shutil
from collections import defaultdict
from pathlib import Path
from typing import Any, NoReturn

from flask import Flask

from dawnrule.store import Store

_HOOKS = (
    "before_request_funcs",
    "after_request_funcs",
    "teardown_request_funcs",
    "template_context_processors",
    "url_value_preprocessors",
    "url_default_functions",
)
"""The functions of an application by blueprint, as lists."""


class Database:
    """An empty database, migrated once."""

    def __init__(self, folder: Path) -> None:
        self._file = folder / "migrated.db"
        Store.open(self._file).close()

    def copy_to(self, file: Path) -> None:
        """Put a copy where a test will open it; permissions are copied too."""
        shutil.copy(self._file, file)


class Routes:
    """An application with its routes and nothing behind them, registered once."""

    def __init__(self, app: Flask) -> None:
        self._app = app

    def copy(self) -> Flask:
        """Return an application whose configuration, extensions, hooks and error handlers are its
        own. Routes and compiled templates are shared, so no route can be added to it."""
        own = copy.copy(self._app)
        own.config = copy.copy(self._app.config)
        own.extensions = dict(self._app.extensions)
        for name in _HOOKS:
            hooks = {scope: list(functions) for scope, functions in getattr(own, name).items()}
            setattr(own, name, defaultdict(list, hooks))
        own.error_handler_spec = _handlers(self._app)
        own.teardown_appcontext_funcs = list(self._app.teardown_appcontext_funcs)
        own.json = type(self._app.json)(own)
        vars(own)["add_url_rule"] = _refuse_route  # stands before the method of the class
        return own


def _handlers(app: Flask) -> Any:
    """Copy the error handlers by blueprint, status and class."""
    handlers: Any = defaultdict(lambda: defaultdict(dict))
    for scope, by_status in app.error_handler_spec.items():
        for status, by_class in by_status.items():
            handlers[scope][status] = dict(by_class)
    return handlers


def _refuse_route(*given: Any, **named: Any) -> NoReturn:
    raise AssertionError("routes are shared by all tests: make a Flask of your own for this one")
