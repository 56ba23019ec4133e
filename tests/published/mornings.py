"""Decisions of a baseline version on one morning, with or without days before it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, timedelta
from functools import cached_property
from itertools import zip_longest
from typing import Any

from dawnrule.facts.derive import MorningFacts, derive_facts
from dawnrule.model import SECOND_EDITION, FactDictionary, Facts, Verdict, Vocabulary
from dawnrule.model.entities import Athlete, Block, CheckIn, History, LastTrained, Session, Sleep
from dawnrule.rules.counterfactuals import WhatIf
from dawnrule.rules.evaluation.decider import Decider
from dawnrule.rules.rule_set import Rule, RuleSet
from dawnrule.rules.staged_returns import BundledReturns

WORDS = Vocabulary.bundled()
MORNING = datetime(2026, 3, 9, 6, 40, tzinfo=UTC)
EVENING = datetime(2026, 3, 9, 18, 0, tzinfo=UTC)
"""When the planned training starts; hours since training run to it."""

NO_HISTORY = History()
ADULT = Athlete("a-01", "Ada", "Etc/UTC", date_of_birth=date(1996, 3, 9))
LAST_WEEK_HOURS = 168
BEST_NIGHT = Sleep(hours=9.0, quality=5)


@dataclass(frozen=True)
class Baseline:
    """One version of the baseline rule set and its compiled form."""

    rule_set: RuleSet
    decider: Decider

    @property
    def is_second_edition(self) -> bool:
        """Whether a day off stays one and easy work is never swapped (both are told as notes), an
        hour is granted, and cautions name no modality: 2.0.0 and later."""
        return self.rule_set.edition(FactDictionary.bundled()) >= SECOND_EDITION

    def facts(
        self, check_in: CheckIn, athlete: Athlete = ADULT, history: History = NO_HISTORY
    ) -> MorningFacts:
        """The facts of a check-in that this version knows."""
        edition = self.rule_set.edition(FactDictionary.bundled())
        return derive_facts(athlete, check_in, history, MORNING, edition, BundledReturns())

    def decide(
        self, check_in: CheckIn, athlete: Athlete = ADULT, history: History = NO_HISTORY
    ) -> Decided:
        """The decision on a check-in, by both evaluations."""
        return self.decide_on(self.facts(check_in, athlete, history))

    def decide_on(self, facts: MorningFacts) -> Decided:
        """The decision on a morning's facts, by both evaluations."""
        decision = self.decider.decide(facts.day, [part.facts for part in facts.parts])
        return Decided(
            verdict=decision.verdict,
            rule=decision.deciding,
            parts=tuple(part.verdict for part in decision.parts),
            fired=frozenset(
                rule.id for subject in (decision.day, *decision.parts) for rule in subject.fired
            ),
        )

    def protection(self, facts: Facts) -> int:
        """The protection of a part, whose facts include the day's, by the evaluator alone: sweeps
        over thousands of mornings are quick, and that both evaluations agree is tested."""
        return self.what_if.decision(facts).verdict.protection

    @cached_property
    def what_if(self) -> WhatIf:
        """The rules that protect, compiled to be tried on many facts."""
        return WhatIf(self.rule_set)

    def rule(self, rule_id: str) -> Rule:
        """A rule by its id."""
        return next(rule for rule in self.rule_set.rules if rule.id == rule_id)


@dataclass(frozen=True, slots=True)
class Decided:
    """The verdict on a day and on each part, the deciding rule, and the ids of all that fired."""

    verdict: Verdict
    rule: Rule | None
    parts: tuple[Verdict, ...]
    fired: frozenset[str]

    @property
    def rule_id(self) -> str | None:
        """The id of the deciding rule, None when no rule protects."""
        return self.rule.id if self.rule else None


def planned(goal: str, *muscle_groups: str, **more: Any) -> Block:
    """A block of this evening."""
    return Block(goal, muscle_groups, starts_at=EVENING, **more)


def check_in(*plan: Block, **reported: Any) -> CheckIn:
    """This morning's check-in; what is not named was not reported."""
    return CheckIn(ADULT.id, MORNING.date(), plan, reported_at=MORNING, **reported)


def trained(hours: float, goal: str, muscle_groups: Iterable[str]) -> Mapping[str, LastTrained]:
    """Muscle groups last trained so many hours before this evening."""
    return {g: LastTrained(EVENING - timedelta(hours=hours), goal) for g in muscle_groups}


def athlete_aged(years: int) -> Athlete:
    """Someone whose birthday is this morning."""
    return replace(ADULT, date_of_birth=MORNING.date().replace(year=MORNING.year - years))


def mornings_before(
    *,
    sleep_hours: Sequence[float | None] = (),
    resting_hr_bpm: Sequence[int | None] = (),
    hrv_rmssd_ms: Sequence[float | None] = (),
) -> tuple[CheckIn, ...]:
    """The check-ins of the mornings before, the latest first; None was not reported."""
    told = zip_longest(sleep_hours, resting_hr_bpm, hrv_rmssd_ms)
    return tuple(
        CheckIn(
            ADULT.id,
            MORNING.date() - timedelta(days=days_ago),
            plan=(),
            sleep=Sleep(hours),
            resting_hr_bpm=bpm,
            hrv_rmssd_ms=rmssd,
        )
        for days_ago, (hours, bpm, rmssd) in enumerate(told, start=1)
    )


def session(days_ago: int, minutes: float, rpe: float | None, hour: int = 18) -> Session:
    """A session of easy cycling so many days ago, which loads and holds back nothing else."""
    at = (MORNING - timedelta(days=days_ago)).replace(hour=hour, minute=0)
    return Session(ADULT.id, at, minutes, (Block("steady-endurance", modality="cycling"),), rpe)


def facts_after(*sessions: Session) -> MorningFacts:
    """The facts of this morning, with a day off planned, after some training."""
    return derive_facts(ADULT, check_in(), History(sessions=sessions), MORNING)


def everything_at_its_best() -> dict[str, Any]:
    """All that a check-in can report, at its best: nothing is left out."""
    return {
        "sleep": BEST_NIGHT,
        "soreness": dict.fromkeys(WORDS.muscle_groups, 0),
        "last_trained": trained(LAST_WEEK_HOURS, "hypertrophy", WORDS.muscle_groups),
        "fatigue": 0,
        "stress": 0,
        "pain": (),
        "illness": "none",
        "warning_signs": (),
    }


def one_block_of_each_goal() -> tuple[Block, ...]:
    """A plan for the quadriceps with every goal there is."""
    return tuple(planned(goal, "quadriceps") for goal in WORDS.goals)
