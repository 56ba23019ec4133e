"""Past mornings one by one, as they go into columns, and what is decided on them."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from dawnrule.model import Facts


@dataclass(frozen=True, slots=True)
class PastSubject:
    """The day or a part of it: its facts, and what was decided on them.

    A part's facts include the day's. ``verdict`` and ``rule_id`` of a day are those of the whole
    day; ``fired`` has the ids of the rules that fired, notes included, in the file's order, for a
    part with those of the day. ``block`` is the block of a part, None where it is not known.
    """

    verdict: str
    rule_id: str | None
    fired: tuple[str, ...]
    facts: Facts
    block: int | None = None


@dataclass(frozen=True, slots=True)
class PastMorning:
    """One advice as it was given. ``position`` is its position in the ledger."""

    position: int
    athlete_id: str
    date: date
    rule_set_digest: str
    day: PastSubject
    parts: tuple[PastSubject, ...]

    @property
    def blocks(self) -> tuple[int, ...] | None:
        """The block of each part; None where they are not known."""
        blocks = tuple(part.block for part in self.parts if part.block is not None)
        return blocks if len(blocks) == len(self.parts) else None


@dataclass(frozen=True, slots=True)
class DecidedSubject:
    """The decision on a day or a part; the ids of the fired rules are in the file's order."""

    verdict: str
    rule_id: str | None
    fired: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class ChangedMorning:
    """A morning on which the verdict of the day or of a part differs from the advice given.

    ``before`` and ``after`` are the day's verdicts, and ``rule_before`` and ``rule_after`` the
    rules that decided on them, None where no rule did.
    """

    athlete_id: str
    date: date
    before: str
    after: str
    rule_before: str | None
    rule_after: str | None
    parts_changed: int
