"""Paths of private addresses, with and without their tokens."""

from __future__ import annotations

import re

from dawnrule.store import Purpose

FEEDS = "/feeds"
CHECK_IN = "/check-in"

_FILES = ("today.txt", "today.json", "outlook.ics")
_TOKEN = re.compile(rf"^({FEEDS}|{CHECK_IN})/[^/]+")


def paths_of(purpose: Purpose, token: str) -> list[str]:
    """List the paths of a private address."""
    if purpose is Purpose.CHECK_IN:
        return [f"{CHECK_IN}/{token}"]
    return [f"{FEEDS}/{token}/{file}" for file in _FILES]


def without_token(path: str) -> str:
    """Replace the token in a path, for logs, metrics and errors."""
    return _TOKEN.sub(r"\1/…", path)
