"""What would the rules say to other facts? (pure)

Answers come from the evaluator alone: they are asked by the dozen for each advice, and what they
lead to is proved again by both evaluations in the tests.
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
from dawnrule.rules.conditions import Operator, Test, tests_of
from dawnrule.rules.evaluation.decision import Decision, decision_of
from dawnrule.rules.evaluation.evaluator import Predicate, predicate
from dawnrule.rules.rule_set import Rule, RuleSet


class WhatIf:
    """The rules of a rule set that ask for more than to train as planned, ready to be asked many
    times."""

    def __init__(self, rule_set: RuleSet) -> None:
        self._rules: list[tuple[Rule, Predicate]] = [
            (rule, predicate(rule.when)) for rule in rule_set.rules if rule.is_protective
        ]
        self._reading: dict[str, set[Rule]] = defaultdict(set)
        self._thresholds: dict[str, dict[Test, None]] = defaultdict(dict)
        for rule, _ in self._rules:
            for test in tests_of(rule.when):
                self._reading[test.fact].add(rule)
                self._thresholds[test.fact] |= dict.fromkeys(_numbers_in(test))

    def decision(self, facts: Facts) -> Decision:
        """The verdict on a part, whose facts hold the day's, by the protective rules that fire."""
        return decision_of([rule for rule, holds in self._rules if holds(facts)])

    def is_open(self, facts: Facts) -> bool:
        """Whether no rule asks for more than to train as planned."""
        return not any(holds(facts) for _, holds in self._rules)

    def rests(self, facts: Facts) -> bool:
        """Whether a rule asks for rest."""
        return any(rule.verdict is Verdict.REST and holds(facts) for rule, holds in self._rules)

    def verdict_after(self, before: Decision, facts: Facts, changed: Iterable[str]) -> Verdict:
        """The verdict on facts of which only ``changed`` differ from those that ``before`` was
        decided on: only the rules that read these are asked again."""
        asked = {rule for fact in changed for rule in self._reading.get(fact, ())}
        fired = [rule for rule in before.fired if rule not in asked]
        fired += [rule for rule, holds in self._rules if rule in asked and holds(facts)]
        return decision_of(fired).verdict

    def thresholds_on(self, fact: str) -> tuple[Test, ...]:
        """Every number that a protective rule compares a fact with, as a test of its own."""
        return tuple(self._thresholds.get(fact, ()))

    def on_day(self, day: Facts) -> WhatIf:
        """The same for parts of one morning, whose day rules are asked once for all of them."""
        morning = copy(self)
        morning._rules = [
            (rule, holds if rule.scope == "part" else _always)
            for rule, holds in self._rules
            if rule.scope == "part" or holds(day)
        ]
        return morning


def _numbers_in(test: Test) -> Iterator[Test]:
    operator = Operator.IS if test.operator is Operator.IN else test.operator
    for value in filter(is_number, test.values):
        yield Test(test.fact, operator, value)


def _always(_: Facts) -> bool:
    return True


ONE_MINUTE = timedelta(minutes=1)
"""The clock's step: answers are whole minutes."""

FactsAt = Callable[[datetime], Facts]


@dataclass(frozen=True, slots=True)
class Opening:
    """``at`` (UTC) is the earliest whole minute at which time alone gives train-as-planned, None
    when it never does. From ``settled_at`` on, time changes nothing more."""

    at: datetime | None
    settled_at: datetime


def opening_of(
    what_if: WhatIf,
    facts_at: FactsAt,
    start: datetime,
    since: Iterable[datetime],
    dictionary: FactDictionary,
) -> Opening:
    """When a part opens that is planned for ``start`` and does not open then.

    ``facts_at`` gives the part's facts as if it started at another time; ``since`` are the times
    from which its growing facts can run: those of every known training of the muscle group.
    """
    fired = what_if.decision(facts_at(start)).fired
    settled_at = start
    for moment in _moments(what_if, start, since, dictionary):
        then = what_if.decision(facts_at(moment))
        if then.verdict is Verdict.TRAIN:
            return Opening(moment, moment)
        if then.fired != fired:
            fired, settled_at = then.fired, moment
    return Opening(None, settled_at)


def _moments(
    what_if: WhatIf, start: datetime, since: Iterable[datetime], dictionary: FactDictionary
) -> list[datetime]:
    """The whole minutes after ``start`` at which an answer can turn: a threshold may have to be
    met, or be passed, which it is a minute later."""
    edges = set(_edges(what_if, dictionary))
    oldest = start.astimezone(UTC) - max(edges)
    recent = [at.astimezone(UTC) for at in since if at >= oldest]
    turns = {at + edge for at in recent for edge in edges}
    met = {_whole_minute(turn) for turn in turns if turn >= start}
    return sorted(at for at in met | {at + ONE_MINUTE for at in met} if at > start)


def _edges(what_if: WhatIf, dictionary: FactDictionary) -> Iterator[timedelta]:
    """How long after a training an answer can turn: at once, and at each threshold."""
    yield timedelta()
    for fact, definition in dictionary.items():
        if definition.grows:
            for test in what_if.thresholds_on(fact):
                if is_number(test.value):
                    yield timedelta(hours=test.value)


def _whole_minute(at: datetime) -> datetime:
    """The first whole minute that is not before a time."""
    return at + (datetime.min.replace(tzinfo=UTC) - at) % ONE_MINUTE


@dataclass(frozen=True, slots=True)
class Change:
    """One fact from its value to another. ``to`` says the whole range that would do, as
    ``below 3``; ``value`` is the value in it that is nearest; ``size`` is the distance as a share
    of the fact's range; ``verdict`` is what it leads to."""

    fact: str
    before: FactValue
    to: str
    value: FactValue
    size: float
    verdict: Verdict


@dataclass(frozen=True, slots=True)
class Changes:
    """``single``: for each fired protective rule and each more permissive verdict, the smallest
    change that by itself leads to it, where there is one. ``together``: the smallest set of
    changes that leads further than any single one, empty where none does."""

    single: tuple[Change, ...] = ()
    together: tuple[Change, ...] = ()


def changes_for(
    what_if: WhatIf, decision: Decision, facts: Facts, dictionary: FactDictionary
) -> Changes:
    """The changes that would lead to a more permissive verdict on a part."""
    protective = [rule for rule in decision.fired if rule.is_protective]
    read = [rule.reads for rule in protective]
    if any(dictionary[fact].stop for facts_read in read for fact in facts_read):
        return Changes()
    search = _Search(what_if, decision, facts, dictionary)
    candidates = {f: search.candidates(f) for facts_read in read for f in facts_read}
    smallest = (
        change
        for facts_read in read
        for change in _smallest(decision, [candidates[fact] for fact in facts_read])
    )
    single = tuple({(change.fact, change.to): change for change in smallest}.values())
    reached = min([decision.verdict, *(c.verdict for c in single)], key=lambda v: v.protection)
    return Changes(single, search.together(list(filter(None, candidates.values())), reached))


def _smallest(decision: Decision, candidates: Iterable[Sequence[Change]]) -> Iterator[Change]:
    """For each more permissive verdict the smallest change that leads to it."""
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
        """The fact at every value, in the direction that is less worrying, at which a rule could
        come to another answer."""
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
        """The smallest set of changes of different facts that leads further than ``reached``:
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
        """The sets of facts that can lead to the goal, those of fewest facts first. A fact without
        which all others do not lead there is in each."""
        if not self._farthest_lead_to(candidates, goal):
            return
        others = [[o for o in candidates if o is not one] for one in candidates]
        can_do_without = [self._farthest_lead_to(other, goal) for other in others]
        needed = [c for c, without in zip(candidates, can_do_without, strict=True) if not without]
        free = [c for c, without in zip(candidates, can_do_without, strict=True) if without]
        for count in range(len(free) + 1):
            sets = ([*needed, *more] for more in combinations(free, count))
            yield [chosen for chosen in sets if self._farthest_lead_to(chosen, goal)]

    def _farthest_lead_to(self, chosen: Sequence[Sequence[Change]], goal: Verdict) -> bool:
        """Whether the facts lead to the goal at all when each goes as far as it can."""
        farthest = [max(changes, key=lambda change: change.size) for changes in chosen]
        return self._verdict(farthest).protection <= goal.protection

    def _verdict(self, changes: Sequence[Change]) -> Verdict:
        values = {change.fact: change.value for change in changes}
        return self.what_if.verdict_after(self.decision, {**self.facts, **values}, values)

    def _values_beyond(self, definition: FactDefinition, before: float) -> dict[float, str]:
        """Where a test turns in the less worrying direction: the first value on the other side,
        and the range that begins with it in words."""
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
    """Where the outcome of a test turns for a fact that moves down, or up: at the threshold, just
    beyond it, or, where only one value passes, at both."""
    edge = test.value
    if isinstance(edge, str | tuple):
        return
    said = str(edge).removesuffix(".0")
    edge_is_with_those_above = test.operator in (Operator.AT_LEAST, Operator.BELOW)
    if test.operator is Operator.IS or down is not edge_is_with_those_above:
        yield edge, f"at most {said}" if down else f"at least {said}"
    if test.operator is Operator.IS or down is edge_is_with_those_above:
        yield _next(definition, edge, down), f"below {said}" if down else f"above {said}"


def _next(definition: FactDefinition, edge: float, down: bool) -> float:
    step = definition.step or (1 if definition.type == "integer" else None)
    if step is not None:
        return edge - step if down else edge + step
    return math.nextafter(edge, -math.inf if down else math.inf)
