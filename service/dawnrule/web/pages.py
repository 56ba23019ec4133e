"""Home and documentation pages, with nothing loaded from elsewhere."""

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
    """Text in which what stands between backticks is shown as code."""
    escaped = str(escape(text))  # as Markup, what is put in would be escaped once more
    return Markup(_BACKTICKS.sub(r"<code>\1</code>", escaped))


@pages.get("/")
def home() -> str:
    """The way to the coach's pages and to the documentation."""
    return render_template("home.html")


@pages.get("/docs")
def docs() -> str:
    """The interface, for people; made from the same description that programs read."""
    return render_template("docs.html", api=document(current_app), problems=PROBLEM_TYPES.values())


@pages.get("/problems/<kind>")
def problem(kind: str) -> str:
    """What a kind of problem means, and what to do. Errors give this address as their type."""
    found = PROBLEM_TYPES.get(kind)
    if found is None:
        raise NotFound(f"There is no kind of problem called {kind!r}.")
    return render_template("problem.html", problem=found)
