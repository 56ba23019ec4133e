"""The vocabulary of check-ins, plans and rules, and the verdicts."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from enum import StrEnum
from functools import cache
from pathlib import Path
from typing import Any, Self

import yaml

from dawnrule.i18n.catalog import Texts
from dawnrule.i18n.resources import rules_folder


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


_LABELLED = ("verdicts", "goals", "muscle_groups", "patterns", "modalities")
_LISTS = (
    *_LABELLED,
    "pain_kinds",
    "illnesses",
    "warning_signs",
    "training_statuses",
    "eccentric_loads",
    "movements",
)
"""Every list of words that may have labels in a catalogue; no id stands for two things."""


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

    @classmethod
    @cache
    def bundled(cls) -> Self:
        """Load the vocabulary that ships with the service."""
        return cls.from_file(rules_folder() / "vocabulary.yaml")

    @classmethod
    def from_file(cls, file: Path) -> Self:
        """Read a vocabulary file; its shape is that of ``rules/vocabulary.yaml``."""
        data: dict[str, list[Any]] = yaml.safe_load(file.read_text(encoding="utf-8"))
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
                    m["id"], m["eccentric_load"], tuple(m["loads"]), _passed_through(m)
                )
                for m in data["modalities"]
            },
            pain_kinds=tuple(data["pain_kinds"]),
            illnesses=tuple(data["illnesses"]),
            warning_signs=tuple(data["warning_signs"]),
            training_statuses=tuple(data["training_statuses"]),
            labels={entry["id"]: entry["label"] for name in _LABELLED for entry in data[name]},
        )

    def translated(self, texts: Texts) -> Self:
        """Return the same words with labels of a catalogue; where it has none, they stay."""
        labels = {
            identifier: label
            for name in _LISTS
            for identifier, label in texts.section(name).items()
        }
        return replace(self, labels={**self.labels, **labels})

    def values_of(self, list_name: str) -> tuple[str, ...]:
        """Return the ids of one of the vocabulary's lists, in the file's order."""
        return tuple(getattr(self, list_name))

    def goals_of_kind(self, *kinds: str) -> frozenset[str]:
        """Return the goals of the given kinds."""
        return frozenset(goal for goal, kind in self.goals.items() if kind in kinds)

    def label(self, identifier: str) -> str:
        """Return the word that people read for an id; the id itself when it has none."""
        return self.labels.get(identifier, identifier)


def _passed_through(entry: Mapping[str, Any]) -> tuple[str, ...]:
    return tuple(entry.get("passes_through", ()))
