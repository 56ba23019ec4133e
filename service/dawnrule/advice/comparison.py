"""What would another rule set have said on the morning of a record? (pure)

The recorded facts are decided again, by both evaluations, and what is said of the day and of each
part is laid beside what was told then.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from dawnrule.advice.composer import pain_places
from dawnrule.advice.explanation import Subject, subjects_of
from dawnrule.model import Facts, Vocabulary
from dawnrule.model.entities import CheckIn
from dawnrule.model.serialization import from_json
from dawnrule.rules.evaluation.decider import Decider
from dawnrule.rules.evaluation.decision import DayDecision
from dawnrule.rules.evaluation.evaluator import Trace, explain
from dawnrule.rules.rule_set import Rule, RuleSet
from dawnrule.rules.text import Wording


@dataclass(frozen=True, slots=True)
class SideVerdict:
    """A verdict, and the rule that it is from with its title and reason; these are empty when no
    rule asks for more than to train as planned. ``fired`` are the ids of all that fired."""

    verdict: str
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
class _Speaks:
    """Says why a rule fired on a subject of the record that a check-in led to."""

    check_in: CheckIn
    wording: Wording

    def reason(self, rule: Rule, subject: Subject) -> str:
        if subject.block is None:
            return self.wording.reason(rule, subject.facts)
        words = Vocabulary.bundled()
        at = pain_places(
            rule, self.check_in, subject.block, subject.muscle_group, subject.facts, words
        )
        return self.wording.reason(rule, subject.facts, at)


def compare_with(
    record: Mapping[str, Any],
    its_own: RuleSet | None,
    other: RuleSet,
    decider: Decider,
    wording: Wording,
) -> tuple[SubjectComparison, ...]:
    """The day of a record and then its parts, beside what ``other`` says; ``decider`` is that of
    the other. ``its_own`` is the record's rule set, None when that is gone.

    Raises ``EngineDisagreement`` or ``EngineFailure``.
    """
    subjects = subjects_of(record)
    day, *parts = subjects
    decision = decider.decide(day.facts, [part.facts for part in parts])
    speaks = _Speaks(from_json(CheckIn, record["check_in"]), wording)
    told = [record["advice"], *record["advice"]["parts"]]
    return tuple(
        SubjectComparison(
            subject.block,
            subject.muscle_group,
            _told(advice, subject),
            now,
            tuple(_differing(subject, now.fired, its_own, other)),
        )
        for subject, advice, now in zip(
            subjects, told, _said_of_all(decision, subjects, speaks), strict=True
        )
    )


def _told(advice: Mapping[str, Any], subject: Subject) -> SideVerdict:
    rule = advice["rule"]
    if not rule:
        return SideVerdict(advice["verdict"], "", "", "", subject.fired)
    return SideVerdict(
        advice["verdict"], rule["id"], rule["title"], advice["reason"], subject.fired
    )


def _said_of_all(
    decision: DayDecision, subjects: Sequence[Subject], speaks: _Speaks
) -> Iterator[SideVerdict]:
    """What a decision says of the day and of each part; the day is told by the facts of the
    subject that decided on it."""
    day, *parts = subjects
    deciders = [(decision.day.deciding, day)]
    deciders += [(of.deciding, p) for of, p in zip(decision.parts, parts, strict=True)]
    told_by = next((of for rule, of in deciders if rule is decision.deciding), day)
    yield _said(decision.verdict.value, decision.deciding, told_by, decision.day.fired, speaks)
    for part, of in zip(parts, decision.parts, strict=True):
        yield _said(of.verdict.value, of.deciding, part, of.fired, speaks)


def _said(
    verdict: str, rule: Rule | None, subject: Subject, fired: Sequence[Rule], speaks: _Speaks
) -> SideVerdict:
    ids = tuple(one.id for one in fired)
    if rule is None:
        return SideVerdict(verdict, "", "", "", ids)
    return SideVerdict(verdict, rule.id, rule.title, speaks.reason(rule, subject), ids)


def _differing(
    subject: Subject, fired: Sequence[str], its_own: RuleSet | None, other: RuleSet
) -> Iterator[RuleComparison]:
    """The rules that fired then or fire now, and not both, in the order of what fired then."""
    then, now = _by_id(its_own), _by_id(other)
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
