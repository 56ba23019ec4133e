"""The record of an advice: everything needed to give the same answer again."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from typing import Self

from dawnrule.model.advice import Advice, RuleSetName, blocks_of
from dawnrule.model.concerns import Concern
from dawnrule.model.entities import CheckIn, RecordedAthlete
from dawnrule.model.fact_dictionary import Facts
from dawnrule.model.serialization import canonical_json, from_json_text, to_json


@dataclass(frozen=True, slots=True)
class RecordedPart:
    """The facts of one part, without those of the day."""

    block: int
    muscle_group: str | None
    facts: Facts


@dataclass(frozen=True, slots=True)
class RecordedFacts:
    """The facts of a day and of its parts. ``missing`` says why facts from history could not be
    derived, by name; those of a part with the muscle group in parentheses."""

    day: Facts
    missing: Mapping[str, str]
    parts: tuple[RecordedPart, ...]


@dataclass(frozen=True, slots=True)
class FiredRules:
    """The ids of the rules that fired on a day and on each part, in the order of the rule set."""

    day: tuple[str, ...]
    parts: tuple[tuple[str, ...], ...]


@dataclass(frozen=True, slots=True)
class RecordedConcern:
    """A concern as a morning knew it; its history is in the chain."""

    id: str
    kind: str
    state: str
    began_on: date
    last_reported_on: date
    stage: int | None = None

    @classmethod
    def of(cls, concern: Concern) -> Self:
        """Take from a concern what a record keeps."""
        return cls(
            concern.id,
            concern.kind.value,
            concern.state.value,
            concern.began_on,
            concern.last_reported_on,
            concern.stage,
        )


@dataclass(frozen=True, slots=True)
class Record:
    """An advice with all that it was made of.

    ``came_from`` are the rule sets that the advice's extends, the nearest first. ``clock`` is the
    time (aware) at which the facts were derived, ``decided_at`` that of the decision.
    ``posted_by`` is the id of a key, ``supersedes`` that of the advice before.
    ``concerns`` are those that the morning knew of.
    """

    advice: Advice
    athlete: RecordedAthlete
    came_from: tuple[RuleSetName, ...]
    check_in: CheckIn
    clock: datetime
    decided_at: datetime
    facts: RecordedFacts
    fired: FiredRules
    posted_by: str | None
    service_version: str
    supersedes: str | None
    concerns: tuple[RecordedConcern, ...] = ()

    @classmethod
    def from_text(cls, text: str) -> Self:
        """Read a record. Raises ``KeyError``, ``TypeError`` or ``ValueError`` for anything
        else."""
        return from_json_text(cls, text)

    def to_canonical_json(self) -> str:
        """The record as canonical JSON text (RFC 8785)."""
        values = to_json(self)
        # What came later is left out where it adds nothing, so that older records keep their bytes.
        if not self.concerns:
            del values["concerns"]
        if self.advice.blocks == blocks_of(self.advice.parts):
            del values["advice"]["blocks"]
        return canonical_json(values)
