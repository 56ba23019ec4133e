"""View model of the explanation of one advice (pure).

From the verdict to the rule, its conditions and numbers, and near misses; then the inputs.
"""

from __future__ import annotations

from collections.abc import Container, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import chain

from dawnrule.advice.composer import Composer
from dawnrule.advice.explanation import (
    NearMiss,
    NearTest,
    Subject,
    fires_again,
    near_misses,
    subjects_of,
)
from dawnrule.advice.summary import block_name, session_with_reason
from dawnrule.i18n.catalog import capital
from dawnrule.model import FactDefinition, Facts, Scope
from dawnrule.model.advice import Advice, Alternative, BlockAdvice, Change, PartAdvice
from dawnrule.model.entities import CheckIn
from dawnrule.model.record import FiredRules, Record
from dawnrule.rules.evaluation.evaluator import explain
from dawnrule.rules.rule_set import Rule, RuleSet
from dawnrule.rules.text import Line, Prose
from dawnrule.web.coach.inputs import Inputs, Row, local_time


@dataclass(frozen=True, slots=True)
class RuleOutcome:
    """A rule and the outcome of its conditions; ``decided`` if it gave the verdict."""

    rule: Rule
    line: Line
    decided: bool


@dataclass(frozen=True, slots=True)
class NearMissText:
    """A rule that one answer kept from firing, and each answer that would have fired it, with its
    distance: empty where that cannot be measured, None exactly at the threshold."""

    rule: Rule
    tests: tuple[tuple[str, str | None], ...]


@dataclass(frozen=True, slots=True)
class Instead:
    """What would lead a part to a more permissive verdict, and what else can be done today.

    Each of ``changes`` is enough by itself; those of ``together`` must all come true, and lead to
    ``leads_to``. ``opens_at`` is when time alone opens it, empty when it does not.
    """

    changes: tuple[str, ...] = ()
    together: tuple[str, ...] = ()
    leads_to: str = ""
    opens_at: str = ""
    opens_note: str = ""
    alternatives: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class RuleOutcomes:
    """Outcomes of rules on some facts: those that fired, the deciding ones first; those that did
    not; and those of the latter that one other answer would have fired, near ones and others."""

    fired: tuple[RuleOutcome, ...]
    silent: tuple[RuleOutcome, ...]
    near: tuple[NearMissText, ...]
    one_answer_away: tuple[NearMissText, ...]


@dataclass(frozen=True, slots=True)
class SubjectView:
    """The day, or parts of which the same is to be said: its name and advice, the outcomes of its
    own rules, and the rules for the whole day that count for a part too; alternatives (None where
    nothing is held back), and the facts of each part under its name."""

    name: str
    advice: Advice | PartAdvice
    rules: RuleOutcomes
    from_day: tuple[Rule, ...]
    instead: Instead | None
    facts: tuple[tuple[str, tuple[Row, ...]], ...]

    def says_the_same_as(self, other: SubjectView) -> bool:
        """Tell whether another part of the same block is explained in the same words."""
        mine, others = self.advice, other.advice
        if not isinstance(mine, PartAdvice) or not isinstance(others, PartAdvice):
            return False
        if (mine.block, mine.verdict) != (others.block, others.verdict):
            return False
        rules, other_rules = self.rules, other.rules
        return (
            (rules.fired, rules.near) == (other_rules.fired, other_rules.near)
            and (self.from_day, self.instead) == (other.from_day, other.instead)
            and mine.caution == others.caution
        )


@dataclass(frozen=True, slots=True)
class BlockView:
    """The verdict on a block in words, its limits where some of it may be done, and each session
    that may be done in its place with the reason why."""

    name: str
    verdict: str
    says: str
    limits: tuple[str, ...]
    sessions: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Why:
    """The whole explanation. ``reproduced`` is None when the rule set is gone; ``day_by`` names how
    the day's verdict follows."""

    subjects: tuple[SubjectView, ...]
    reproduced: bool | None
    day_by: str
    inputs: tuple[Row, ...]


def why(
    record: Record, rule_set: RuleSet | None, composer: Composer, *, by_block: bool = False
) -> Why:
    """Explain a record; ``rule_set`` is its own, None when that is gone. ``by_block`` tells that
    the parts of a block have one verdict."""
    subjects = subjects_of(record)
    describer = _RecordDescriber(record, rule_set, composer, by_block=by_block)
    views = [describer.subject(subject) for subject in subjects]
    return Why(
        tuple(_joined(views, record.check_in, composer)),
        fires_again(subjects, rule_set) if rule_set else None,
        day_by(record.advice, record.fired, by_block=by_block),
        tuple(Inputs(record, composer, prose_of(composer)).rows()),
    )


def _joined(
    views: Sequence[SubjectView], check_in: CheckIn, composer: Composer
) -> Iterator[SubjectView]:
    """Join the parts of a block that are explained in the same words."""
    groups: list[list[SubjectView]] = []
    for view in views:
        if groups and groups[-1][0].says_the_same_as(view):
            groups[-1].append(view)
        else:
            groups.append([view])
    for alike in groups:
        parts = [view.advice for view in alike if isinstance(view.advice, PartAdvice)]
        muscle_groups = [part.muscle_group for part in parts if part.muscle_group]
        name = name_of(parts[0].block if parts else None, muscle_groups, check_in, composer)
        yield replace(alike[0], name=name, facts=tuple(chain(*(view.facts for view in alike))))


def name_of(
    block: int | None, muscle_groups: Sequence[str], check_in: CheckIn, composer: Composer
) -> str:
    """Name the day (no block), or parts of a block by their muscle groups."""
    label, say = composer.vocabulary.label, composer.texts.say
    if block is None:
        return say("coach_why.day")
    goal, number = label(check_in.plan[block].goal), block + 1
    if not muscle_groups:
        return capital(say("coach_why.block", goal=goal, number=number))
    groups = composer.texts.listing(list(map(label, muscle_groups)))
    return capital(say("coach_why.part", muscle_group=groups, goal=goal, number=number))


def block_view(block: BlockAdvice, composer: Composer) -> BlockView:
    """Describe a block for the page."""
    return BlockView(
        name=capital(block_name(block, composer)),
        verdict=block.verdict.value,
        says=composer.verdict_label(block.verdict, (block,)),
        limits=block.limits_said if block.is_trained else (),
        sessions=tuple(session_with_reason(one, composer) for one in block.alternatives),
    )


def day_by(advice: Advice, fired: FiredRules, *, by_block: bool = False) -> str:
    """Name how the day's verdict follows: from a ``day_rule``, from ``no_parts``, or from parts, or
    blocks, that all have the same verdict (``all_parts``, ``all_blocks``) or not (``mixed_parts``,
    ``mixed_blocks``)."""
    if advice.rule and advice.rule.id in fired.day:
        return "day_rule"
    if not advice.parts:
        return "no_parts"
    of = advice.blocks if by_block else advice.parts
    alike = "all" if len({one.verdict for one in of}) == 1 else "mixed"
    return f"{alike}_{'blocks' if by_block else 'parts'}"


def prose_of(composer: Composer) -> Prose:
    """Return the prose of rules in a composer's language."""
    return Prose(composer.dictionary, composer.vocabulary, composer.texts)


def about_record(record: Record, view: Why, composer: Composer) -> tuple[tuple[str, str], ...]:
    """List facts about the record itself, each with its name in the catalogue."""
    say, time_zone = composer.texts.say, record.athlete.time_zone
    reproduced = {True: "reproduced_yes", False: "reproduced_no", None: "reproduced_unknown"}
    return (
        ("advice_id", record.advice.advice_id or ""),
        ("decided_at", local_time(record.decided_at, time_zone)),
        ("posted_by", record.posted_by or say("coach_why.posted_by_nobody")),
        ("reproduced", say(f"coach_why.{reproduced[view.reproduced]}")),
        ("service_version", record.service_version),
    )


class RuleDescriber:
    """A describer of rules and their outcomes in one language."""

    def __init__(self, composer: Composer) -> None:
        self._dictionary = composer.dictionary
        self._prose = prose_of(composer)

    def describe(
        self, rules: Sequence[Rule], facts: Facts, fired: Container[str], decided: Container[str]
    ) -> RuleOutcomes:
        """Describe the outcomes of ``rules`` on facts that they may test; ``fired`` and ``decided``
        hold ids."""
        silent = [rule for rule in rules if rule.id not in fired]
        misses = near_misses(silent, facts, self._dictionary)
        fired_outcomes = (self._rule(rule, facts, decided) for rule in rules if rule.id in fired)
        return RuleOutcomes(
            tuple(sorted(fired_outcomes, key=lambda outcome: not outcome.decided)),
            tuple(self._rule(rule, facts, decided) for rule in silent),
            tuple(self._near_miss(miss) for miss in misses if miss.is_near),
            tuple(self._near_miss(miss) for miss in misses if not miss.is_near),
        )

    def _rule(self, rule: Rule, facts: Facts, decided: Container[str]) -> RuleOutcome:
        line = self._prose.trace(explain(rule.when, facts))
        return RuleOutcome(rule, line, rule.id in decided)

    def _near_miss(self, miss: NearMiss) -> NearMissText:
        return NearMissText(miss.rule, tuple(map(self._near_test, miss.tests)))

    def _near_test(self, test: NearTest) -> tuple[str, str | None]:
        text = self._prose.traced_test(test.trace)
        if test.distance is None:
            return text, ""
        return text, self._prose.distance(test.trace) if test.distance else None


class _RecordDescriber:
    """A describer of the subjects of one record, in one language."""

    def __init__(
        self, record: Record, rule_set: RuleSet | None, composer: Composer, *, by_block: bool
    ) -> None:
        self._composer = composer
        self._by_block = by_block
        self._record = record
        self._rule_set = rule_set
        self._dictionary = composer.dictionary
        self._texts = composer.texts
        self._say = composer.texts.say
        self._label = composer.vocabulary.label
        self._prose = prose_of(composer)
        self._wording = composer.wording
        self._rules = RuleDescriber(composer)

    def subject(self, subject: Subject) -> SubjectView:
        """Describe one subject."""
        rules = self._rule_set.in_scope(subject.scope) if self._rule_set else ()
        advice = self._advice_of(subject)
        groups = [subject.muscle_group] if subject.muscle_group else []
        name = name_of(subject.block, groups, self._record.check_in, self._composer)
        return SubjectView(
            name,
            advice,
            self._rules.describe(rules, subject.facts, subject.fired, subject.decided_by),
            tuple(rule for rule in self._day_rules(subject.scope) if rule.id in subject.fired),
            self._instead(advice),
            ((name, tuple(self._facts(subject))),),
        )

    def _day_rules(self, scope: Scope) -> tuple[Rule, ...]:
        """List the rules for the whole day that count for a part."""
        return self._rule_set.in_scope("day") if self._rule_set and scope == "part" else ()

    def _advice_of(self, subject: Subject) -> Advice | PartAdvice:
        advice = self._record.advice
        if subject.block is None:
            return advice
        return next(
            part
            for part in advice.parts
            if (part.block, part.muscle_group) == (subject.block, subject.muscle_group)
        )

    def _instead(self, part: Advice | PartAdvice) -> Instead | None:
        if isinstance(part, Advice) or not (part.opens_note or part.opens_at):
            return None
        together = part.would_change_together
        return Instead(
            tuple(
                self._say(
                    "coach_why.change",
                    change=self._change(change),
                    verdict=self._label(change.verdict),
                )
                for change in part.would_change
            ),
            tuple(map(self._change, together)),
            self._label(together[0].verdict) if together else "",
            local_time(part.opens_at, self._record.athlete.time_zone) if part.opens_at else "",
            part.opens_note or "",
            () if self._by_block else tuple(map(self._alternative, part.alternatives)),
        )

    def _alternative(self, one: Alternative) -> str:
        words = (one.goal, one.muscle_group, one.pattern, one.modality)
        return ", ".join(map(self._label, filter(None, words)))

    def _change(self, change: Change) -> str:
        fact, before = change.fact, change.before
        if isinstance(before, bool):
            to = self._say(f"prose.is_{change.to}")
        else:
            to = f"{change.to} {self._wording.unit(fact)}".strip()
        return self._say(
            "coach_why.one_change",
            fact=self._dictionary[fact].label,
            before=self._prose.exact(fact, before),
            to=to,
        )

    def _facts(self, subject: Subject) -> Iterator[Row]:
        missing = self._record.facts.missing
        for name, definition in self._dictionary.items():
            if definition.scope == subject.scope:
                whose = name if subject.scope == "day" else f"{name} ({subject.muscle_group})"
                yield self._fact(definition, subject, missing.get(whose, ""))

    def _fact(self, definition: FactDefinition, subject: Subject, why: str) -> Row:
        name = definition.name
        value = subject.facts.get(name)
        text = None if value is None else self._prose.exact_without_unit(name, value)
        unit = self._texts.unit_alone(definition.unit)
        return Row(definition.label, text, unit, self._texts.of_record(why), name)
