"""How often did each rule fire and decide, and what happened afterwards?

Only mornings count that were told by the rule set itself, the latest advice of each athlete and
date. What followed did not follow from the rule alone: a share is to be read beside that of all
mornings, with its interval, and never as an effect.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass
from datetime import date, datetime
from typing import Any, TypeAlias

from dawnrule.advice.aftermath import OUTCOMES, Aftermath
from dawnrule.advice.proportion import CONFIDENCE, Share
from dawnrule.rules.columns import MorningTable, PastMorning, PastSubject
from dawnrule.rules.rule_set import RuleSet
from dawnrule.store import Store

_MORNINGS, _DECIDED = "mornings", "decided"
_ALL = None

_Counted: TypeAlias = defaultdict[str | None, Counter[str]]
"""How many mornings of each kind, by rule, and of all mornings."""


@dataclass(frozen=True, slots=True)
class Score:
    """What is known of some mornings: how many they are, and for each of ``OUTCOMES`` the share
    of each thing that it may be, of the mornings of which it is known."""

    mornings: int
    outcomes: Mapping[str, Mapping[str, Share]]


@dataclass(frozen=True, slots=True)
class RuleScore:
    """What is known of a rule: the share of all mornings on which it fired, for the day or any
    part, and on which it decided on the day or any part; and what followed where it fired."""

    rule: str
    title: str
    fired: Share
    decided: Share
    after: Score


@dataclass(frozen=True, slots=True)
class Scorecard:
    """The scores of a rule set's rules, in the file's order, and those of all its mornings
    between two dates, which are None when there are no mornings."""

    rule_set: RuleSet
    first: date | None
    last: date | None
    all_mornings: Score
    rules: tuple[RuleScore, ...]

    def to_plain(self) -> dict[str, Any]:
        """The scorecard as plain JSON values."""
        named = self.rule_set
        return {
            "rule_set": {"name": named.name, "version": named.version, "digest": named.digest},
            "from": self.first.isoformat() if self.first else None,
            "to": self.last.isoformat() if self.last else None,
            "confidence": CONFIDENCE,
            "all_mornings": asdict(self.all_mornings),
            "rules": [asdict(rule) for rule in self.rules],
        }


def scorecard(
    store: Store,
    table: MorningTable,
    rule_set: RuleSet,
    first: date | None,
    last: date | None,
    now: datetime,
) -> Scorecard:
    """The scorecard over the mornings of a table from one date to another, both included; None
    leaves an end open. ``now`` (aware) says which dates are over."""
    told = table.between(first, last).told_by(rule_set.digest)
    dates = [day for day, _, _ in told.sizes()]
    if not dates:
        return _scored(rule_set, None, None, defaultdict(Counter))
    aftermath = store.read(lambda books: Aftermath.read(books, dates[0], dates[-1], now))
    counted: _Counted = defaultdict(Counter)
    for morning in told.mornings():
        for rule_id, parts in _fired(morning).items():
            counted[rule_id] += _counts(aftermath, morning, parts)
        for rule_id in _deciding(morning):
            counted[rule_id][_DECIDED] += 1
        counted[_ALL] += _counts(aftermath, morning, morning.parts)
    return _scored(rule_set, dates[0], dates[-1], counted)


def _fired(morning: PastMorning) -> Mapping[str, list[PastSubject]]:
    """The rules that fired, each with the parts that it fired on; a day rule fires on all."""
    fired: dict[str, list[PastSubject]] = {rule_id: [] for rule_id in morning.day.fired}
    for part in morning.parts:
        for rule_id in part.fired:
            fired.setdefault(rule_id, []).append(part)
    return fired


def _deciding(morning: PastMorning) -> set[str]:
    subjects = (morning.day, *morning.parts)
    return {subject.rule_id for subject in subjects if subject.rule_id is not None}


def _counts(
    aftermath: Aftermath, morning: PastMorning, parts: Iterable[PastSubject]
) -> Counter[str]:
    """A morning, and what is known to have followed it for the muscle groups of parts."""
    groups = {str(part.facts["muscle_group"]) for part in parts if "muscle_group" in part.facts}
    outcomes = aftermath.outcomes(morning.athlete_id, morning.date, groups)
    return Counter({_MORNINGS: 1}) + Counter(outcomes)


def _scored(
    rule_set: RuleSet, first: date | None, last: date | None, counted: _Counted
) -> Scorecard:
    of = counted[_ALL][_MORNINGS]
    rules = (
        RuleScore(
            rule.id,
            rule.title,
            Share.counted(counted[rule.id][_MORNINGS], of),
            Share.counted(counted[rule.id][_DECIDED], of),
            _score(counted[rule.id]),
        )
        for rule in rule_set.rules
    )
    return Scorecard(rule_set, first, last, _score(counted[_ALL]), tuple(rules))


def _score(counted: Counter[str]) -> Score:
    return Score(
        counted[_MORNINGS],
        {
            outcome: {what: Share.counted(counted[what], _total(counted, each)) for what in each}
            for outcome, each in OUTCOMES.items()
        },
    )


def _total(counted: Counter[str], names: Iterable[str]) -> int:
    return sum(counted[name] for name in names)
