"""What is the answer to the morning question?

The shapes here are those of the interface: a person reads them from top to bottom as verdict,
headline, reason, caution, and then part by part.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from cattrs import Converter

from dawnrule.model import Verdict


@dataclass(frozen=True, slots=True)
class RuleName:
    """A rule by its id and its title."""

    id: str
    title: str


@dataclass(frozen=True, slots=True)
class RuleSetName:
    """A rule set by name, version and digest."""

    name: str
    version: str
    digest: str


@dataclass(frozen=True, slots=True)
class Change:
    """One fact that, changed from ``from`` to ``to``, would lead to ``verdict``."""

    fact: str
    from_value: Any
    to: str
    verdict: Verdict


@dataclass(frozen=True, slots=True)
class Note:
    """A rule that adds a caution and changes no verdict."""

    rule: RuleName
    caution: str


@dataclass(frozen=True, slots=True)
class PartAdvice:
    """The verdict on one part: ``block`` counts the plan's blocks from 0.

    ``opens_at`` (RFC 3339) is when time alone turns the verdict to train-as-planned, None when it
    does not; ``opens_note`` then says why, and what else is needed. Each of ``would_change`` is
    enough by itself for the verdict it names; those of ``would_change_together`` must all come
    true. ``alternatives`` are plain mappings with ``modality``, or ``goal`` and
    ``muscle_group``.
    """

    block: int
    goal: str
    muscle_group: str | None
    verdict: Verdict
    rule: RuleName | None
    reason: str
    caution: str
    opens_at: str | None
    opens_note: str | None
    would_change: tuple[Change, ...]
    would_change_together: tuple[Change, ...]
    alternatives: tuple[dict[str, str], ...]
    also_fired: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Advice:
    """The answer for one athlete and one local date."""

    advice_id: str
    athlete_id: str
    date: str
    verdict: Verdict
    headline: str
    rule: RuleName | None
    reason: str
    caution: str
    parts: tuple[PartAdvice, ...]
    notes: tuple[Note, ...]
    not_reported: tuple[str, ...]
    rule_set: RuleSetName


_converter = Converter()


def _change_to_json(change: Change) -> dict[str, Any]:
    return {
        "fact": change.fact,
        "from": change.from_value,
        "to": change.to,
        "verdict": change.verdict.value,
    }


_converter.register_unstructure_hook(Change, _change_to_json)


def note_to_json(note: Note) -> dict[str, Any]:
    """A note as plain JSON values."""
    plain: dict[str, Any] = _converter.unstructure(note)
    return plain


def advice_to_json(advice: Advice) -> dict[str, Any]:
    """The advice as plain JSON values, in the order in which it is read."""
    plain: dict[str, Any] = _converter.unstructure(advice)
    return plain
