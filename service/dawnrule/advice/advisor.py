"""The pipeline from a check-in to its advice, without the store (pure)."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from typing import Self

import dawnrule
from dawnrule.advice.composer import Composer
from dawnrule.facts.derive import FactSource, MorningFacts
from dawnrule.model import Facts, FactValue
from dawnrule.model.advice import Advice, RuleSetName
from dawnrule.model.entities import Athlete, CheckIn, History
from dawnrule.model.record import (
    FiredRules,
    Record,
    RecordedConcern,
    RecordedFacts,
    RecordedPart,
)
from dawnrule.rules.evaluation.decision import DayDecision, Decision
from dawnrule.rules.registry import RuleSetLibrary
from dawnrule.rules.rule_set import RuleSet
from dawnrule.rules.staged_returns import BundledReturns


@dataclass(frozen=True, slots=True)
class Morning:
    """Everything that one advice depends on; ``now`` is aware."""

    athlete: Athlete
    check_in: CheckIn
    history: History
    now: datetime


@dataclass(frozen=True, slots=True)
class AdvisedMorning:
    """An advice with everything it was made of."""

    morning: Morning
    facts: MorningFacts
    decision: DayDecision
    advice: Advice
    rule_set: RuleSet

    def record(
        self, *, decided_at: datetime, posted_by: str | None, supersedes: str | None
    ) -> Record:
        """Record everything needed to give the same answer again."""
        return Record(
            advice=self.advice,
            athlete=self.morning.athlete.without_identity(),
            came_from=tuple(map(RuleSetName.of, self.rule_set.ancestors)),
            check_in=self.morning.check_in,
            clock=self.morning.now,
            decided_at=decided_at,
            facts=self.recorded_facts(),
            fired=FiredRules(
                day=_ids(self.decision.day), parts=tuple(map(_ids, self.decision.parts))
            ),
            posted_by=posted_by,
            service_version=dawnrule.__version__,
            supersedes=supersedes,
            concerns=tuple(map(RecordedConcern.of, self.morning.history.concerns)),
        )

    def recorded_facts(self) -> RecordedFacts:
        """The facts in the form of the record."""
        day = self.facts.day
        parts = (
            RecordedPart(part.block, part.muscle_group, _beyond(part.facts, day))
            for part in self.facts.parts
        )
        return RecordedFacts(day=day, missing=self._missing(), parts=tuple(parts))

    def _missing(self) -> dict[str, str]:
        """Name why facts from history could not be derived; a part's with its muscle group."""
        of_parts = {
            f"{fact} ({part.muscle_group})": reason
            for part in self.facts.parts
            for fact, reason in part.missing.items()
        }
        return {**self.facts.missing, **of_parts}


def _ignore(_: AdvisedMorning) -> None:
    """Ignore stored advice."""


@dataclass(frozen=True, slots=True)
class Advisor:
    """Advice on mornings under the rule sets of a library, in one language.

    ``stored`` is called with each advice that is being stored.
    """

    library: RuleSetLibrary
    composer: Composer
    stored: Callable[[AdvisedMorning], None] = _ignore

    @classmethod
    def bundled(cls) -> Self:
        """An advisor over the rule sets and texts that ship with the service."""
        return cls(RuleSetLibrary.bundled(), Composer.of_records())

    def consider(
        self, morning: Morning, rule_set: RuleSet, advice_id: str | None
    ) -> AdvisedMorning:
        """Decide a morning and compose its advice.

        Raises ``EngineDisagreement`` or ``EngineFailure``.
        """
        what_if = self.library.what_if(rule_set)
        source = FactSource.of(
            morning.athlete,
            morning.check_in,
            morning.history,
            morning.now,
            what_if.edition,
            BundledReturns(),
        )
        facts = source.morning()
        decider = self.library.decider(rule_set)
        decision = decider.decide(facts.day, [part.facts for part in facts.parts], facts.blocks)
        today = what_if.on_day(facts.day)
        options = self.composer.options(source, what_if, today, facts, decision)
        sessions = self.composer.sessions(source, what_if, today, facts, decision)
        advice = self.composer.compose(
            advice_id,
            morning.check_in,
            facts,
            decision,
            options.of,
            sessions.instead_of,
            rule_set,
            morning.history.given_notes,
        )
        return AdvisedMorning(morning, facts, decision, advice, rule_set)


def _beyond(facts: Facts, day: Facts) -> dict[str, FactValue]:
    """Leave out the day's facts, which the record holds once."""
    return {name: value for name, value in facts.items() if name not in day}


def _ids(decision: Decision) -> tuple[str, ...]:
    return tuple(rule.id for rule in decision.fired)
