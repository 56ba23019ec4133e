"""Parts that are held back: what was said of each, and what the rules say when it changes.

Facts are derived again and decided on by both evaluations, so that nothing depends on the search
that found what was said.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from typing import Any

from dawnrule.advice.advisor import Advisor, Morning
from dawnrule.facts.derive import FactSource, PartFacts, derive_facts
from dawnrule.model import SECOND_EDITION, FactDefinition, FactDictionary, Facts, FactValue, Verdict
from dawnrule.model.advice import Change, PartAdvice
from dawnrule.model.entities import Block
from dawnrule.rules.conditions import Operator, facts_of, tests_of
from dawnrule.rules.evaluation.decider import Decider
from dawnrule.rules.evaluation.decision import Decision
from dawnrule.rules.rule_set import Rule, RuleSet
from dawnrule.rules.staged_returns import BundledReturns

DICTIONARY = FactDictionary.bundled()
ONE_MINUTE = timedelta(minutes=1)
FOUR_DAYS = timedelta(days=4)
SIXTY_DAYS = timedelta(days=60)


@dataclass(frozen=True)
class HeldBack:
    """One part of a morning that was held back; ``at_rest`` are the muscle groups of all parts that
    rest."""

    morning: Morning
    source: FactSource
    rule_set: RuleSet
    decider: Decider
    facts: PartFacts
    decision: Decision
    advice: PartAdvice
    at_rest: frozenset[str]

    @property
    def protective(self) -> list[Rule]:
        """The rules that hold it back."""
        return [rule for rule in self.decision.fired if rule.verdict not in (None, Verdict.TRAIN)]

    @property
    def stopped(self) -> bool:
        """Whether a rule that reads pain, illness or a warning sign holds it back."""
        return any(DICTIONARY[fact].stop for r in self.protective for fact in facts_of(r.when))

    @property
    def opens_at(self) -> datetime | None:
        """The stated time at which it opens."""
        return self.advice.opens_at

    def verdict(self, facts: Facts) -> Verdict:
        """Decide on the facts of a part, by both evaluations."""
        return self.decider.decide(_of_day(facts), [facts]).parts[0].verdict

    def quick_verdict(self, facts: Facts) -> Verdict:
        """Decide on them by the evaluator alone, to try many."""
        return self.decider.decide_by_evaluator(_of_day(facts), [facts]).parts[0].verdict

    def verdict_after(self, changes: Iterable[Change]) -> Verdict:
        """Decide when the facts that changes name go exactly as far as they say."""
        values = {change.fact: nearest(change) for change in changes}
        return self.verdict({**self.facts.facts, **values})

    def verdict_at(self, start: datetime) -> Verdict:
        """Decide on the part when its block starts at another time."""
        block = replace(self.morning.check_in.plan[self.facts.block], starts_at=start)
        (part,) = [p for p in self.instead(block) if p.muscle_group == self.facts.muscle_group]
        return self.verdict(part.facts)

    def quick_verdict_at(self, start: datetime) -> Verdict:
        """Decide on it by the evaluator alone, to try many times."""
        part = self.source.part(self.facts.block, self.facts.muscle_group, start)
        return self.quick_verdict(part.facts)

    def instead(self, block: Block) -> list[PartFacts]:
        """Replace this part's block by another at the same time, and return its parts."""
        given, index = self.morning, self.facts.block
        block = replace(block, starts_at=block.starts_at or self.facts.starts_at)
        plan = (*given.check_in.plan[:index], block, *given.check_in.plan[index + 1 :])
        check_in = replace(given.check_in, plan=plan)
        edition = self.rule_set.edition(DICTIONARY)
        morning = (given.athlete, check_in, given.history, given.now, edition)
        parts = derive_facts(*morning, BundledReturns()).parts
        return [part for part in parts if part.block == index]

    def times_to_try(self) -> Iterator[datetime]:
        """List whole minutes in the sixty days after the planned start, above all around
        thresholds."""
        start = self.facts.starts_at.astimezone(UTC)
        trained = self.source.trained.times_of(self.facts.muscle_group)
        edges = {timedelta(), *_hours_asked_for(self.rule_set)}
        near = {at + edge + k * ONE_MINUTE for at in trained for edge in edges for k in (-1, 0, 1)}
        far = {start + k * FOUR_DAYS for k in range(SIXTY_DAYS // FOUR_DAYS + 1)}
        for at in {at.replace(second=0, microsecond=0) for at in near | far}:
            if start < at <= start + SIXTY_DAYS:
                yield at

    def less_worrying(self, fact: str) -> Iterator[FactValue]:
        """List the values that a fact could take in the less worrying direction: each of an
        integer's, and of a number's those around the thresholds. Rules of the second edition name
        what time changes and nothing else."""
        definition, before = DICTIONARY[fact], self.facts.facts.get(fact)
        if self.rule_set.edition(DICTIONARY) >= SECOND_EDITION and not definition.grows:
            return
        if definition.origin in ("plan", "athlete") or definition.worse == "none":
            return
        if isinstance(before, bool):
            yield from [not before] if str(before).lower() == definition.worse else []
        elif isinstance(before, int | float):
            values = _values_to_try(fact, self.rule_set)
            down = definition.worse == "higher"
            yield from (v for v in values if (v < before if down else v > before))


def held_back(advisor: Advisor, given: Morning, rule_set: RuleSet) -> list[HeldBack]:
    """List the parts of a morning that are held back."""
    considered = advisor.consider(given, rule_set, "advice-1")
    facts, decisions = considered.facts.parts, considered.decision.parts
    resting = (f for f, d in zip(facts, decisions, strict=True) if d.verdict is Verdict.REST)
    at_rest = frozenset(f.muscle_group for f in resting if f.muscle_group)
    decider = advisor.library.decider(rule_set)
    edition = rule_set.edition(DICTIONARY)
    source = FactSource.of(
        given.athlete, given.check_in, given.history, given.now, edition, BundledReturns()
    )
    return [
        HeldBack(given, source, rule_set, decider, of_part, decision, advice, at_rest)
        for of_part, decision, advice in zip(facts, decisions, considered.advice.parts, strict=True)
        if decision.verdict is not Verdict.TRAIN
    ]


def nearest(change: Change) -> FactValue:
    """Find the value nearest to the reported one in the range that a change names."""
    if isinstance(change.before, bool):
        return change.to == "true"
    word, _, number = change.to.rpartition(" ")
    definition = DICTIONARY[change.fact]
    edge = int(number) if _is_whole(definition) else float(number)
    if word in ("at most", "at least"):
        return edge
    if _is_whole(definition):
        return edge + {"below": -1, "above": 1}[word]
    return math.nextafter(edge, {"below": -math.inf, "above": math.inf}[word])


def values_short_of(change: Change) -> Sequence[FactValue]:
    """List values between the reported one and the nearest that will do: all of an integer's, and
    of a number's the last one and some on the way."""
    before, after = change.before, nearest(change)
    if isinstance(before, bool | str) or isinstance(after, bool | str):
        return ()
    if isinstance(before, int) and isinstance(after, int):
        return range(before + 1, after) if after > before else range(after + 1, before)
    on_the_way = (before + (after - before) * share for share in (0.25, 0.5, 0.75))
    short_of_it = (*on_the_way, math.nextafter(after, before))
    return [value for value in short_of_it if value not in (before, after)]


def size(fact: str, before: FactValue, after: FactValue) -> float:
    """Measure how far a fact has moved, as a share of its range; a boolean moves by all of it."""
    if isinstance(before, bool | str) or isinstance(after, bool | str):
        return 1.0
    return abs(after - before) / (DICTIONARY[fact].greatest - DICTIONARY[fact].least)


def _of_day(facts: Facts) -> Facts:
    return {name: value for name, value in facts.items() if DICTIONARY[name].scope == "day"}


def _hours_asked_for(rule_set: RuleSet) -> Iterator[timedelta]:
    for fact, definition in DICTIONARY.items():
        if definition.grows:
            yield from (timedelta(hours=number) for number in _numbers_asked_for(fact, rule_set))


def _values_to_try(fact: str, rule_set: RuleSet) -> Iterable[float]:
    definition = DICTIONARY[fact]
    if _is_whole(definition):
        return range(int(definition.least), min(int(definition.greatest), 1000) + 1)
    numbers = list(_numbers_asked_for(fact, rule_set))
    beside = [math.nextafter(n, way) for n in numbers for way in (-math.inf, math.inf)]
    return [*filter(definition.accepts, [*numbers, *beside]), definition.least, definition.greatest]


def _numbers_asked_for(fact: str, rule_set: RuleSet) -> Iterator[float]:
    """Yield every number that a rule compares a fact with."""
    for rule in rule_set.rules:
        for test in tests_of(rule.when):
            if test.fact == fact and test.operator is not Operator.REPORTED:
                values: Any = test.value if isinstance(test.value, tuple) else (test.value,)
                yield from values


def _is_whole(definition: FactDefinition) -> bool:
    """Tell whether people rate or count a fact in whole numbers."""
    return definition.type == "integer" or definition.step is not None
