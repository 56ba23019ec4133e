"""The decider: a compiled rule set whose decisions two evaluations must agree on.

Every decision is made by the engine (``engine.matcher``) and by ``evaluator``. If they ever differ
no advice is given. The log names the rule set and the digest of the facts; the facts themselves,
which are health data, go only to handlers that read the ``DISAGREEMENT`` attribute.
"""

from __future__ import annotations

import json
import logging
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from hashlib import sha256
from typing import TypeAlias

from dawnrule.errors import EngineDisagreement
from dawnrule.model import FactDictionary, Facts, Scope
from dawnrule.rules.engine.matcher import Matcher
from dawnrule.rules.evaluation.decision import DayDecision, day_decision, decision_of
from dawnrule.rules.evaluation.evaluator import Predicate
from dawnrule.rules.rule_set import Rule, RuleSet

DISAGREEMENT = "disagreement"
"""The attribute of a log record that holds a disagreement in full, as JSON values."""

_log = logging.getLogger("dawnrule.rules")

Fired: TypeAlias = Callable[[Scope, Facts], tuple[Rule, ...]]


@dataclass(frozen=True, slots=True)
class _Compiled:
    """The rules of one scope in the file's order, for both evaluations."""

    matcher: Matcher
    evaluator: tuple[tuple[Rule, Predicate], ...]

    @classmethod
    def of(cls, rule_set: RuleSet, dictionary: FactDictionary, scope: Scope) -> _Compiled:
        rules = rule_set.in_scope(scope)
        matcher = Matcher(rules, dictionary, scope, rule_set.file)
        return cls(matcher, tuple((rule, rule.fires) for rule in rules))


class Decider:
    """A rule set compiled for both evaluations. Safe to use from several threads.

    ``close``, or garbage collection, releases what the engine holds.
    """

    def __init__(self, rule_set: RuleSet, dictionary: FactDictionary) -> None:
        """Compile a rule set. Raises ``RuleSetInvalid`` for a rule that the engine cannot take."""
        self._rule_set = rule_set
        self._by_block = rule_set.decides_by_block(dictionary)
        self._order = {rule.id: place for place, rule in enumerate(rule_set.rules)}
        self._compiled: dict[Scope, _Compiled] = {
            "day": _Compiled.of(rule_set, dictionary, "day"),
            "part": _Compiled.of(rule_set, dictionary, "part"),
        }

    def decide(
        self, day: Facts, parts: Sequence[Facts], blocks: Sequence[int] | None = None
    ) -> DayDecision:
        """Decide on a day and its parts by both evaluations.

        ``day`` holds the facts of the day; each of ``parts`` holds them too, with its own. Rules
        that fire for the day count for every part, so that no part is less protected than the day.
        ``blocks`` names the block of each part; without it each counts as a block of its own.
        Raises ``EngineDisagreement`` or ``EngineFailure``.
        """
        return self._decide(self.fired, day, parts, blocks)

    def decide_by_evaluator(
        self, day: Facts, parts: Sequence[Facts], blocks: Sequence[int] | None = None
    ) -> DayDecision:
        """Decide by the evaluator alone: for what-if questions, never for advice.

        The facts are not validated against the dictionary.
        """
        return self._decide(self.fired_by_evaluator, day, parts, blocks)

    def fired(self, scope: Scope, facts: Facts) -> tuple[Rule, ...]:
        """List the rules of one scope that fire on one subject, in the file's order, by both
        evaluations. Raises ``EngineDisagreement`` or ``EngineFailure``."""
        by_engine = self._compiled[scope].matcher.fired(facts)
        by_evaluator = self.fired_by_evaluator(scope, facts)
        if by_engine != {rule.id for rule in by_evaluator}:
            raise self._disagreement(scope, facts, by_engine, by_evaluator)
        return by_evaluator

    def fired_by_evaluator(self, scope: Scope, facts: Facts) -> tuple[Rule, ...]:
        """List the rules of one scope that fire, by the evaluator alone."""
        return tuple([rule for rule, holds in self._compiled[scope].evaluator if holds(facts)])

    def close(self) -> None:
        """Release what the engine holds; afterwards ``decide`` and ``fired`` fail."""
        for compiled in self._compiled.values():
            compiled.matcher.close()

    def _decide(
        self, fired: Fired, day: Facts, parts: Sequence[Facts], blocks: Sequence[int] | None
    ) -> DayDecision:
        of_day = fired("day", day)
        of_parts = [self._in_order(of_day + fired("part", part)) for part in parts]
        return day_decision(
            decision_of(of_day),
            [decision_of(rules) for rules in of_parts],
            self._rule_set.rules,
            blocks if self._by_block else None,
        )

    def _in_order(self, rules: tuple[Rule, ...]) -> list[Rule]:
        return sorted(rules, key=lambda rule: self._order[rule.id])

    def _disagreement(
        self,
        scope: Scope,
        facts: Facts,
        by_engine: frozenset[str],
        by_evaluator: Sequence[Rule],
    ) -> EngineDisagreement:
        rule_set = self._rule_set
        digest = sha256(json.dumps(dict(facts), sort_keys=True).encode()).hexdigest()
        whole = {
            "rule_set": f"{rule_set.name}@{rule_set.version}",
            "rule_set_digest": rule_set.digest,
            "scope": scope,
            "engine": sorted(by_engine),
            "evaluator": sorted(rule.id for rule in by_evaluator),
            "facts": dict(facts),
            "facts_digest": digest,
        }
        _log.critical(
            "the two evaluations of %s (%s) differ on a %s; the digest of its facts is %s",
            whole["rule_set"],
            rule_set.digest,
            scope,
            digest,
            extra={DISAGREEMENT: whole},
        )
        return EngineDisagreement("The two evaluations of the rules fired different rules.")
