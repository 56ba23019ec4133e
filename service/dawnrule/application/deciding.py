"""Which rules decide, for whom and from when on; and what would hold after a change.

It computes on the activations as they are read, in the order of precedence of the store, so that a
change can be looked at before it is made.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime

from dawnrule.rules.registry import RuleSetLibrary
from dawnrule.rules.rule_set import RuleSet
from dawnrule.store import Activation, Transaction
from dawnrule.store.tables.rule_sets import in_precedence


@dataclass(frozen=True, slots=True)
class Holding:
    """A rule set that decides from a date on, by name@version; ``from_date`` is None for what
    decides already."""

    from_date: date | None
    rule_set: str


@dataclass(frozen=True, slots=True)
class Deciding:
    """What decides for an athlete, or for all who have none of their own (None): now, and from
    which dates on something else. ``after_take_back`` is what would hold once the newest activation
    is taken back, empty where there is none."""

    athlete_id: str | None
    holds: tuple[Holding, ...]
    after_take_back: tuple[Holding, ...] = ()


@dataclass(frozen=True, slots=True)
class Change:
    """An activation that has not been made: which rule set (its digest; None lets an athlete go
    with all again), from when on, and for whom (None: for all)."""

    digest: str | None
    from_date: date | None
    athlete_id: str | None


@dataclass(frozen=True, slots=True)
class Decider:
    """The rule sets that decide by the activations of a store on a date; ``default`` decides where
    none was activated."""

    activations: Sequence[Activation]
    library: RuleSetLibrary
    default: RuleSet
    today: date

    @classmethod
    def of(
        cls, transaction: Transaction, library: RuleSetLibrary, default: RuleSet, today: date
    ) -> Decider:
        """Read the activations that stand."""
        standing = [one for one in transaction.activations.all() if one.taken_back_at is None]
        return cls(standing, library, default, today)

    def all(self) -> list[Deciding]:
        """List what decides for all, and then for each athlete who ever got one of their own."""
        own = {one.athlete_id for one in self.activations if one.athlete_id is not None}
        return [self.deciding(None), *map(self.deciding, sorted(own))]

    def deciding(self, athlete_id: str | None) -> Deciding:
        """Tell what decides for an athlete, or for all (None)."""
        of_whom = [one for one in self.activations if one.athlete_id == athlete_id]
        after = self._without(of_whom[0]).holds(athlete_id) if of_whom else ()
        return Deciding(athlete_id, self.holds(athlete_id), after)

    def after(self, change: Change, at: datetime) -> Decider:
        """Return the decider once an activation is made at a time."""
        number = max((one.number for one in self.activations), default=0) + 1
        made = Activation(
            number, change.digest, change.from_date, change.athlete_id, at, None, None, None
        )
        return replace(self, activations=[made, *self.activations])

    def holds(self, athlete_id: str | None) -> tuple[Holding, ...]:
        """List what decides now, and what will from each date on which that changes."""
        ahead = {
            one.from_date
            for one in self.activations
            if one.athlete_id in (None, athlete_id)
            and one.from_date is not None
            and one.from_date > self.today
        }
        found = [Holding(None, self._on(athlete_id, self.today))]
        for day in sorted(ahead):
            name = self._on(athlete_id, day)
            if name != found[-1].rule_set:
                found.append(Holding(day, name))
        return tuple(found)

    def _without(self, taken_back: Activation) -> Decider:
        others = [one for one in self.activations if one is not taken_back]
        return replace(self, activations=others)

    def _on(self, athlete_id: str | None, day: date) -> str:
        usable = map(self.library.deciding, self._digests(athlete_id, day))
        return next((found for found in usable if found), self.default).full_name

    def _digests(self, athlete_id: str | None, day: date) -> Iterator[str]:
        """Return the digests that hold on a date, in order of precedence."""
        come = [
            one
            for one in self.activations
            if one.athlete_id in (None, athlete_id)
            and (one.from_date is None or one.from_date <= day)
        ]
        own_first = sorted(come, key=lambda one: one.athlete_id is None)
        return in_precedence((one.athlete_id, one.digest) for one in own_first)
