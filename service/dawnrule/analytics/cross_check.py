"""Cross-check of the column decider against the engine, over stored mornings.

Replays rely on their agreement; it can be checked on any database and rule set.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from dawnrule.analytics.archive import Progress, ignore_progress
from dawnrule.analytics.replay import dates_in_steps
from dawnrule.model import Verdict
from dawnrule.rules import columnar
from dawnrule.rules.columnar import DecidedSubject, PastMorning
from dawnrule.rules.evaluation.decider import Decider
from dawnrule.rules.evaluation.decision import DayDecision
from dawnrule.rules.rule_set import Rule, RuleSet


@dataclass(frozen=True, slots=True)
class Difference:
    """A morning on which the two differ: each one's decisions on the day and then its parts."""

    athlete_id: str
    date: date
    by_engine: tuple[DecidedSubject, ...]
    by_columns: tuple[DecidedSubject, ...]


@dataclass(frozen=True, slots=True)
class Agreement:
    """The number of mornings and decisions compared, and the differences."""

    mornings: int
    decisions: int
    differences: tuple[Difference, ...]


def compare(
    table: columnar.MorningTable,
    rule_set: RuleSet,
    decider: Decider,
    progress: Progress = ignore_progress,
) -> Agreement:
    """Decide a table's mornings by columns and by both evaluations of ``decider``, which has the
    same rule set; compare verdicts, deciding rules, and all rules that fired.

    Raises ``EngineDisagreement`` or ``EngineFailure``.
    """
    columns = columnar.ColumnDecider(rule_set, table.dictionary)
    steps = list(dates_in_steps(table))
    of = sum(dates.mornings for dates in steps)
    mornings, decisions, differences = 0, 0, list[Difference]()
    for dates in steps:
        some = table.between(dates.first, dates.last)
        decided = columns.decide(some).mornings()
        for past, by_columns in zip(some.mornings(), decided, strict=True):
            by_engine = decided_by_engine(decider, past)
            decisions += len(by_engine)
            if by_engine != by_columns:
                differences.append(Difference(past.athlete_id, past.date, by_engine, by_columns))
        mornings += dates.mornings
        progress(mornings, of)
    return Agreement(mornings, decisions, tuple(differences))


def decided_by_engine(decider: Decider, past: PastMorning) -> tuple[DecidedSubject, ...]:
    """Decide a day and its parts by both evaluations."""
    facts = [part.facts for part in past.parts]
    return decided_subjects(decider.decide(past.day.facts, facts, past.blocks))


def decided_subjects(decision: DayDecision) -> tuple[DecidedSubject, ...]:
    """Convert a decision on a day and its parts to the form of the column decider."""
    return (
        _subject(decision.verdict, decision.deciding, decision.day.fired),
        *(_subject(part.verdict, part.deciding, part.fired) for part in decision.parts),
    )


def _subject(verdict: Verdict, deciding: Rule | None, fired: Sequence[Rule]) -> DecidedSubject:
    return DecidedSubject(
        verdict.value, deciding.id if deciding else None, tuple(rule.id for rule in fired)
    )
