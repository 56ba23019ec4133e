"""Counterfactuals: verdicts on other facts, the smallest changes to a more permissive verdict, and
the time at which a part opens (pure).

Answers come from the evaluator alone: each advice asks for dozens of them. Tests verify with both
evaluations that each change leads to the verdict stated.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator, Sequence
from copy import copy
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from itertools import chain, combinations, product

from dawnrule.model import FactDefinition, FactDictionary, Facts, FactValue, Verdict, is_number
from dawnrule.rules.conditions import (
    Operator,
    Test,
    all_of,
    needed_tests,
    tests_of,
)
from dawnrule.rules.evaluation.decision import Decision, decision_of
from dawnrule.rules.evaluation.evaluator import Predicate, predicate
from dawnrule.rules.rule_set import Rule, RuleSet

ONE_MINUTE = timedelta(minutes=1)
"""The step of the clock: times are whole minutes."""


FactsAt = Callable[[datetime], Facts]


def _always(_: object) -> bool:
    return True


class WhatIf:
    """The rules of a rule set that protect or limit, compiled to be tried on many facts."""

    def __init__(self, rule_set: RuleSet) -> None:
        self.facts_read = frozenset(fact for rule in rule_set.rules for fact in rule.reads)
        self.edition = FactDictionary.bundled().edition_of(self.facts_read)
        self._rules: list[tuple[Rule, Predicate]] = [
            (rule, rule.fires) for rule in rule_set.rules if rule.is_protective
        ]
        self._limiting: list[tuple[Rule, Predicate]] = [
            (rule, rule.fires) for rule in rule_set.rules if rule.limits
        ]
        self.is_shut = False
        """Whether a rule on the day speaks against training in any case."""
        self._needs_of_day = {rule: _needs_of_day(rule) for rule in rule_set.rules}
        self._reading: dict[str, set[Rule]] = defaultdict(set)
        self._thresholds: dict[str, dict[Test, None]] = defaultdict(dict)
        for rule, _ in self._rules:
            for test in tests_of(rule.when):
                self._reading[test.fact].add(rule)
                self._thresholds[test.fact] |= dict.fromkeys(_numbers_in(test))
        self.turns_after = frozenset(self._hours_that_matter())
        """How long after a training the decision can change: at once, and at each threshold."""

    def decision(self, facts: Facts) -> Decision:
        """Decide on a part, whose facts include the day's, by the protective rules that fire."""
        return decision_of([rule for rule, holds in self._rules if holds(facts)])

    def is_open(self, facts: Facts) -> bool:
        """Tell whether no rule asks for more than to train as planned."""
        return not any(holds(facts) for _, holds in self._rules)

    def limiting(self, facts: Facts) -> Iterator[Rule]:
        """Yield the rules that fire on a part and limit how much of it may be done."""
        return (rule for rule, holds in self._limiting if holds(facts))

    def rests(self, facts: Facts) -> bool:
        """Tell whether a rule asks for rest."""
        return any(rule.verdict is Verdict.REST and holds(facts) for rule, holds in self._rules)

    def verdict_after(self, before: Decision, facts: Facts, changed: Iterable[str]) -> Verdict:
        """Decide on facts that differ from those of ``before`` in ``changed`` only: just the rules
        that read these are tried again."""
        affected = {rule for fact in changed for rule in self._reading.get(fact, ())}
        fired = [rule for rule in before.fired if rule not in affected]
        fired += [rule for rule, holds in self._rules if rule in affected and holds(facts)]
        return decision_of(fired).verdict

    def decision_after(self, decided: Decision, before: Facts, facts: Facts) -> Decision:
        """Decide on facts, given what was decided on others: just the rules that read what differs
        are tried again."""
        differ = {name for name, _ in before.items() ^ facts.items()}
        affected = {rule for name in differ for rule in self._reading.get(name, ())}
        if not affected:
            return decided
        fired = set(decided.fired)
        return decision_of(
            [
                rule
                for rule, holds in self._rules
                if (holds(facts) if rule in affected else rule in fired)
            ]
        )

    def thresholds_on(self, fact: str) -> tuple[Test, ...]:
        """List every number that a protective rule compares a fact with, as a test of its own."""
        return tuple(self._thresholds.get(fact, ()))

    def _hours_that_matter(self) -> Iterator[timedelta]:
        yield timedelta()
        for fact, definition in FactDictionary.bundled().items():
            if definition.grows:
                numbers = (test.value for test in self.thresholds_on(fact))
                yield from (timedelta(hours=value) for value in numbers if is_number(value))

    def on_day(self, day: Facts) -> WhatIf:
        """Narrow to the parts of one morning: its day rules are tried once for all of them, and
        the part rules that cannot fire on this day are left out."""
        morning = copy(self)
        morning._rules = self._that_can_fire(self._rules, day)
        morning._limiting = self._that_can_fire(self._limiting, day)
        morning.is_shut = any(holds is _always for _, holds in morning._rules)
        return morning

    def _that_can_fire(
        self, rules: Iterable[tuple[Rule, Predicate]], day: Facts
    ) -> list[tuple[Rule, Predicate]]:
        return [
            (rule, holds if rule.scope == "part" else _always)
            for rule, holds in rules
            if self._needs_of_day[rule](day)
        ]


def _needs_of_day(rule: Rule) -> Predicate:
    """Compile what a rule needs of the day's facts to fire: of a day rule all of it, of a part
    rule the tests of such facts that must hold in any case."""
    if rule.scope == "day":
        return rule.fires
    dictionary = FactDictionary.bundled()
    of_day = [test for test in needed_tests(rule.when) if dictionary[test.fact].scope == "day"]
    return predicate(all_of(*of_day)) if of_day else _always


@dataclass(frozen=True, slots=True)
class Change:
    """One fact changed from its value to another. ``to`` is the whole range that would do, as
    ``below 3``; ``value`` is the nearest value in it; ``size`` is the distance as a share of the
    fact's range; ``verdict`` is the result."""

    fact: str
    before: FactValue
    to: str
    value: FactValue
    size: float
    verdict: Verdict


@dataclass(frozen=True, slots=True)
class Changes:
    """The changes to a more permissive verdict. ``single``: for each fired protective rule and each
    more permissive verdict, the smallest change that leads to it alone, where there is one.
    ``together``: the smallest set of changes that leads further than any single one, empty where
    none does."""

    single: tuple[Change, ...] = ()
    together: tuple[Change, ...] = ()


def changes_for(
    what_if: WhatIf,
    decision: Decision,
    facts: Facts,
    dictionary: FactDictionary,
    may_change: Callable[[FactDefinition], bool] = _always,
) -> Changes:
    """Find the changes that would lead to a more permissive verdict on a part, of facts that
    ``may_change``; none where a stop rule fired."""
    protective = [rule for rule in decision.fired if rule.is_protective]
    read = [rule.reads for rule in protective]
    if any(dictionary[fact].stop for facts_read in read for fact in facts_read):
        return Changes()
    search = _Search(what_if, decision, facts, dictionary)
    candidates = {
        fact: search.candidates(fact) if may_change(dictionary[fact]) else ()
        for facts_read in read
        for fact in facts_read
    }
    smallest = (
        change
        for facts_read in read
        for change in _smallest(decision, [candidates[fact] for fact in facts_read])
    )
    single = tuple({(change.fact, change.to): change for change in smallest}.values())
    reached = min([decision.verdict, *(c.verdict for c in single)], key=lambda v: v.protection)
    return Changes(single, search.together(list(filter(None, candidates.values())), reached))


@dataclass(frozen=True, slots=True)
class Opening:
    """The earliest whole minute (``at``, UTC) at which time alone gives train-as-planned, None when
    it never does. From ``settled_at`` on, time changes nothing more."""

    at: datetime | None
    settled_at: datetime


def opening_of(
    what_if: WhatIf,
    facts_at: FactsAt,
    start: datetime,
    since: Iterable[datetime],
) -> Opening:
    """Find when a part opens that is planned for ``start`` and does not open then.

    ``facts_at`` returns the part's facts as if it started at another time; ``since`` are the times
    from which its growing facts can run: those of every known training of the muscle group.
    """
    before = facts_at(start)
    decided = what_if.decision(before)
    settled_at = start
    for moment in _moments(what_if, start, since):
        facts = facts_at(moment)
        then = what_if.decision_after(decided, before, facts)
        if then.verdict is Verdict.TRAIN:
            return Opening(moment, moment)
        if then.fired != decided.fired:
            settled_at = moment
        before, decided = facts, then
    return Opening(None, settled_at)


def _numbers_in(test: Test) -> Iterator[Test]:
    operator = Operator.IS if test.operator is Operator.IN else test.operator
    for value in filter(is_number, test.values):
        yield Test(test.fact, operator, value)


def _smallest(decision: Decision, candidates: Iterable[Sequence[Change]]) -> Iterator[Change]:
    """Yield, for each more permissive verdict, the smallest change that leads to it."""
    by_verdict: dict[Verdict, Change] = {}
    for change in sorted(chain.from_iterable(candidates), key=lambda change: change.size):
        if change.verdict.protection < decision.verdict.protection:
            by_verdict.setdefault(change.verdict, change)
    yield from by_verdict.values()


@dataclass(frozen=True, slots=True)
class _Search:
    what_if: WhatIf
    decision: Decision
    facts: Facts
    dictionary: FactDictionary

    def candidates(self, fact: str) -> tuple[Change, ...]:
        """List the fact at every less worrying value at which a rule could change."""
        definition = self.dictionary[fact]
        before = self.facts.get(fact)
        if before is None or definition.origin in ("plan", "athlete") or definition.worse == "none":
            return ()
        if isinstance(before, bool):
            worst = str(before).lower() == definition.worse
            to = str(not before).lower()
            return (self._change(fact, before, to, not before, 1.0),) if worst else ()
        if isinstance(before, str):
            return ()
        span = definition.greatest - definition.least
        return tuple(
            self._change(fact, before, to, value, abs(value - before) / span)
            for value, to in self._values_beyond(definition, before).items()
        )

    def together(
        self, candidates: Sequence[Sequence[Change]], reached: Verdict
    ) -> tuple[Change, ...]:
        """Find the smallest set of changes of different facts that leads further than ``reached``:
        fewest facts first, then the least sum of sizes."""
        for goal in (verdict for verdict in Verdict if verdict.protection < reached.protection):
            for several in self._sets_of_facts(candidates, goal):
                found = [
                    changes
                    for chosen in several
                    for changes in product(*chosen)
                    if self._verdict(changes) is goal
                ]
                if found:
                    smallest = min(found, key=lambda changes: sum(c.size for c in changes))
                    return tuple(replace(change, verdict=goal) for change in smallest)
        return ()

    def _sets_of_facts(
        self, candidates: Sequence[Sequence[Change]], goal: Verdict
    ) -> Iterator[list[Sequence[Sequence[Change]]]]:
        """Yield the sets of facts that can lead to the goal, those of fewest facts first. A fact
        without which all others fail to reach it is in each."""
        if not self._farthest_lead_to(candidates, goal):
            return
        others = [[o for o in candidates if o is not one] for one in candidates]
        dispensable = [self._farthest_lead_to(other, goal) for other in others]
        needed = [c for c, without in zip(candidates, dispensable, strict=True) if not without]
        free = [c for c, without in zip(candidates, dispensable, strict=True) if without]
        for count in range(len(free) + 1):
            sets = ([*needed, *more] for more in combinations(free, count))
            yield [chosen for chosen in sets if self._farthest_lead_to(chosen, goal)]

    def _farthest_lead_to(self, chosen: Sequence[Sequence[Change]], goal: Verdict) -> bool:
        """Tell whether the facts reach the goal when each changes as far as it can."""
        farthest = [max(changes, key=lambda change: change.size) for changes in chosen]
        return self._verdict(farthest).protection <= goal.protection

    def _verdict(self, changes: Sequence[Change]) -> Verdict:
        values = {change.fact: change.value for change in changes}
        return self.what_if.verdict_after(self.decision, {**self.facts, **values}, values)

    def _values_beyond(self, definition: FactDefinition, before: float) -> dict[float, str]:
        """Find where a test changes in the less worrying direction: the first value on the other
        side, and the range that begins with it, in words."""
        down = definition.worse == "higher"
        turns: dict[float, str] = {}
        for test in self.what_if.thresholds_on(definition.name):
            for value, to in _turns(definition, test, down):
                if definition.accepts(value) and (value < before if down else value > before):
                    turns.setdefault(value, to)
        return turns

    def _change(
        self, fact: str, before: FactValue, to: str, value: FactValue, size: float
    ) -> Change:
        facts = {**self.facts, fact: value}
        verdict = self.what_if.verdict_after(self.decision, facts, (fact,))
        return Change(fact, before, to, value, size, verdict)


def _turns(definition: FactDefinition, test: Test, down: bool) -> Iterator[tuple[float, str]]:
    """Yield where the outcome of a test changes for a fact that moves down, or up: at the
    threshold, just beyond it, or, where only one value passes, at both."""
    edge = test.value
    if isinstance(edge, str | tuple):
        return
    number = str(edge).removesuffix(".0")
    edge_is_with_those_above = test.operator in (Operator.AT_LEAST, Operator.BELOW)
    if test.operator is Operator.IS or down is not edge_is_with_those_above:
        yield edge, f"at most {number}" if down else f"at least {number}"
    if test.operator is Operator.IS or down is edge_is_with_those_above:
        yield _next(definition, edge, down), f"below {number}" if down else f"above {number}"


def _next(definition: FactDefinition, edge: float, down: bool) -> float:
    step = definition.step or (1 if definition.type == "integer" else None)
    if step is not None:
        value = edge - step if down else edge + step
        if definition.type == "integer" or definition.accepts(value):
            return value
    return math.nextafter(edge, -math.inf if down else math.inf)


def _moments(what_if: WhatIf, start: datetime, since: Iterable[datetime]) -> list[datetime]:
    """List the whole minutes after ``start`` at which the decision can change: when a threshold is
    reached, and a minute later, when it is passed."""
    oldest = start.astimezone(UTC) - max(what_if.turns_after)
    recent = [at.astimezone(UTC) for at in since if at >= oldest]
    turns = {at + after for at in recent for after in what_if.turns_after}
    met = {_whole_minute(turn) for turn in turns if turn >= start}
    return sorted(at for at in met | {at + ONE_MINUTE for at in met} if at > start)


def _whole_minute(at: datetime) -> datetime:
    """Round a time up to a whole minute."""
    return at + (datetime.min.replace(tzinfo=UTC) - at) % ONE_MINUTE
