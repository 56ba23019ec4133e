"""What does the service say to one check-in? The straight line without the store (pure)."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Self

import rfc8785

import dawnrule
from dawnrule.advice.composer import Composer
from dawnrule.facts.derive import FactSource, MorningFacts
from dawnrule.model import Facts, FactValue
from dawnrule.model.advice import Advice, advice_to_json
from dawnrule.model.entities import Athlete, CheckIn, History
from dawnrule.model.serialization import to_json
from dawnrule.rules.evaluation.decision import DayDecision, Decision
from dawnrule.rules.registry import RuleSetLibrary
from dawnrule.rules.rule_set import RuleSet
from dawnrule.rules.serialization import name_to_json

_NO_BEARING = ("name", "language")
"""What of an athlete says nothing about how advice came to be; a record is the same without."""


@dataclass(frozen=True, slots=True)
class Morning:
    """All that one advice depends on; ``now`` is aware."""

    athlete: Athlete
    check_in: CheckIn
    history: History
    now: datetime


@dataclass(frozen=True, slots=True)
class Considered:
    """An advice together with what it was made of."""

    morning: Morning
    facts: MorningFacts
    decision: DayDecision
    advice: Advice
    rule_set: RuleSet

    def plain(self) -> dict[str, Any]:
        """The advice as plain JSON values."""
        return advice_to_json(self.advice)

    def record(self, *, decided_at: datetime, posted_by: str | None, supersedes: str | None) -> str:
        """All that is needed to give the same answer again, as canonical JSON (RFC 8785)."""
        athlete = to_json(self.morning.athlete)
        for word in _NO_BEARING:
            athlete.pop(word, None)
        record: Any = {
            "advice": self.plain(),
            "athlete": athlete,
            "came_from": [name_to_json(one) for one in self.rule_set.ancestors],
            "check_in": to_json(self.morning.check_in),
            "clock": self.morning.now.isoformat(),
            "decided_at": decided_at.isoformat(),
            "facts": {
                "day": dict(self.facts.day),
                "missing": self._missing(),
                "parts": [
                    {
                        "block": p.block,
                        "muscle_group": p.muscle_group,
                        "facts": _beyond(p.facts, self.facts.day),
                    }
                    for p in self.facts.parts
                ],
            },
            "fired": {
                "day": _ids(self.decision.day),
                "parts": [_ids(part) for part in self.decision.parts],
            },
            "posted_by": posted_by,
            "service_version": dawnrule.__version__,
            "supersedes": supersedes,
        }
        return rfc8785.dumps(record).decode("utf-8")

    def _missing(self) -> dict[str, str]:
        """Why facts from history could not be told; those of a part with its muscle group."""
        of_parts = {
            f"{fact} ({part.muscle_group})": reason
            for part in self.facts.parts
            for fact, reason in part.missing.items()
        }
        return {**self.facts.missing, **of_parts}


def _unheard(_: Considered) -> None:
    """Nobody wants to know."""


@dataclass(frozen=True, slots=True)
class Advisor:
    """Considers mornings under the rule sets of a library, in one language.

    ``stored`` is told of each advice that is being stored.
    """

    library: RuleSetLibrary
    composer: Composer
    stored: Callable[[Considered], None] = _unheard

    @classmethod
    def bundled(cls) -> Self:
        """An advisor over the rule sets and texts that ship with the service."""
        return cls(RuleSetLibrary.bundled(), Composer.bundled())

    def consider(self, morning: Morning, rule_set: RuleSet, advice_id: str) -> Considered:
        """The advice on a morning. Raises ``EngineDisagreement`` or ``EngineFailure``."""
        source = FactSource.of(morning.athlete, morning.check_in, morning.history, morning.now)
        facts = source.morning()
        decider = self.library.decider(rule_set)
        decision = decider.decide(facts.day, [part.facts for part in facts.parts])
        what_if = self.library.what_if(rule_set)
        options = self.composer.options(source, what_if, facts, decision)
        advice = self.composer.compose(
            advice_id, morning.check_in, facts, decision, options.of, rule_set
        )
        return Considered(morning, facts, decision, advice, rule_set)


def _beyond(facts: Facts, day: Facts) -> dict[str, FactValue]:
    """The facts of a part without those of its day, which the record holds once."""
    return {name: value for name, value in facts.items() if name not in day}


def _ids(decision: Decision) -> list[str]:
    return [rule.id for rule in decision.fired]
