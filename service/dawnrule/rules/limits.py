"""Limits: how much of a planned block may be done, and the strictest of several limits (pure).

Limits change no verdict. They state what "as planned" must keep to, and what is left of a planned
session of which only a part may be done. A limit that is not set is None or False.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, fields, replace
from functools import lru_cache
from math import floor
from typing import Any, TypeAlias

from dawnrule.i18n.catalog import Texts
from dawnrule.model import Facts
from dawnrule.rules.conditions import Operator, Test
from dawnrule.rules.evaluation.evaluator import Predicate, predicate


@dataclass(frozen=True, slots=True)
class FromFact:
    """A limit that is a fact of the morning instead of a fixed number."""

    fact: str


Amount: TypeAlias = float | FromFact


@dataclass(frozen=True, slots=True)
class Limits:
    """The most of each that may be done. Shares are of the athlete's usual amount, or of the plan
    where that is not known; effort is on the CR10 scale."""

    share_of_sets: float | None = None
    share_of_minutes: float | None = None
    effort_at_most: float | None = None
    minutes_at_most: Amount | None = None
    contacts_at_most: Amount | None = None
    reps_in_reserve_at_least: float | None = None
    no_failure: bool = False
    no_maximal: bool = False
    no_contact: bool = False
    no_landing: bool = False

    @classmethod
    def from_json(cls, data: Mapping[str, Any]) -> Limits:
        """Read limits as a rule file has them."""
        return cls(**{name: _amount(value) for name, value in data.items()})

    @classmethod
    def of_concerns(cls, facts: Facts) -> Limits:
        """Read what restrictions and staged returns allow from the facts of a part, which have the
        names of the limits."""
        known: dict[str, Any] = {name: facts[name] for name in LIMIT_NAMES if name in facts}
        return cls(**known) if known else NO_LIMITS

    def to_json(self) -> dict[str, Any]:
        """Convert limits as a rule file has them: only those that are set."""
        return {
            name: {"fact": value.fact} if isinstance(value, FromFact) else value
            for name, value in self.given()
        }

    def given(self) -> Iterator[tuple[str, Any]]:
        """Yield the limits that are set, by name."""
        for name in LIMIT_NAMES:
            value = getattr(self, name)
            if value is not None and value is not False:
                yield name, value

    def settled(self, facts: Facts) -> Limits:
        """Replace facts by their numbers on a morning; a fact not reported limits nothing."""
        given = dict(self.given())
        of_facts = {
            name: facts.get(value.fact)
            for name, value in given.items()
            if isinstance(value, FromFact)
        }
        return Limits(**given | of_facts) if of_facts else self

    def __bool__(self) -> bool:
        return self is not NO_LIMITS and any(True for _ in self.given())


NO_LIMITS = Limits()

LIMIT_NAMES = tuple(one.name for one in fields(Limits))
"""The names of all limits, in their order."""

_PLANNED: Mapping[str, tuple[str, Callable[[Any], tuple[Operator, Any]]]] = {
    "share_of_sets": ("planned_share_percent", lambda v: (Operator.ABOVE, v * 100)),
    "share_of_minutes": ("planned_share_percent", lambda v: (Operator.ABOVE, v * 100)),
    "effort_at_most": ("planned_effort", lambda v: (Operator.ABOVE, v)),
    "minutes_at_most": ("planned_minutes", lambda v: (Operator.ABOVE, v)),
    "contacts_at_most": ("planned_contacts", lambda v: (Operator.ABOVE, v)),
    "reps_in_reserve_at_least": ("planned_reps_in_reserve", lambda v: (Operator.BELOW, v)),
    "no_failure": ("planned_to_failure", lambda v: (Operator.IS, True)),
    "no_maximal": ("planned_maximal", lambda v: (Operator.IS, True)),
    "no_contact": ("planned_contact", lambda v: (Operator.IS, True)),
    "no_landing": ("lands_hard", lambda v: (Operator.IS, True)),
}
"""For each limit the fact of a planned block that can exceed it, and the test that finds it."""

MORE_IS_STRICTER = frozenset({"reps_in_reserve_at_least"})


def breaking(name: str, value: Any) -> Test | None:
    """Build the test on a planned block that holds when the block is known to exceed a limit; None
    where the limit is a fact, which no test compares with another."""
    if isinstance(value, FromFact):
        return None
    fact, test = _PLANNED[name]
    operator, threshold = test(value)
    return Test(fact, operator, threshold)


def exceeded(limits: Limits, facts: Facts) -> tuple[str, ...]:
    """List the limits that a block is known to exceed, by the facts of one of its parts. What the
    block does not state counts as within."""
    given = limits.settled(facts).given()
    return tuple([name for name, value in given if _is_exceeded(name, value)(facts)])


@lru_cache(maxsize=1024)
def _is_exceeded(name: str, value: float) -> Predicate:
    test = breaking(name, value)
    assert test is not None, "settled limits are numbers"
    return predicate(test)


def as_strict(value: Any, name: str, than: Any) -> bool:
    """Tell whether one value of a limit is at least as strict as another."""
    if isinstance(value, FromFact) or isinstance(than, FromFact):
        return bool(value == than)
    if name in MORE_IS_STRICTER:
        return bool(value >= than)
    return bool(value <= than) if not isinstance(than, bool) else value is True


def merged(many: Iterable[Limits]) -> Limits:
    """Combine settled limits to the strictest of each."""
    strictest: dict[str, Any] = {}
    for limits in many:
        if limits is NO_LIMITS:
            continue
        for name, value in limits.given():
            known = strictest.get(name)
            if known is None or not as_strict(known, name, value):
                strictest[name] = value
    return Limits(**strictest) if strictest else NO_LIMITS


@dataclass(frozen=True, slots=True)
class Planned:
    """The numbers of a planned block that limits reduce; ``usual_percent`` is the plan in percent
    of the usual amount, where that is known."""

    sets: int | None = None
    minutes: float | None = None
    contacts: int | None = None
    usual_percent: float | None = None


@dataclass(frozen=True, slots=True)
class Allowed:
    """The numbers of a planned block that may be done; None where the plan names none or nothing
    limits it."""

    sets: int | None = None
    minutes: int | None = None
    contacts: int | None = None


def allowed(limits: Limits, planned: Planned) -> Allowed:
    """Compute the numbers that settled limits leave of a planned block, rounded down, at least 1
    set and 1 minute where the plan has any."""
    minutes = _share(planned.minutes, limits.share_of_minutes, planned.usual_percent)
    at_most = limits.minutes_at_most
    if isinstance(at_most, int | float):
        minutes = at_most if minutes is None else min(minutes, at_most)
    contacts = limits.contacts_at_most
    return Allowed(
        _at_least_one(_share(planned.sets, limits.share_of_sets, planned.usual_percent)),
        _at_least_one(minutes) if minutes else (0 if minutes == 0 else None),
        floor(contacts) if isinstance(contacts, int | float) else None,
    )


def fitting(limits: Limits, planned: Planned, *, in_sets: bool, lands: bool) -> Limits:
    """Leave out the limits that mean nothing for a block: contacts of what does not land, sets and
    repetitions of what has none, a share of minutes where sets are planned. If none were left, all
    stay."""
    without: dict[str, Any] = {}
    if not lands and planned.contacts is None:
        without["contacts_at_most"] = None
    if not in_sets and planned.sets is None:
        without |= {"share_of_sets": None, "reps_in_reserve_at_least": None, "no_failure": False}
    if planned.sets is not None and planned.minutes is None:
        without["share_of_minutes"] = None
    return replace(limits, **without) or limits


def in_words(limits: Limits, planned: Planned, texts: Texts) -> list[str]:
    """Write settled limits in words and numbers, in a fixed order: "at most 5 of the 10 sets"."""
    left = allowed(limits, planned)
    lines = []
    if limits.share_of_sets is not None:
        lines.append(_share_in_words("sets", left.sets, planned.sets, limits.share_of_sets, texts))
    if left.minutes is not None and planned.minutes is not None:
        name = "minutes_of" if left.minutes < planned.minutes else "minutes"
        lines.append(texts.say(f"limits.{name}", most=left.minutes, planned=floor(planned.minutes)))
    elif left.minutes is not None:
        lines.append(texts.say("limits.minutes", most=left.minutes))
    elif limits.share_of_minutes is not None:
        percent = floor(limits.share_of_minutes * 100)
        lines.append(texts.say("limits.minutes_share", percent=percent))
    if left.contacts is not None:
        lines.append(texts.say("limits.contacts", most=left.contacts))
    if limits.effort_at_most is not None:
        lines.append(texts.say("limits.effort", most=texts.number(f"{limits.effort_at_most:g}")))
    if limits.reps_in_reserve_at_least is not None:
        least = texts.number(f"{limits.reps_in_reserve_at_least:g}")
        lines.append(texts.say("limits.reps_in_reserve", least=least))
    for name in ("no_failure", "no_maximal", "no_landing", "no_contact"):
        if getattr(limits, name):
            lines.append(texts.say(f"limits.{name}"))
    return lines


def _share_in_words(
    what: str, left: int | None, of: float | None, share: float, texts: Texts
) -> str:
    if left is None or of is None:
        return texts.say(f"limits.{what}_share", percent=floor(share * 100))
    return texts.say(f"limits.{what}_of", most=left, planned=floor(of))


def _share(of: float | None, share: float | None, usual_percent: float | None) -> float | None:
    """Compute a share of the usual amount, never more than is planned."""
    if of is None or share is None:
        return None
    usual = of * 100 / usual_percent if usual_percent else of
    return min(of, usual * share)


def _at_least_one(amount: float | None) -> int | None:
    return None if amount is None else max(1, floor(amount + 1e-9))


def _amount(value: Any) -> Any:
    return FromFact(value["fact"]) if isinstance(value, Mapping) else value
