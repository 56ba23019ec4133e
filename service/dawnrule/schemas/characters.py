"""Characters that nobody sees, or that turn the text around them: with one, two names look alike,
or a name reads otherwise than it is written.

The zero-width joiner and non-joiner are letters' neighbours in Persian, Hindi, Malayalam and other
languages, and are taken where RFC 5892 allows them (appendices A.1 and A.2, which UTS #39 follows):
after a virama, and the non-joiner between letters that would join. Elsewhere nobody sees them.
"""

from __future__ import annotations

from unicodedata import category, name

from idna import valid_contextj

_UNSEEN = frozenset({"Cc", "Cf", "Cs", "Zl", "Zp"})
"""Controls, formats such as the change of direction, halves of characters, ends of lines."""

_BLANK_LETTERS = frozenset("\u034f\u115f\u1160\u17b4\u17b5\u2800\u3164\uffa0")
"""Letters and signs by their category that no font draws."""


_JOINERS = frozenset("\u200c\u200d")
_LETTERS_AROUND = 32
"""How far the letters are looked for that a joiner stands between; marks may come in between."""


def unseen_character(text: str) -> tuple[int, str] | None:
    """Find the first such character: its place from 1, and its code point with its name."""
    for index, character in enumerate(text):
        if character in _JOINERS and _joins(text, index):
            continue
        if category(character) in _UNSEEN or character in _BLANK_LETTERS:
            return index + 1, f"U+{ord(character):04X} {name(character, '')}".rstrip()
    return None


def _joins(text: str, index: int) -> bool:
    """Tell whether a joiner stands where it changes how its neighbours are written."""
    start = max(0, index - _LETTERS_AROUND)
    try:
        return valid_contextj(text[start : index + _LETTERS_AROUND], index - start)
    except ValueError:  # beside a code point that is no character
        return False
