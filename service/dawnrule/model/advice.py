"""Advice: verdict, headline, reason and caution of a day, then the same for each part."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from typing import Protocol, Self

from dawnrule.model.fact_dictionary import FactValue
from dawnrule.model.vocabulary import Verdict


class Versioned(Protocol):
    """Anything with a name, a version and a digest, as a rule set has."""

    @property
    def name(self) -> str:
        """The name, without version."""

    @property
    def version(self) -> str:
        """The version, as 1.2.0."""

    @property
    def digest(self) -> str:
        """The digest of the content."""


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

    @classmethod
    def of(cls, rule_set: Versioned) -> Self:
        """Name a rule set."""
        return cls(rule_set.name, rule_set.version, rule_set.digest)

    @property
    def full_name(self) -> str:
        """``name@version``."""
        return f"{self.name}@{self.version}"


@dataclass(frozen=True, slots=True)
class Change:
    """One fact that, changed from ``before`` to ``to``, would lead to ``verdict``."""

    fact: str
    before: FactValue
    to: str
    verdict: Verdict


@dataclass(frozen=True, slots=True)
class Alternative:
    """Training to do instead: a modality, or a goal for another muscle group or pattern."""

    goal: str | None = None
    muscle_group: str | None = None
    pattern: str | None = None
    modality: str | None = None


@dataclass(frozen=True, slots=True)
class Note:
    """A rule that adds a caution and changes no verdict."""

    rule: RuleName
    caution: str


@dataclass(frozen=True, slots=True)
class PartAdvice:
    """The verdict on one part: ``block`` counts the plan's blocks from 0.

    ``opens_at`` (aware, in the athlete's time zone) is when time alone turns the verdict to
    train-as-planned, None when it does not; ``opens_note`` then says why, and what else is needed.
    Each of ``would_change`` is enough by itself for the verdict it names; those of
    ``would_change_together`` must all come true.
    """

    block: int
    goal: str
    muscle_group: str | None
    verdict: Verdict
    rule: RuleName | None
    reason: str
    caution: str
    opens_at: datetime | None
    opens_note: str | None
    would_change: tuple[Change, ...]
    would_change_together: tuple[Change, ...]
    alternatives: tuple[Alternative, ...]
    also_fired: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Advice:
    """The answer for one athlete and one local date; ``advice_id`` is None where it is not
    stored."""

    advice_id: str | None
    athlete_id: str
    date: date
    verdict: Verdict
    headline: str
    rule: RuleName | None
    reason: str
    caution: str
    parts: tuple[PartAdvice, ...]
    notes: tuple[Note, ...]
    not_reported: tuple[str, ...]
    rule_set: RuleSetName

    @property
    def day_and_parts(self) -> tuple[Advice | PartAdvice, ...]:
        """The advice on the day and then that on each part: all that have a verdict."""
        return (self, *self.parts)


@dataclass(frozen=True, slots=True)
class NoAdvice:
    """The answer for a date without a check-in: no verdict, and a headline that says so.

    It has the members of advice, so that both are answered by one schema.
    """

    athlete_id: str
    date: date
    headline: str
    advice_id: None = None
    verdict: None = None
    rule: None = None
    reason: str = ""
    caution: str = ""
    parts: tuple[PartAdvice, ...] = ()
    notes: tuple[Note, ...] = ()
    not_reported: tuple[str, ...] = ()
    rule_set: None = None
