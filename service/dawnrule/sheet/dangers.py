"""Dangers as people write of them: illness, warning signs and pain in their own words."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from typing import Any

from dawnrule.model import Vocabulary
from dawnrule.sheet.words import SheetWords, words_of

_PARTS = re.compile(r"[.;!?\r\n]+|,|\bbut\b|\baber\b", re.IGNORECASE)
_MOST_WHERE = 100  # characters that a pain's place may have
_NONE = "none"


@dataclass(frozen=True, slots=True)
class Dangers:
    """What a text tells of that may call for rest: warning signs, the worst illness, and the words
    of a pain. ``is_turned``: a word like no or without stands before it, so that nobody but a
    person can tell."""

    warning_signs: tuple[str, ...] = ()
    illness: str | None = None
    pain_where: str | None = None
    is_turned: bool = False

    def __bool__(self) -> bool:
        return bool(self.warning_signs or self.illness or self.pain_where)


def dangers_in(text: str) -> Dangers:
    """Look through a comment for words of danger."""
    signs: list[str] = []
    illnesses: list[str] = []
    pains: list[str] = []
    is_turned = False
    for part in _PARTS.split(text):
        found = [*_found_in(part)]
        if found and set(words_of(part)) & set(SheetWords.bundled().turning):
            is_turned = True
            continue
        for kind, value in found:
            {"sign": signs, "illness": illnesses, "pain": pains}[kind].append(value)
    return Dangers(
        warning_signs=tuple(dict.fromkeys(signs)),
        illness=worst(*illnesses) if illnesses else None,
        pain_where=", ".join(pains)[:_MOST_WHERE].strip() or None,
        is_turned=is_turned,
    )


def worst(*illnesses: str) -> str:
    """Return the illness that holds back most."""
    order = Vocabulary.bundled().illnesses
    return max(illnesses, key=lambda one: order.index(one) if one in order else len(order))


def pain_told(where: str) -> dict[str, Any]:
    """Describe a pain that is told in words alone: its kind by what the words say, else by the
    place, which is the more protective reading."""
    words, known = set(words_of(where)), SheetWords.bundled()
    told: dict[str, Any] = {"where": where, "kind": "other"}
    if words & set(known.sharp):
        return told | {"kind": "sharp"}
    sides = [side for side, names in known.sides.items() if words & set(names)]
    if len(sides) == 1:
        return told | {"kind": "one-sided"}
    place = Vocabulary.bundled().pain_place(None, where)
    return told | {"kind": "joint"} if place and place.id in known.joints else told


def _found_in(part: str) -> Iterator[tuple[str, str]]:
    text = f"_{'_'.join(words_of(part))}_"
    signs = {one for word, one in _danger_words()["warning_signs"].items() if f"_{word}_" in text}
    yield from (("sign", one) for one in Vocabulary.bundled().warning_signs if one in signs)
    for word, illness in _danger_words()["illnesses"].items():
        if f"_{word}_" in text:
            yield "illness", illness
    if not signs and _tells_of_pain(part, text):
        yield "pain", part.strip()


def _tells_of_pain(part: str, text: str) -> bool:
    if any(f"_{word}_" in text for word in SheetWords.bundled().pain_in_comments):
        return True
    vocabulary = Vocabulary.bundled()
    place = vocabulary.pain_place(None, part)
    suspicious = {"chest": "chest", "calf": "clot"}.get(place.id if place else "")
    if suspicious is None:
        return False
    return any(
        f"_{'_'.join(words_of(word))}_" in text for word in vocabulary.suspicious_words[suspicious]
    )


@cache
def _danger_words() -> Mapping[str, Mapping[str, str]]:
    """Map the words that stand for an illness or a sign wherever they are written to its id; words
    that mean something else in a sentence, as x or cold, are left out."""
    plain = {"yes", "y", "ja", "j", "x", "stomach", "temperature", "swelling", "weakness", "faint"}
    vocabulary, words = Vocabulary.bundled(), SheetWords.bundled()
    known: dict[str, dict[str, str]] = {}
    for list_name, ids in (
        ("warning_signs", vocabulary.warning_signs),
        ("illnesses", vocabulary.illnesses),
    ):
        known[list_name] = {
            "_".join(words_of(word.replace("_", " ").replace("-", " "))): one
            for one in ids
            if one != _NONE
            for word in (one, *words.of_cells(list_name, one))
            if word not in plain and word != "cold"
        }
    known["illnesses"]["a_cold"] = "above-neck"
    known["illnesses"]["fieber"] = known["illnesses"]["fever"] = "fever"
    return known
