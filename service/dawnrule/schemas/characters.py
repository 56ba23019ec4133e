"""Characters that nobody sees, or that turn the text around them: with one, two names look alike,
or a name reads otherwise than it is written."""

from __future__ import annotations

from unicodedata import category, name

_UNSEEN = frozenset({"Cc", "Cf", "Cs", "Zl", "Zp"})
"""Controls, formats such as the change of direction, halves of characters, ends of lines."""

_BLANK_LETTERS = frozenset("\u034f\u115f\u1160\u17b4\u17b5\u2800\u3164\uffa0")
"""Letters and signs by their category that no font draws."""


def unseen_character(text: str) -> tuple[int, str] | None:
    """Find the first such character: its place from 1, and its code point with its name."""
    for place, character in enumerate(text, start=1):
        if category(character) in _UNSEEN or character in _BLANK_LETTERS:
            return place, f"U+{ord(character):04X} {name(character, '')}".rstrip()
    return None
