"""The vocabulary of check-ins, plans and rules, and the verdicts."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, replace
from enum import StrEnum
from functools import cache
from pathlib import Path
from typing import Any, Self

from dawnrule.i18n.catalog import Texts
from dawnrule.i18n.resources import read_data, rules_folder


class Verdict(StrEnum):
    """What the advice says, in order of protection."""

    TRAIN = "train-as-planned"
    SWAP = "swap-to-low-damage"
    REST = "rest"

    @property
    def protection(self) -> int:
        """0 for the most permissive verdict, rising with protection."""
        return _PROTECTION[self]


_PROTECTION = {verdict: order for order, verdict in enumerate(Verdict)}


_LABELLED = ("verdicts", "goals", "muscle_groups", "patterns", "modalities", "pain_places")
_LISTS = (
    *_LABELLED,
    "pain_kinds",
    "illnesses",
    "warning_signs",
    "training_statuses",
    "eccentric_loads",
    "movements",
    "concern_kinds",
    "concern_states",
    "returns",
    "restriction_reasons",
    "open_illness_because",
    "phases",
    "actions",
    "competition_ranks",
    "sides",
    "onsets",
    "pain_after",
)
"""Every list of words that may have labels in a catalogue; no id stands for two things."""


_MARKS = ("concentric", "lands", "running", "contact")
"""What a modality may be marked with, and is not where it is left out."""

_PLAIN = (
    "concern_kinds",
    "concern_states",
    "concern_signs",
    "returns",
    "restriction_reasons",
    "phases",
    "actions",
    "competition_ranks",
    "sides",
    "onsets",
    "pain_after",
)
"""The lists of nothing but ids that concerns, plans and check-ins use."""

_LEGS = frozenset({"glutes", "quadriceps", "hamstrings", "adductors", "calves"})


@dataclass(frozen=True, slots=True)
class Pattern:
    """A movement pattern, the family it belongs to, the muscle groups it trains, and those that
    its load passes through besides."""

    id: str
    movement: str
    muscle_groups: tuple[str, ...]
    passes_through: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Modality:
    """A way to do a block: its eccentric load, the muscle groups that it loads by itself, and those
    that its load passes through besides."""

    id: str
    eccentric_load: str
    loads: tuple[str, ...]
    passes_through: tuple[str, ...] = ()
    concentric: bool = False
    """The muscle hardly brakes while it lengthens."""
    lands: bool = False
    """Landing work, whatever its goal is called."""
    running: bool = False
    contact: bool = False
    """Contact with others, or a risk of a knock or a fall."""


@dataclass(frozen=True, slots=True)
class PainPlace:
    """Where people say that it hurts, the words that they use, the muscle groups that pain there
    counts for, and the modalities that it does not count for."""

    id: str
    words: tuple[str, ...]
    loads: tuple[str, ...]
    spares: tuple[str, ...] = ()

    def is_named_in(self, text: str) -> bool:
        """Return whether a text in small letters names the place by a whole word."""
        return holds_any(text, self.words)


@dataclass(frozen=True, slots=True)
class Vocabulary:
    """``rules/vocabulary.yaml`` in memory. ``labels`` maps each id to the word that people read."""

    goals: Mapping[str, str]
    """Goal id to its kind: growth, force, endurance or other."""
    lifting_goals: frozenset[str]
    """The goals that are done against a load."""
    muscle_groups: tuple[str, ...]
    movement_of_group: Mapping[str, str]
    """Muscle group to the movement that a block which names it, but no pattern, counts as."""
    patterns: Mapping[str, Pattern]
    modalities: Mapping[str, Modality]
    pain_kinds: tuple[str, ...]
    illnesses: tuple[str, ...]
    warning_signs: tuple[str, ...]
    training_statuses: tuple[str, ...]
    labels: Mapping[str, str]
    could_load: Mapping[str, tuple[str, ...]]
    """Goal to the muscle groups that a block which names neither group nor modality may load."""
    pain_places: Mapping[str, PainPlace]
    suspicious_words: Mapping[str, tuple[str, ...]]
    """Words about pain that may be a warning sign: at the chest, of a clot, of numbness."""
    concern_kinds: tuple[str, ...]
    concern_states: tuple[str, ...]
    concern_signs: tuple[str, ...]
    """The signs whose concern a clearance alone lifts, the most urgent first."""
    returns: tuple[str, ...]
    restriction_reasons: tuple[str, ...]
    phases: tuple[str, ...]
    actions: tuple[str, ...]
    competition_ranks: tuple[str, ...]
    sides: tuple[str, ...]
    onsets: tuple[str, ...]
    pain_after: tuple[str, ...]

    @classmethod
    @cache
    def bundled(cls) -> Self:
        """Load the vocabulary that ships with the service."""
        return cls.from_file(rules_folder() / "vocabulary.yaml")

    @classmethod
    def from_file(cls, file: Path) -> Self:
        """Read a vocabulary file; its shape is that of ``rules/vocabulary.yaml``."""
        data: dict[str, list[Any]] = read_data(file)
        return cls(
            goals={goal["id"]: goal["kind"] for goal in data["goals"]},
            lifting_goals=frozenset(g["id"] for g in data["goals"] if g.get("lifting")),
            muscle_groups=tuple(group["id"] for group in data["muscle_groups"]),
            movement_of_group={
                group["id"]: group["movement"]
                for group in data["muscle_groups"]
                if "movement" in group
            },
            patterns={
                p["id"]: Pattern(
                    p["id"], p["movement"], tuple(p["muscle_groups"]), _passed_through(p)
                )
                for p in data["patterns"]
            },
            modalities={
                m["id"]: Modality(
                    m["id"],
                    m["eccentric_load"],
                    tuple(m["loads"]),
                    _passed_through(m),
                    **{mark: m.get(mark, False) for mark in _MARKS},
                )
                for m in data["modalities"]
            },
            pain_kinds=tuple(data["pain_kinds"]),
            illnesses=tuple(data["illnesses"]),
            warning_signs=tuple(data["warning_signs"]),
            training_statuses=tuple(data["training_statuses"]),
            labels={entry["id"]: entry["label"] for name in _LABELLED for entry in data[name]},
            could_load={g["id"]: _could_load(g, data) for g in data["goals"]},
            pain_places={
                p["id"]: PainPlace(
                    p["id"], tuple(p["words"]), tuple(p["loads"]), tuple(p.get("spares", ()))
                )
                for p in data["pain_places"]
            },
            suspicious_words={
                entry["id"]: tuple(entry["words"]) for entry in data["suspicious_words"]
            },
            **{name: tuple(data[name]) for name in _PLAIN},
        )

    def translated(self, texts: Texts) -> Self:
        """Return the same words with labels of a catalogue; where it has none, they stay."""
        labels = {
            identifier: label
            for name, label in texts.entries.items()
            for section, _, identifier in [name.partition(".")]
            if section in _LISTS
        }
        return replace(self, labels={**self.labels, **labels})

    def values_of(self, list_name: str) -> tuple[str, ...]:
        """Return the ids of one of the vocabulary's lists, in the file's order."""
        return tuple(getattr(self, list_name))

    @property
    def leg_groups(self) -> tuple[str, ...]:
        """The muscle groups of the legs, in the file's order."""
        return tuple(group for group in self.muscle_groups if group in _LEGS)

    def pain_place(self, place: str | None, where: str = "") -> PainPlace | None:
        """Return a place by its id, else the first one that the athlete's words name; whole words
        count, whatever their case."""
        if place is not None:
            return self.pain_places[place]
        text = where.casefold()
        return next((one for one in self.pain_places.values() if one.is_named_in(text)), None)

    def goals_of_kind(self, *kinds: str) -> frozenset[str]:
        """Return the goals of the given kinds."""
        return frozenset(goal for goal, kind in self.goals.items() if kind in kinds)

    def label(self, identifier: str) -> str:
        """Return the word that people read for an id; the id itself when it has none."""
        return self.labels.get(identifier, identifier)


def holds_any(text: str, words: tuple[str, ...]) -> bool:
    """Return whether a text in small letters holds a word of the vocabulary as a whole one."""
    return _any_of(words).search(text) is not None


def without_word(text: str, word: str) -> str:
    """Return a text in small letters with a space for each whole word that is one of the
    vocabulary."""
    small, whole = _whole(word)
    return whole.sub(" ", text) if small in text else text


@cache
def _any_of(words: tuple[str, ...]) -> re.Pattern[str]:
    return re.compile(rf"\b(?:{'|'.join(re.escape(word.casefold()) for word in words)})\b")


@cache
def _whole(word: str) -> tuple[str, re.Pattern[str]]:
    small = word.casefold()
    return small, re.compile(rf"\b{re.escape(small)}\b")


def _passed_through(entry: Mapping[str, Any]) -> tuple[str, ...]:
    return tuple(entry.get("passes_through", ()))


def _could_load(goal: Mapping[str, Any], data: Mapping[str, Any]) -> tuple[str, ...]:
    groups = tuple(group["id"] for group in data["muscle_groups"])
    match goal["could_load"]:
        case "all":
            return groups
        case "legs":
            return tuple(group for group in groups if group in _LEGS)
        case _:
            return ()
