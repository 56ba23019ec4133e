"""Pages for people: home, documentation, and the kinds of problems."""

from __future__ import annotations

import re

from flask import Blueprint, current_app, render_template
from markupsafe import Markup, escape

from dawnrule.errors import NotFound
from dawnrule.web.http.problems import PROBLEM_TYPES
from dawnrule.web.openapi import document

pages = Blueprint("pages", __name__)

_BACKTICKS = re.compile(r"`([^`]+)`")


@pages.app_template_filter("marked")
def marked(text: str) -> Markup:
    """Mark text between backticks as code."""
    escaped = str(escape(text))  # as Markup, what is put in would be escaped once more
    return Markup(_BACKTICKS.sub(r"<code>\1</code>", escaped))


@pages.get("/")
def home() -> str:
    """Show the way to the coach's pages and to the documentation."""
    return render_template("home.html")


@pages.get("/docs")
def docs() -> str:
    """Show the interface, from the same description that programs read."""
    return render_template("docs.html", api=document(current_app), problems=PROBLEM_TYPES.values())


@pages.get("/problems/<kind>")
def problem(kind: str) -> str:
    """Explain a kind of problem; errors give this address as their type. Raises ``NotFound``."""
    found = PROBLEM_TYPES.get(kind)
    if found is None:
        raise NotFound(f"There is no kind of problem called {kind!r}.")
    return render_template("problem.html", problem=found)
