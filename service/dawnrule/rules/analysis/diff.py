"""The difference of two rule sets: rule by rule, and in the verdicts that they can give."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import permutations
from typing import TYPE_CHECKING, Any

from dawnrule.errors import EngineDisagreement
from dawnrule.model import FactDictionary, Facts, Scope, Verdict
from dawnrule.rules.evaluation.decision import Decision, decision_of
from dawnrule.rules.rule_set import SCOPES, Rule, RuleSet
from dawnrule.rules.serialization import in_flow, rule_to_json, signals_to_json

if TYPE_CHECKING:
    from dawnrule.rules.analysis.solver import Formula

_WHEN = "when"
_SIGNAL = "signal "


@dataclass(frozen=True, slots=True)
class FieldChange:
    """One field of a rule, as JSON values, before and after."""

    field: str
    before: Any
    after: Any


@dataclass(frozen=True, slots=True)
class RuleChange:
    """The fields in which a rule of both sets differs."""

    rule: str
    fields: tuple[FieldChange, ...]


@dataclass(frozen=True, slots=True)
class VerdictChange:
    """One way in which verdicts can change. ``facts`` are the smallest example, with the deciding
    rules before and after (None: nothing asks for more than to train as planned); ``facts`` is None
    when it is proved that no morning's verdict changes so."""

    scope: Scope
    before: Verdict
    after: Verdict
    facts: Facts | None = None
    rule_before: str | None = None
    rule_after: str | None = None


@dataclass(frozen=True, slots=True)
class Difference:
    """The difference of a rule set from an earlier one.

    ``moved`` are rules whose place in the order of decision changed among the rules of both sets;
    ``verdicts`` has one entry for each scope and each way in which a verdict can change.
    """

    added: tuple[str, ...]
    removed: tuple[str, ...]
    changed: tuple[RuleChange, ...]
    moved: tuple[str, ...]
    verdicts: tuple[VerdictChange, ...]


def diff(before: RuleSet, after: RuleSet, dictionary: FactDictionary) -> Difference:
    """Compare ``after`` with ``before``. Raises ``NotProved``."""
    old = {rule.id: rule for rule in before.rules}
    new = {rule.id: rule for rule in after.rules}
    both = [(old[name], new[name]) for name in old if name in new]
    changes = (RuleChange(one.id, tuple(_fields(one, other))) for one, other in both)
    return Difference(
        added=tuple(name for name in new if name not in old),
        removed=tuple(name for name in old if name not in new),
        changed=tuple(change for change in changes if change.fields),
        moved=_moved([name for name in old if name in new], [name for name in new if name in old]),
        verdicts=tuple(_VerdictChanges(before, after, dictionary).all()),
    )


def lines_only_in(field: str, value: Any, other: Any) -> tuple[str, ...]:
    """Write what one value of a field has and the other lacks, a line each: items of a list, values
    of an object. A condition stays whole, as its parts mean nothing alone."""
    if isinstance(value, list) and isinstance(other, list):
        return tuple(in_flow(item) for item in value if item not in other)
    if isinstance(value, Mapping) and isinstance(other, Mapping) and not is_condition(field):
        return tuple(in_flow(one) for name, one in value.items() if one != other.get(name))
    return (in_flow(value),)


def is_condition(field: str) -> bool:
    """Tell whether a changed field holds a condition: the rule's own, or that of a signal."""
    return field == _WHEN or field.startswith(_SIGNAL)


def _fields(before: Rule, after: Rule) -> Iterator[FieldChange]:
    """Yield the fields that differ, and the signals of one name whose conditions differ."""
    old, new = rule_to_json(before), rule_to_json(after)
    for name in dict.fromkeys((*old, *new)):
        if old.get(name) != new.get(name):
            yield FieldChange(name, old.get(name), new.get(name))
    old, new = signals_to_json([before]), signals_to_json([after])
    for name in old:
        if name in new and old[name] != new[name]:
            yield FieldChange(f"{_SIGNAL}{name}", old[name], new[name])


def _moved(before: Sequence[str], after: Sequence[str]) -> tuple[str, ...]:
    """Find the fewest rules that explain the new order: those outside the longest order kept."""
    place = {name: number for number, name in enumerate(before)}
    longest: list[tuple[str, ...]] = []
    for name in after:
        kept = [one for one in longest if place[one[-1]] < place[name]]
        longest.append((*max(kept, key=len, default=()), name))
    stayed = max(longest, key=len, default=())
    return tuple(name for name in after if name not in stayed)


def _decided(rules: Sequence[Rule], facts: Facts) -> Decision:
    return decision_of([rule for rule in rules if rule.fires(facts)])


class _VerdictChanges:
    """Questions to the solver, one for each way in which a verdict can change."""

    def __init__(self, before: RuleSet, after: RuleSet, dictionary: FactDictionary) -> None:
        # The solver is large, and only a comparison needs it.
        from dawnrule.rules.analysis.solver import Solver

        self._before = before
        self._after = after
        rules = (*before.rules, *after.rules)
        self._solver = Solver((rule.when for rule in rules), dictionary)
        self._morning = self._solver.unknown()

    def all(self) -> Iterator[VerdictChange]:
        for scope in SCOPES:
            for before, after in permutations(Verdict, 2):
                yield self._change(scope, before, after)

    def _change(self, scope: Scope, before: Verdict, after: Verdict) -> VerdictChange:
        old, new = self._before.counting_for(scope), self._after.counting_for(scope)
        found = self._solver.smallest(
            [self._morning], self._has(old, before), self._has(new, after)
        )
        if found is None:
            return VerdictChange(scope, before, after)
        one, other = (_decided(rules, found[0]) for rules in (old, new))
        if (one.verdict, other.verdict) != (before, after):
            raise EngineDisagreement(f"The solver and the evaluator differ on {found[0]!r}.")
        ids = (decision.deciding.id if decision.deciding else None for decision in (one, other))
        return VerdictChange(scope, before, after, found[0], *ids)

    def _has(self, rules: Sequence[Rule], verdict: Verdict) -> Formula:
        """State that the rules give exactly this verdict."""
        fire = {v: self._fires([rule for rule in rules if rule.verdict is v]) for v in Verdict}
        higher = [fire[v] for v in Verdict if v.protection > verdict.protection]
        none_higher = self._solver.negation(self._solver.either(higher))
        if verdict is Verdict.TRAIN:
            return none_higher
        return self._solver.every([none_higher, fire[verdict]])

    def _fires(self, rules: Sequence[Rule]) -> Formula:
        return self._solver.either(self._solver.holds(rule.when, self._morning) for rule in rules)
