"""Paths of private addresses, and their names in logs."""

from __future__ import annotations

import re

from dawnrule.store import Purpose

FEEDS = "/feeds"
CHECK_IN = "/check-in"

_FILES = ("today.txt", "today.json", "outlook.ics")
_TOKEN = re.compile(rf"^({FEEDS}|{CHECK_IN})/[^/]+")


def paths_of(purpose: Purpose, token: str) -> list[str]:
    """All that an address of a purpose answers at."""
    if purpose is Purpose.CHECK_IN:
        return [f"{CHECK_IN}/{token}"]
    return [f"{FEEDS}/{token}/{file}" for file in _FILES]


def without_token(path: str) -> str:
    """A path as it may stand in a log, a measurement or an error: with no token in it."""
    return _TOKEN.sub(r"\1/…", path)
