"""Which word of the vocabulary does a cell mean, in whichever language it stands?"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from functools import cache

from dawnrule.sheet.headers import HeaderWords, plain_name
from dawnrule.vocabulary import Texts, Vocabulary
from dawnrule.vocabulary.texts import languages

NONE = "none"
"""How a list is said to be empty; an empty cell was not reported."""

_MUSCLE_GROUPS = "muscle_groups"
_BETWEEN_LISTED = re.compile(r"[,;\r\n]+")
_AFTER_THE_GIST = re.compile(r"[,(]")


@cache
def ids_by_word(list_name: str) -> Mapping[str, str]:
    """Every word for an id of one of the vocabulary's lists, plain as headers are: the id, its
    label in each language, with and without what explains it, and those of
    ``rules/sheet_columns.yaml``."""
    ids = Vocabulary.shipped().values_of(list_name)
    return {NONE: NONE, **{plain_name(word): one for one in ids for word in _words(list_name, one)}}


def known_id(list_name: str, text: str) -> str | None:
    """The id that a text means, or ``none``; None for a word that the list does not have."""
    word = plain_name(text)
    return NONE if says_none(word) else ids_by_word(list_name).get(word)


def says_none(text: str) -> bool:
    """Whether a text says that there is nothing."""
    word = plain_name(text)
    return word == NONE or word in HeaderWords.shipped().none


def id_of(list_name: str, text: str) -> str:
    """The id that a text means; an unknown word as ids are written, to be refused by name."""
    return known_id(list_name, text) or plain_name(text).replace("_", "-")


def ids_in(list_name: str, text: str) -> list[str]:
    """The ids of a list, empty if it says none. What stands between commas, semicolons or line
    ends is one word if it is known, else blanks divide it too."""
    whole = known_id(list_name, text)
    ids = [whole] if whole else [one for part in _parts(text) for one in _ids(list_name, part)]
    return [] if ids == [NONE] else ids


def _ids(list_name: str, part: str) -> list[str]:
    known = known_id(list_name, part)
    return [known] if known else [id_of(list_name, word) for word in part.split()]


def _parts(text: str) -> Iterator[str]:
    yield from (part for part in _BETWEEN_LISTED.split(text) if part.strip())


def _words(list_name: str, identifier: str) -> Iterator[str]:
    words = HeaderWords.shipped()
    yield identifier
    yield from words.of_cells.get(list_name, {}).get(identifier, ())
    if list_name == _MUSCLE_GROUPS:
        yield from words.of_muscle_group(identifier)
    for language in languages():
        label = _labels(language).get(identifier)
        if label:
            yield from (label, _AFTER_THE_GIST.split(label)[0])


@cache
def _labels(language: str) -> Mapping[str, str]:
    return Vocabulary.shipped().said_in(Texts.shipped(language)).labels
