"""The solver: existence questions over every possible morning; the only module that imports z3.

A fact is either not reported or has one of finitely many representative values (``partition``), so
each question is finite and "there is none" is a proof. The outcome of a test on a value comes from
the evaluator, so that solver and evaluator cannot diverge.

In the solver a fact is one flag for "reported" and a row of flags "has at least the second value",
"at least the third" and so on; a test is then a combination of a few flags, and "worse" is one flag
implying another.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from itertools import groupby, pairwise
from typing import Any, TypeAlias

import z3

from dawnrule.errors import NotProved
from dawnrule.model import FactDictionary, Facts, FactValue
from dawnrule.rules.analysis.partition import representative_values
from dawnrule.rules.conditions import Condition, Group, GroupKind, Signal, Test
from dawnrule.rules.evaluation.evaluator import predicate

Formula: TypeAlias = Any
"""A statement about unknown mornings; z3 has no types."""

WORK_LIMIT = 20_000_000
"""The limit of the work on one question, in the solver's own unit, so that the same question always
gets the same answer: some seconds, a minute at worst. The hardest question met in generated sets of
300 rules takes a quarter of it, those of the baseline hardly any."""


@dataclass(frozen=True, slots=True)
class Unknown:
    """A morning to be found: for each fact whether it was reported, and its value as flags.

    ``formulas`` caches the formula of each condition.
    """

    reported: Mapping[str, Formula]
    at_least: Mapping[str, Sequence[Formula]]
    formulas: dict[Condition, Formula] = field(default_factory=dict)


class Solver:
    """Questions about mornings, as far as some conditions can tell them apart. For one thread."""

    def __init__(self, conditions: Iterable[Condition], dictionary: FactDictionary) -> None:
        self._dictionary = dictionary
        self._values = representative_values(conditions, dictionary)
        self._context = z3.Context()
        self._solver = z3.SolverFor("QF_FD", ctx=self._context)
        self._solver.set("rlimit", WORK_LIMIT)
        self._names = 0

    def unknown(self) -> Unknown:
        """Create a morning about which nothing is known yet."""
        return self._unknown({fact: self._flag() for fact in self._values})

    def worse(self, than: Unknown) -> Unknown:
        """Create a morning on which the same facts are reported, each the same or worse; equal
        where the dictionary knows no worse direction."""
        other = self._unknown(than.reported)
        for fact in self._values:
            worse = self._dictionary[fact].worse
            for here, there in zip(than.at_least[fact], other.at_least[fact], strict=True):
                if worse in ("higher", "later", "true"):
                    self._solver.add(z3.Implies(here, there))
                elif worse in ("lower", "false"):
                    self._solver.add(z3.Implies(there, here))
                else:
                    self._solver.add(here == there)
        return other

    def without(self, other: Unknown, facts: Collection[str]) -> Unknown:
        """Copy a morning without the reports of some facts."""
        never = self._constant(False)
        reported = {fact: never if fact in facts else flag for fact, flag in other.reported.items()}
        return Unknown(reported, other.at_least)

    def holds(self, condition: Condition, on: Unknown) -> Formula:
        """State that a condition holds on a morning."""
        if condition not in on.formulas:
            on.formulas[condition] = self._formula(condition, on)
        return on.formulas[condition]

    def every(self, formulas: Iterable[Formula]) -> Formula:
        """State that all of the statements hold."""
        return z3.And(list(formulas), self._context)

    def either(self, formulas: Iterable[Formula]) -> Formula:
        """State that at least one of the statements holds."""
        return z3.Or(list(formulas), self._context)

    def negation(self, formula: Formula) -> Formula:
        """State that a statement does not hold."""
        return z3.Not(formula, self._context)

    def possible(self, *formulas: Formula) -> bool:
        """Tell whether all statements can hold at once. Raises ``NotProved``."""
        with self._scratch():
            self._solver.add(*formulas)
            return self._check()

    def smallest(self, mornings: Sequence[Unknown], *formulas: Formula) -> tuple[Facts, ...] | None:
        """Find mornings on which all statements hold, with the fewest facts reported and, of these,
        the least apart; None when there are none. Several must be ``worse`` than each other, so
        that the same facts are reported. Raises ``NotProved``."""
        with self._scratch():
            self._solver.add(*formulas)
            if not self._check():
                return None
            self._keep_fewest([*mornings[0].reported.values()])
            for apart in self._apart(mornings):
                self._keep_fewest(apart)
            model = self._solver.model()
            return tuple(self._facts(model, one) for one in mornings)

    def conflict(self, among: Mapping[str, Formula], *formulas: Formula) -> tuple[str, ...] | None:
        """Find as few as needed of the named statements that cannot all hold with the others, by
        name and in the order given; None when all can hold. Raises ``NotProved``."""
        with self._scratch():
            self._solver.add(*formulas)
            flags = {name: self._flag() for name in among}
            self._solver.add(*(z3.Implies(flags[name], among[name]) for name in among))
            if self._check(*flags.values()):
                return None
            core = {str(flag) for flag in self._solver.unsat_core()}
            needed = [name for name in among if str(flags[name]) in core]
            for name in tuple(needed):
                without = [flags[other] for other in needed if other != name]
                if not self._check(*without):
                    needed.remove(name)
            return tuple(needed)

    def _unknown(self, reported: Mapping[str, Formula]) -> Unknown:
        at_least = {f: [self._flag() for _ in values[1:]] for f, values in self._values.items()}
        for flags in at_least.values():
            self._solver.add(*(z3.Implies(higher, lower) for lower, higher in pairwise(flags)))
        return Unknown(reported, at_least)

    def _flag(self) -> Formula:
        self._names += 1
        return z3.Bool(f"f{self._names}", self._context)

    def _constant(self, value: bool) -> Formula:
        return z3.BoolVal(value, self._context)

    def _formula(self, condition: Condition, on: Unknown) -> Formula:
        match condition:
            case Test():
                return self._test(condition, on)
            case Signal(condition=inner):
                return self.holds(inner, on)
            case Group(conditions=conditions):
                return self._group(condition, [self.holds(inner, on) for inner in conditions])

    def _group(self, group: Group, several: Sequence[Formula]) -> Formula:
        match group.kind:
            case GroupKind.ALL:
                return self.every(several)
            case GroupKind.ANY:
                return self.either(several)
            case GroupKind.NONE:
                return self.negation(self.either(several))
            case GroupKind.AT_LEAST:
                return z3.AtLeast(*several, group.needed)

    def _test(self, test: Test, on: Unknown) -> Formula:
        holds = predicate(test)
        values = self._values[test.fact]
        reported = on.reported[test.fact]
        on_value = self.either(self._ranges([holds({test.fact: v}) for v in values], test.fact, on))
        if holds({}):
            return z3.Or(z3.Not(reported), on_value)
        return z3.And(reported, on_value)

    def _ranges(self, holds: Sequence[bool], fact: str, on: Unknown) -> Iterator[Formula]:
        """Yield, for each run of values on which a test holds, that the value is in it."""
        at_least = [self._constant(True), *on.at_least[fact], self._constant(False)]
        for outcome, run in groupby(range(len(holds)), key=holds.__getitem__):
            if outcome:
                places = list(run)
                yield z3.And(at_least[places[0]], z3.Not(at_least[places[-1] + 1]))

    def _apart(self, mornings: Sequence[Unknown]) -> Iterator[list[Formula]]:
        """Yield in which facts mornings differ, and then by how many values."""
        for one, other in pairwise(mornings):
            rows = [
                [z3.Xor(a, b) for a, b in zip(one.at_least[f], other.at_least[f], strict=True)]
                for f in self._values
            ]
            yield [self.either(row) for row in rows]
            yield [apart for row in rows for apart in row]

    def _keep_fewest(self, formulas: Sequence[Formula]) -> None:
        """Require from now on that as few of these hold as possible."""
        for count in range(len(formulas)):
            few = self._flag()
            self._solver.add(z3.Implies(few, z3.AtMost(*formulas, count)))
            if self._check(few):
                self._solver.add(few)
                break
        self._check()

    def _facts(self, model: Any, morning: Unknown) -> Facts:
        facts: dict[str, FactValue] = {}
        for fact, values in self._values.items():
            if _is_set(model, morning.reported[fact]):
                flags = morning.at_least[fact]
                facts[fact] = values[sum(_is_set(model, flag) for flag in flags)]
        return facts

    def _check(self, *assumed: Formula) -> bool:
        outcome = self._solver.check(*assumed)
        if outcome == z3.unknown:
            raise NotProved(f"The solver gave up: {self._solver.reason_unknown()}.")
        return bool(outcome == z3.sat)

    @contextmanager
    def _scratch(self) -> Iterator[None]:
        """Forget afterwards what is added to the solver meanwhile."""
        self._solver.push()
        try:
            yield
        finally:
            self._solver.pop()


def _is_set(model: Any, flag: Formula) -> bool:
    return bool(z3.is_true(model.eval(flag, model_completion=True)))
