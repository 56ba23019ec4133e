"""Dangers as people write of them: illness, warning signs and pain in their own words."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from typing import Any

from dawnrule.i18n.lazy import lazy
from dawnrule.model import FactDictionary, Vocabulary
from dawnrule.sheet.temperatures import is_fever, may_be_temperature, words_of_temperature
from dawnrule.sheet.words import SheetWords, words_of

_PARTS = re.compile(
    r"[;!?\r\n]+|(?<![0-9])[.,]+|[.,]+(?![0-9])"  # 38.5 is one number
    r"|\b(?:but|though|although|however|aber|jedoch|trotzdem|pero|sino)\b",
    re.IGNORECASE,
)
_MOST_WHERE = 100  # characters that a pain's place may have
_NONE = "none"
_FEVER = "fever"
_MOST_PARTS = 40
"""Of a comment; what follows them is taken as one part, so that no text takes long."""


@dataclass(frozen=True, slots=True)
class Dangers:
    """What a text tells of that may call for rest: warning signs, the worst illness, and the words
    of a pain. ``is_turned``: a word like no or without stands beside it, or it is a word like
    dizzy, so that nobody but a person can tell."""

    warning_signs: tuple[str, ...] = ()
    illness: str | None = None
    pain_where: str | None = None
    is_turned: bool = False

    def __bool__(self) -> bool:
        return bool(self.warning_signs or self.illness or self.pain_where or self.is_turned)


def dangers_in(text: str) -> Dangers:
    """Look through a comment for words of danger."""
    if not _triggers().intersection(words_of(text)) and not may_be_temperature(text):
        return Dangers()
    signs: list[str] = []
    illnesses: list[str] = []
    pains: list[str] = []
    is_turned = False
    for part in _PARTS.split(text, maxsplit=_MOST_PARTS):
        found = [*_found_in(part)]
        if _is_for_people(part, found):
            is_turned = True
        if found and _is_turned(part):
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


def dangers_told(form: Mapping[str, Any]) -> dict[str, Any]:
    """Return what can be read of the dangers in the JSON form of a check-in, which was not
    validated: what speaks for rest is taken whatever else is wrong. Empty where there is none."""
    signs = [one for one in _listed(form.get("warning_signs")) if _is_of("warning_signs", one)]
    illness, temperature = form.get("illness"), form.get("temperature_c")
    found = {
        "pain": [*map(_with_place, filter(None, _listed(form.get("pain"))))],
        "warning_signs": [*dict.fromkeys(signs)],
        "illness": illness if _is_of("illnesses", illness) and illness != _NONE else None,
        "temperature_c": temperature if _is_temperature_of_fever(temperature) else None,
    }
    return {name: value for name, value in found.items() if value}


def _listed(value: Any) -> Sequence[Any]:
    """Return the texts and objects of a list, or the one that stands in its place."""
    listed = value if isinstance(value, list) else [value]
    return [one for one in listed if isinstance(one, (str, Mapping))]


def _is_of(list_name: str, value: Any) -> bool:
    return isinstance(value, str) and value in Vocabulary.bundled().values_of(list_name)


def _is_temperature_of_fever(value: Any) -> bool:
    least = SheetWords.bundled().body_temperature["fever"]
    greatest = FactDictionary.bundled()["temperature_c"].greatest
    return isinstance(value, (int, float)) and least <= value <= greatest


def _with_place(pain: str | Mapping[str, Any]) -> dict[str, Any]:
    """Return the part of a pain that calls for rest: its place in words, its kind and its muscle
    groups. A pain of which only the kind is told is somewhere."""
    told = {"where": pain} if isinstance(pain, str) else pain
    where = str(told.get("where") or lazy("sheet.somewhere"))[:_MOST_WHERE]
    kind = told.get("kind")
    known = {"where": where, "kind": kind if _is_of("pain_kinds", kind) else None}
    known["kind"] = known["kind"] or pain_told(where)["kind"]
    groups = [one for one in _listed(told.get("muscle_groups")) if _is_of("muscle_groups", one)]
    return {**known, "muscle_groups": groups} if groups else known


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


def is_pain_as_before(where: str) -> bool:
    """Tell whether the words of a pain point to another day's and name no place."""
    words, known = set(words_of(where)), SheetWords.bundled()
    names_place = Vocabulary.bundled().pain_place(None, where) is not None
    return not words.isdisjoint(known.as_before) and not (
        names_place or words & known.groups_by_word.keys()
    )


def _found_in(part: str) -> Iterator[tuple[str, str]]:
    text = f"_{'_'.join(words_of(part))}_"
    signs = {_danger_words()["warning_signs"][word] for word in _any_of("warning_signs", text)}
    yield from (("sign", one) for one in Vocabulary.bundled().warning_signs if one in signs)
    for word in _any_of("illnesses", text):
        yield "illness", _danger_words()["illnesses"][word]
    if is_fever(part):
        yield "illness", _FEVER
    if not signs and _tells_of_pain(part, text):
        yield "pain", part.strip()


def _is_turned(part: str) -> bool:
    """Return whether a word like no stands beside a danger; in "sin aliento" it is the danger."""
    return not _words_beside_dangers(part).isdisjoint(SheetWords.bundled().turning)


def _is_for_people(part: str, found: Iterable[tuple[str, str]]) -> bool:
    """Return whether a part has a word like dizzy that no danger found in it accounts for."""
    left = _words_beside_dangers(part).intersection(SheetWords.bundled().for_people)
    return bool(left - words_of_temperature() if ("illness", _FEVER) in found else left)


def _words_beside_dangers(part: str) -> set[str]:
    text = f"_{'_'.join(words_of(part))}_"
    for dangers in ("warning_signs", "illnesses"):
        text = _patterns()[dangers].sub("", text)
    return set(text.split("_"))


def _tells_of_pain(part: str, text: str) -> bool:
    if _any_of("pain", text):
        return True
    told = [place for place in _suspicious_words() if _any_of(place, text)]
    place = Vocabulary.bundled().pain_place(None, part) if told else None
    return place is not None and place.id in told


def _any_of(list_name: str, text: str) -> list[str]:
    """Return the words of a list that a text has, between underscores."""
    return _patterns()[list_name].findall(text)


@cache
def _patterns() -> Mapping[str, re.Pattern[str]]:
    """Return for each list of words the pattern that finds them."""
    lists: dict[str, Iterable[str]] = {
        **_danger_words(),
        **_suspicious_words(),
        "pain": SheetWords.bundled().pain_in_comments,
    }
    return {
        name: re.compile(f"(?<=_)(?:{'|'.join(map(re.escape, _longest_first(words)))})(?=_)")
        for name, words in lists.items()
    }


def _longest_first(words: Iterable[str]) -> list[str]:
    """Sort words so that a longer one is found before one that it begins with."""
    return sorted(words, key=len, reverse=True)


@cache
def _suspicious_words() -> Mapping[str, frozenset[str]]:
    """Map a place to the words that make pain there a warning sign."""
    words = Vocabulary.bundled().suspicious_words
    return {
        place: frozenset("_".join(words_of(word)) for word in words[of])
        for place, of in (("chest", "chest"), ("calf", "clot"))
    }


@cache
def _triggers() -> frozenset[str]:
    """Return words of which one stands in any text that tells of a danger."""
    found = {*SheetWords.bundled().pain_in_comments, *SheetWords.bundled().for_people}
    found |= {word for known in _danger_words().values() for word in known}
    found |= {word for words in _suspicious_words().values() for word in words}
    return frozenset(word.split("_")[0] for word in found)


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
