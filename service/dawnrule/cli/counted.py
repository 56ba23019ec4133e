"""How is a number of things said on the command line?"""

from __future__ import annotations


def counted(number: int, thing: str) -> str:
    """``1 rule``, ``2 rules``; for words that only take an s."""
    return f"{number} {thing}" if number == 1 else f"{number} {thing}s"
