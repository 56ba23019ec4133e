"""Advice: verdict, headline, reason and caution of a day, then of each block and each part."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Protocol, Self

from dawnrule.model.fact_dictionary import Facts, FactValue
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
    """Training to do instead: a modality, or a goal for another muscle group or pattern.

    ``within_limits`` is True for the planned session, reduced to its limits. ``sets``, ``minutes``
    and ``effort`` (CR10) are the most that may be done, ``reps_in_reserve`` the least that are left
    in a set; ``because`` states why it is allowed.
    """

    goal: str | None = None
    muscle_group: str | None = None
    pattern: str | None = None
    modality: str | None = None
    within_limits: bool | None = None
    sets: int | None = None
    reps: int | None = None
    minutes: int | None = None
    effort: float | None = None
    reps_in_reserve: float | None = None
    because: str | None = None


@dataclass(frozen=True, slots=True)
class Note:
    """A rule that adds a caution and changes no verdict.

    ``reason`` is what it fired on, in words. A note that was given in full a few days ago and has
    not changed since has no caution; ``given_on`` is then that date.
    """

    rule: RuleName
    caution: str
    reason: str | None = None
    given_on: date | None = None


@dataclass(frozen=True, slots=True)
class GivenNote:
    """A note that was given in full on an earlier date, with what it fired on in words."""

    rule_id: str
    reason: str
    on: date


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
class BlockAdvice:
    """The verdict on one planned block (counted from 0): the most protective of its parts.

    ``limits`` are numbers and prohibitions by name, ``limits_said`` the same in words; both are
    empty where the block rests. The first of the ``alternatives`` is the planned session within
    the limits where that is allowed.
    """

    block: int
    goal: str
    muscle_groups: tuple[str, ...]
    verdict: Verdict
    rule: RuleName | None
    reason: str
    limits: Facts = field(default_factory=dict)
    limits_said: tuple[str, ...] = ()
    alternatives: tuple[Alternative, ...] = ()

    @property
    def does_less(self) -> bool:
        """Whether less of the planned session may be done where it is not done as planned."""
        return any(one.within_limits is True for one in self.alternatives)

    @property
    def is_trained(self) -> bool:
        """Whether the planned session may be done, as planned or less of it."""
        return self.verdict is Verdict.TRAIN or self.does_less

    @property
    def has_sessions(self) -> bool:
        """Whether it says what may be done: limits, or alternatives with the reason for them."""
        return bool(self.limits) or any(one.because for one in self.alternatives)


def blocks_of(parts: Iterable[PartAdvice]) -> tuple[BlockAdvice, ...]:
    """Combine the parts of each block, as for advice that was given before blocks had verdicts of
    their own. The rule is that of the first of the most protected parts."""
    by_block: dict[int, list[PartAdvice]] = {}
    for part in parts:
        by_block.setdefault(part.block, []).append(part)
    return tuple(_combined(alike) for alike in by_block.values())


def _combined(parts: list[PartAdvice]) -> BlockAdvice:
    deciding = max(parts, key=lambda part: part.verdict.protection)
    alternatives = (one for part in parts for one in part.alternatives)
    return BlockAdvice(
        block=deciding.block,
        goal=deciding.goal,
        muscle_groups=tuple(part.muscle_group for part in parts if part.muscle_group),
        verdict=deciding.verdict,
        rule=deciding.rule,
        reason=deciding.reason,
        alternatives=tuple(dict.fromkeys(alternatives)),
    )


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
    blocks: tuple[BlockAdvice, ...] = ()

    @property
    def is_day_off(self) -> bool:
        """Whether nothing was planned for a day on which nothing speaks against training."""
        return self.verdict is Verdict.TRAIN and not self.parts and not self.blocks

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
    blocks: tuple[BlockAdvice, ...] = ()
