"""Comparison of a record with what another rule set decides on the same facts (pure)."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from dawnrule.advice.composer import pain_places
from dawnrule.advice.explanation import Subject, subjects_of
from dawnrule.model import Facts, Verdict, Vocabulary
from dawnrule.model.advice import Advice, PartAdvice
from dawnrule.model.entities import CheckIn
from dawnrule.model.record import Record
from dawnrule.rules.evaluation.decider import Decider
from dawnrule.rules.evaluation.decision import DayDecision
from dawnrule.rules.evaluation.evaluator import Trace, explain
from dawnrule.rules.rule_set import Rule, RuleSet
from dawnrule.rules.text import Wording


@dataclass(frozen=True, slots=True)
class SideVerdict:
    """A verdict, and the rule that it is from with its title and reason; these are empty when no
    rule asks for more than to train as planned. ``fired`` are the ids of all that fired."""

    verdict: Verdict
    rule_id: str
    title: str
    reason: str
    fired: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class RuleComparison:
    """A rule that fires in one of the two rule sets only, and how it comes out in each; None where
    a rule set has no such rule, or is gone."""

    rule_id: str
    title: str
    then: Trace | None
    now: Trace | None


@dataclass(frozen=True, slots=True)
class SubjectComparison:
    """What was said of the day (``block`` None) or of a part then, what would be said now, and the
    rules that make the difference."""

    block: int | None
    muscle_group: str | None
    then: SideVerdict
    now: SideVerdict
    differing: tuple[RuleComparison, ...]

    @property
    def is_same(self) -> bool:
        """Whether it is the same verdict by the same rule, and all others fire as they did. A
        reason may be said with another number, or in another language."""
        same = (self.then.verdict, self.then.rule_id) == (self.now.verdict, self.now.rule_id)
        return same and not self.differing


@dataclass(frozen=True, slots=True)
class _Reasons:
    """Reasons why rules fired on the subjects of one check-in."""

    check_in: CheckIn
    wording: Wording

    def of(self, rule: Rule, subject: Subject) -> str:
        if subject.block is None:
            return self.wording.reason(rule, subject.facts)
        words = Vocabulary.bundled()
        at = pain_places(
            rule, self.check_in, subject.block, subject.muscle_group, subject.facts, words
        )
        return self.wording.reason(rule, subject.facts, at)


def compare_with(
    record: Record,
    recorded_rules: RuleSet | None,
    other: RuleSet,
    decider: Decider,
    wording: Wording,
) -> tuple[SubjectComparison, ...]:
    """Compare the day of a record, and then its parts, with what ``other`` decides.

    ``decider`` is that of ``other``; ``recorded_rules`` is the record's rule set, None when that
    is gone. Raises ``EngineDisagreement`` or ``EngineFailure``.
    """
    subjects = subjects_of(record)
    day, *parts = subjects
    blocks = [part.block for part in record.advice.parts]
    decision = decider.decide(day.facts, [part.facts for part in parts], blocks)
    reasons = _Reasons(record.check_in, wording)
    decided = _decided_sides(decision, subjects, reasons)
    compared = zip(subjects, record.advice.day_and_parts, decided, strict=True)
    return tuple(
        SubjectComparison(
            subject.block,
            subject.muscle_group,
            _recorded_side(advice, subject),
            now,
            tuple(_differing(subject, now.fired, recorded_rules, other)),
        )
        for subject, advice, now in compared
    )


def _recorded_side(advice: Advice | PartAdvice, subject: Subject) -> SideVerdict:
    rule = advice.rule
    if rule is None:
        return SideVerdict(advice.verdict, "", "", "", subject.fired)
    return SideVerdict(advice.verdict, rule.id, rule.title, advice.reason, subject.fired)


def _decided_sides(
    decision: DayDecision, subjects: Sequence[Subject], reasons: _Reasons
) -> Iterator[SideVerdict]:
    """Yield the day and each part; the reason for the day cites the subject that decided it."""
    day, *parts = subjects
    deciders = [(decision.day.deciding, day)]
    deciders += [(of.deciding, p) for of, p in zip(decision.parts, parts, strict=True)]
    cited = next((of for rule, of in deciders if rule is decision.deciding), day)
    yield _side(decision.verdict, decision.deciding, cited, decision.day.fired, reasons)
    for part, of in zip(parts, decision.parts, strict=True):
        yield _side(of.verdict, of.deciding, part, of.fired, reasons)


def _side(
    verdict: Verdict, rule: Rule | None, subject: Subject, fired: Sequence[Rule], reasons: _Reasons
) -> SideVerdict:
    ids = tuple(one.id for one in fired)
    if rule is None:
        return SideVerdict(verdict, "", "", "", ids)
    return SideVerdict(verdict, rule.id, rule.title, reasons.of(rule, subject), ids)


def _differing(
    subject: Subject, fired: Sequence[str], recorded_rules: RuleSet | None, other: RuleSet
) -> Iterator[RuleComparison]:
    """The rules that fired then or fire now, and not both, in the order of what fired then."""
    then, now = _by_id(recorded_rules), _by_id(other)
    for rule_id in dict.fromkeys((*subject.fired, *fired)):
        if (rule_id in subject.fired) is not (rule_id in fired):
            named = now.get(rule_id) or then.get(rule_id)
            yield RuleComparison(
                rule_id,
                named.title if named else rule_id,
                _trace(then.get(rule_id), subject.facts),
                _trace(now.get(rule_id), subject.facts),
            )


def _by_id(rule_set: RuleSet | None) -> dict[str, Rule]:
    return {rule.id: rule for rule in rule_set.rules} if rule_set else {}


def _trace(rule: Rule | None, facts: Facts) -> Trace | None:
    return explain(rule.when, facts) if rule else None
