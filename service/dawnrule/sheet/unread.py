"""Which columns must not be left unread, as they may speak of what calls for rest?"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from difflib import get_close_matches

from dawnrule.errors import MalformedInput
from dawnrule.sheet.columns import Layout
from dawnrule.sheet.faults import column_letters
from dawnrule.sheet.headers import HeaderWords, plain_name
from dawnrule.sheet.rows import Header
from dawnrule.vocabulary.said import say, say_all

_NEARLY_ALIKE = 0.82  # of difflib's likeness, from 0 to 1: illnes, and not wellness
_ALIKE = 0.7  # enough to choose between columns about one thing
_SHORTEST_IN_A_WORD = 4  # letters: painful has pain in it, skill is not about being ill
_LONGEST_MISTYPED = 60  # characters: what is longer is a sentence, and slow to compare
_SHORTEST_MISTYPED = 5  # letters: of shorter words too many others are nearly one


def refuse_unread_signs(head: Header) -> None:
    """Pain, illness, a warning sign or soreness that is left out would look as if there were
    none. Raises ``MalformedInput`` with every column that may speak of one and is not known."""
    found = [*_told(head)] if head.layout.is_of_mornings else []
    if found:
        raise MalformedInput(say_all(found))


def _told(head: Header) -> Iterator[str]:
    own = HeaderWords.shipped().own
    for place, (name, column) in enumerate(zip(head.names, head.columns, strict=True)):
        word = plain_name(name)
        is_known = column or word in head.layout.answers or word.startswith(own)
        meant = None if is_known else _meant(word, head.layout)
        if meant:
            letters = column_letters(place)
            own_name = f"{own}{word}"
            yield say("sheet.unread_sign", letters=letters, name=name, meant=meant, own=own_name)


def _meant(word: str, layout: Layout) -> str | None:
    """The column that a word was likely meant for, if it may speak of what calls for rest."""
    sign = next((sign for sign in HeaderWords.shipped().never_unread if _may_be(word, sign)), None)
    if sign:
        columns = {w: c.name for w, c in layout.words().items() if c.name.startswith(sign)}
        likeliest = get_close_matches(word, columns, n=1, cutoff=_ALIKE)
        return columns[likeliest[0]] if likeliest else next(iter(columns.values()))
    known = {w: c.name for w, c in layout.words().items() if len(w) >= _SHORTEST_MISTYPED}
    nearest_of_all = get_close_matches(word, known, n=1, cutoff=_NEARLY_ALIKE)
    name = known[nearest_of_all[0]] if nearest_of_all else ""
    return name if name.startswith(tuple(HeaderWords.shipped().never_unread)) else None


def _may_be(word: str, sign: str) -> bool:
    words = HeaderWords.shipped().never_unread[sign]
    parts = word.split("_")
    return (
        any(one in parts for one in words)
        or any(one in word for one in words if len(one) >= _SHORTEST_IN_A_WORD)
        or (len(word) <= _LONGEST_MISTYPED and any(_nearly(part, words) for part in parts))
    )


def _nearly(part: str, words: Sequence[str]) -> bool:
    long = [word for word in words if len(word) >= _SHORTEST_MISTYPED]
    return bool(get_close_matches(part, long, n=1, cutoff=_NEARLY_ALIKE))
