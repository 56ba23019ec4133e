"""Formula injection: cell text that a spreadsheet program would run as a formula."""

from __future__ import annotations

_STARTS = ("=", "+", "-", "@", "\t", "\r", "\n", "\uff1d", "\uff0b", "\uff0d", "\uff20")
"""OWASP, CSV injection, with the full-width forms."""

_GUARD = "'"


def looks_like_formula(text: str) -> bool:
    """Tell whether a program might evaluate a cell of this text instead of showing it."""
    return text.startswith(_STARTS)


def escape_formula(text: str) -> str:
    """Put an apostrophe before the text, so that a program shows it."""
    return f"{_GUARD}{text}"


def unescape_formula(text: str) -> str:
    """Remove the apostrophe that ``escape_formula`` puts before a text."""
    bare = text.removeprefix(_GUARD)
    return bare if looks_like_formula(bare) else text
