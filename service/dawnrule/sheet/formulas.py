"""Which text would a spreadsheet program take for a formula?"""

from __future__ import annotations

_STARTS = ("=", "+", "-", "@", "\t", "\r", "\n", "\uff1d", "\uff0b", "\uff0d", "\uff20")
"""OWASP, CSV injection, with the full-width forms."""

_GUARD = "'"


def looks_like_formula(text: str) -> bool:
    """Whether a program might reckon with a cell of this text, rather than show it."""
    return text.startswith(_STARTS)


def guarded(text: str) -> str:
    """The text led by an apostrophe, so that it is shown."""
    return f"{_GUARD}{text}"


def without_guard(text: str) -> str:
    """The text without the apostrophe that is written before what looks like a formula."""
    bare = text.removeprefix(_GUARD)
    return bare if looks_like_formula(bare) else text
