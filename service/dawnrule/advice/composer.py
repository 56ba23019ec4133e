"""Composition of advice from a decision: headline, reason, caution, notes (pure)."""

from __future__ import annotations

import re
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache, lru_cache
from typing import NamedTuple, Self

from dawnrule.advice.blocks import BlockDecision, decide_blocks, limits_as_facts
from dawnrule.advice.notes import FiredNote, notes_by_block, notes_by_part
from dawnrule.advice.options import Alternatives, Options, PartOptions
from dawnrule.advice.sessions import Sessions
from dawnrule.facts.derive import FactSource, MorningFacts, PartFacts
from dawnrule.facts.pain import fact_name, facts_of_pain, pains_of_part
from dawnrule.facts.work import MUSCULAR_ENDURANCE
from dawnrule.i18n.catalog import ENGLISH, Texts
from dawnrule.model import (
    FIRST_EDITION,
    FactDefinition,
    FactDictionary,
    Facts,
    Verdict,
    Vocabulary,
)
from dawnrule.model.advice import (
    Advice,
    Alternative,
    BlockAdvice,
    Change,
    GivenNote,
    Note,
    PartAdvice,
    RuleName,
    RuleSetName,
    blocks_of,
)
from dawnrule.model.entities import CheckIn, Pain
from dawnrule.rules.advice_policy import AdvicePolicy
from dawnrule.rules.counterfactuals import Change as FoundChange
from dawnrule.rules.counterfactuals import WhatIf
from dawnrule.rules.evaluation.decision import DayDecision, Decision
from dawnrule.rules.limits import Limits, fitting, in_words
from dawnrule.rules.rule_set import Rule, RuleSet
from dawnrule.rules.text import Wording

UNANSWERED = {"warning_signs": "chest_pain", "pain": "pain_reported", "illness": "illness"}
"""The questions of a check-in that can stop training, each with a fact that an answer makes
known."""


def unanswered(not_reported: Collection[str]) -> list[str]:
    """List the questions that a check-in left open, by the facts that were not reported."""
    return [asked for asked, fact in UNANSWERED.items() if fact in not_reported]


def unanswered_text(not_reported: Collection[str], texts: Texts, *, trains: bool) -> str:
    """Say in a sentence or two what a check-in left open, and to athletes who train also what to
    do about it. Empty if all was answered."""
    what = texts.listing([texts.say(f"left_open.{one}") for one in unanswered(not_reported)])
    if not what:
        return ""
    if trains:
        return texts.say("left_open.trains", what=what)
    return texts.say("left_open.sentence", what=what)


_SENTENCE_ENDS = re.compile(r"[.!?]+(?=\s|$)")
"""Left out of a place: a spoken summary ends the reason at its first sentence."""


def pain_places(
    rule: Rule,
    check_in: CheckIn,
    block: int,
    group: str | None,
    facts: Facts,
    vocabulary: Vocabulary,
) -> tuple[str, ...]:
    """List where the pain was reported that made a rule fire on a part: the part's muscle group
    (its id) where it hurts there, else the athlete's words. Empty for a rule that reads anything
    but pain; ``block`` is the index in the plan, ``facts`` are those the rule fired on."""
    if not set(rule.reads).issubset(facts_of_pain(vocabulary.pain_kinds)):
        return ()
    of_later_editions = FactDictionary.bundled().later_than(FIRST_EDITION)
    reads_words = not of_later_editions.isdisjoint(facts)
    places = (
        _place(pain, group)
        for pain in pains_of_part(
            check_in, check_in.plan[block], group, vocabulary, reads_words=reads_words
        )
        if fact_name(pain.kind) in rule.reads and facts.get(fact_name(pain.kind)) is True
    )
    return tuple(dict.fromkeys(filter(None, places)))


def _place(pain: Pain, group: str | None) -> str:
    if group is not None and group in pain.muscle_groups:
        return group
    return " ".join(_SENTENCE_ENDS.sub("", pain.where).split())


class PartVerdict(NamedTuple):
    """The verdict on a part, the id of the rule that decided it, and its muscle group."""

    verdict: Verdict
    rule_id: str | None
    muscle_group: str | None


@dataclass(frozen=True, slots=True)
class RestingParts:
    """The parts that rest on a day that goes on. ``text`` names them, as in "Rest for quadriceps";
    ``decides`` is whether they rest by the rule that the day's verdict is attributed to."""

    text: str
    decides: bool

    @classmethod
    def of(
        cls,
        verdict: Verdict,
        rule_id: str | None,
        parts: Iterable[PartVerdict],
        vocabulary: Vocabulary,
        texts: Texts,
    ) -> Self | None:
        """Find what rests on a day of a verdict by a rule; None where nothing or all rests."""
        resting = [part for part in parts if part.verdict is Verdict.REST]
        if verdict is Verdict.REST or not resting:
            return None
        deciding = [part for part in resting if part.rule_id == rule_id]
        groups = dict.fromkeys(part.muscle_group for part in deciding or resting)
        labels = [vocabulary.label(group) for group in groups if group]
        if len(labels) < len(groups):
            return cls(texts.say("rest_for_part"), bool(deciding))
        return cls(texts.say("rest_for", where=texts.listing(labels)), bool(deciding))

    @classmethod
    def of_advice(cls, advice: Advice, vocabulary: Vocabulary, texts: Texts) -> Self | None:
        """Find what rests by an advice; None where nothing or all rests."""
        parts = (PartVerdict(p.verdict, _id(p.rule), p.muscle_group) for p in advice.parts)
        return cls.of(advice.verdict, _id(advice.rule), parts, vocabulary, texts)


HEADLINE_LENGTH = 140
"""Characters of a headline at most: it fits a phone's lock screen and is spoken in one breath."""


@dataclass(frozen=True, slots=True)
class Composer:
    """Advice in the words of one language."""

    dictionary: FactDictionary
    vocabulary: Vocabulary
    texts: Texts

    @classmethod
    @cache
    def bundled(cls, language: str = ENGLISH) -> Composer:
        """Load the composer of a language from the data that ships with the service."""
        texts = Texts.bundled(language)
        dictionary = FactDictionary.bundled().translated(texts)
        return cls(dictionary, Vocabulary.bundled().translated(texts), texts)

    @classmethod
    @cache
    def of_records(cls) -> Composer:
        """Load the composer of records, in an English that never changes."""
        texts = Texts.of_records()
        return cls(FactDictionary.bundled(), Vocabulary.bundled().translated(texts), texts)

    def compose(
        self,
        advice_id: str | None,
        check_in: CheckIn,
        morning: MorningFacts,
        decision: DayDecision,
        options_of: Callable[[PartFacts, Decision], PartOptions],
        sessions_of: Callable[[BlockDecision], tuple[Alternative, ...]],
        rule_set: RuleSet,
        given_notes: Sequence[GivenNote] = (),
    ) -> Advice:
        """Compose the advice on a check-in; ``decision`` must be that of ``rule_set`` on
        ``morning``, and ``options_of`` and ``sessions_of`` must find the options of the same.

        A note that has not changed since it was one of the ``given_notes`` is only named. Rule sets
        of the first edition have no blocks of their own: theirs follow from the parts.
        """
        parts = tuple(
            self._part(check_in, part, decided, options_of(part, decided))
            for part, decided in zip(morning.parts, decision.parts, strict=True)
        )
        if not rule_set.decides_by_block(self.dictionary):
            notes = tuple(self.note(one.rule) for one in self._notes_by_part(morning, decision))
            blocks = blocks_of(parts)
            return self._advice(
                advice_id, check_in, morning, decision, rule_set, parts, blocks, notes
            )
        decided_blocks = decide_blocks(check_in.plan, morning, decision, rule_set.rules)
        reasons = {(part.block, part.muscle_group): part.reason for part in parts}
        blocks = tuple(self._block(one, reasons, sessions_of(one)) for one in decided_blocks)
        fired = notes_by_block(morning, decision, decided_blocks, blocks, self.dictionary)
        notes = tuple(self._note_unless_given(one, given_notes) for one in fired)
        parts = _with_sessions(parts, blocks)
        return self._advice(advice_id, check_in, morning, decision, rule_set, parts, blocks, notes)

    def _advice(
        self,
        advice_id: str | None,
        check_in: CheckIn,
        morning: MorningFacts,
        decision: DayDecision,
        rule_set: RuleSet,
        parts: tuple[PartAdvice, ...],
        blocks: tuple[BlockAdvice, ...],
        notes: tuple[Note, ...],
    ) -> Advice:
        open_questions = not_reported(morning, rule_set, self.dictionary)
        return Advice(
            advice_id=advice_id,
            athlete_id=check_in.athlete_id,
            date=check_in.date,
            verdict=decision.verdict,
            headline=self._headline(check_in, morning, decision, blocks),
            rule=self._name(decision.deciding),
            reason=self._day_reason(morning, decision, parts, blocks),
            caution=self._caution(morning, decision, open_questions),
            parts=parts,
            notes=notes,
            not_reported=open_questions,
            rule_set=RuleSetName.of(rule_set),
            blocks=blocks,
        )

    @property
    def wording(self) -> Wording:
        """The wording of rules and facts in this language."""
        return Wording(self.dictionary, self.vocabulary, self.texts)

    def note(self, rule: Rule) -> Note:
        """Compose a note; ``rule`` must be one."""
        name = RuleName(rule.id, self.texts.of_rule(rule.title))
        return Note(name, self.texts.of_rule(rule.caution))

    def _note_unless_given(self, fired: FiredNote, given: Sequence[GivenNote]) -> Note:
        """Compose a note; one that was given in full, has not changed since and need not be given
        each time is only named, with the date."""
        reason = self.wording.reason(fired.rule, fired.facts)
        note = replace(self.note(fired.rule), reason=reason)
        if fired.rule.told_each_time(self.dictionary):
            return note
        before = (one.on for one in given if (one.rule_id, one.reason) == (fired.rule.id, reason))
        given_on = max(before, default=None)
        return note if given_on is None else replace(note, caution="", given_on=given_on)

    def _notes_by_part(self, morning: MorningFacts, decision: DayDecision) -> list[FiredNote]:
        return notes_by_part(morning, decision, self.dictionary)

    def options(
        self,
        source: FactSource,
        what_if: WhatIf,
        today: WhatIf,
        morning: MorningFacts,
        decision: DayDecision,
    ) -> Options:
        """Prepare to find the options of the parts of a morning; ``decision`` is that on it, and
        ``today`` is ``what_if`` narrowed to it."""
        alternatives = Alternatives(source, today, _at_rest(morning, decision))
        return Options(source, what_if, today, alternatives, self.wording, self.texts)

    def sessions(
        self,
        source: FactSource,
        what_if: WhatIf,
        today: WhatIf,
        morning: MorningFacts,
        decision: DayDecision,
    ) -> Sessions:
        """Prepare to find the sessions in place of the blocks of a morning; ``decision`` is that on
        it, and ``today`` is ``what_if`` narrowed to it."""
        at_rest = _at_rest(morning, decision)
        policy = AdvicePolicy.bundled()
        return Sessions(source, what_if, today, at_rest, policy, self.vocabulary, self.texts)

    def _block(
        self,
        decided: BlockDecision,
        reasons: Mapping[tuple[int, str | None], str],
        sessions: tuple[Alternative, ...],
    ) -> BlockAdvice:
        """Compose the advice on a block; ``reasons`` are those of the parts."""
        part, deciding = decided.explained_by, decided.deciding
        if deciding is not None:
            reason = reasons[part.block, part.muscle_group]
        else:
            reason = self.reason_to_train(*decided.decisions, limited=bool(decided.limits))
        limits, planned = decided.limits, decided.planned
        return BlockAdvice(
            block=decided.block,
            goal=part.goal,
            muscle_groups=decided.muscle_groups,
            verdict=decided.verdict,
            rule=self._name(deciding),
            reason=reason,
            limits=limits_as_facts(limits, planned) if limits else {},
            limits_said=tuple(in_words(self._fitting(decided), planned, self.texts)),
            alternatives=sessions,
        )

    def _fitting(self, decided: BlockDecision) -> Limits:
        goal = decided.explained_by.goal
        lifting = goal in self.vocabulary.lifting_goals or goal == MUSCULAR_ENDURANCE
        lands = any(part.facts.get("lands_hard") is True for part in decided.parts)
        return fitting(decided.limits, decided.planned, in_sets=lifting, lands=lands)

    def _part(
        self, check_in: CheckIn, part: PartFacts, decision: Decision, options: PartOptions
    ) -> PartAdvice:
        deciding = decision.deciding
        others = (rule.id for rule in decision.fired if rule is not deciding)
        return PartAdvice(
            block=part.block,
            goal=part.goal,
            muscle_group=part.muscle_group,
            verdict=decision.verdict,
            rule=self._name(deciding),
            reason=self._part_reason(check_in, part, decision),
            caution=self._part_caution(deciding),
            opens_at=options.opens_at,
            opens_note=options.opens_note,
            would_change=tuple(map(self._change, options.changes.single)),
            would_change_together=tuple(map(self._change, options.changes.together)),
            alternatives=options.alternatives,
            also_fired=tuple(others),
        )

    def _change(self, change: FoundChange) -> Change:
        to = self.wording.range(change.to)
        return Change(change.fact, change.before, to, change.verdict)

    def _part_reason(self, check_in: CheckIn, part: PartFacts, decision: Decision) -> str:
        if decision.deciding is None:
            return self.reason_to_train(decision)
        return self._reason(check_in, part, decision.deciding)

    def _reason(self, check_in: CheckIn, part: PartFacts, deciding: Rule) -> str:
        return self.wording.reason(deciding, part.facts, self._hurts(check_in, part, deciding))

    def reason_to_train(self, *decisions: Decision, limited: bool = False) -> str:
        """Say that nothing speaks against training, but only where no note does either, and no
        limit."""
        if limited:
            return self.texts.say("reason_train_within_limits")
        if any(rule.is_note for decided in decisions for rule in decided.fired):
            return self.texts.say("reason_train_with_notes")
        return self.texts.say("reason_train")

    def _hurts(self, check_in: CheckIn, part: PartFacts, rule: Rule) -> tuple[str, ...]:
        """List where it hurts, for a rule that reads nothing but pain; else nothing."""
        return pain_places(
            rule, check_in, part.block, part.muscle_group, part.facts, self.vocabulary
        )

    def _day_reason(
        self,
        morning: MorningFacts,
        decision: DayDecision,
        parts: Sequence[PartAdvice],
        blocks: Sequence[BlockAdvice],
    ) -> str:
        deciding = decision.deciding
        if deciding is None and not morning.parts:
            return self.texts.say("reason_day_off")
        if deciding is None:
            limited = any(block.limits for block in blocks)
            return self.reason_to_train(decision.day, *decision.parts, limited=limited)
        for part, decided in zip(parts, decision.parts, strict=True):
            if decided.deciding is deciding:
                return part.reason
        return self.wording.reason(deciding, morning.day)

    def _part_caution(self, deciding: Rule | None) -> str:
        return self.texts.of_rule(deciding.caution) if deciding else self.texts.say("caution_train")

    def _caution(
        self, morning: MorningFacts, decision: DayDecision, open_questions: tuple[str, ...]
    ) -> str:
        """Compose the caution; with a plan to train it adds what was not answered."""
        if decision.deciding is None and not morning.parts:
            return self.texts.say("caution_day_off")
        caution = self._part_caution(decision.deciding)
        if decision.verdict is not Verdict.TRAIN or not morning.parts:
            return caution
        return f"{caution} {unanswered_text(open_questions, self.texts, trains=True)}".strip()

    def _name(self, rule: Rule | None) -> RuleName | None:
        return RuleName(rule.id, self.texts.of_rule(rule.title)) if rule else None

    def verdict_label(self, verdict: Verdict, blocks: Sequence[BlockAdvice]) -> str:
        """Say the verdict of a day; where it asks for less of the same, or lets through what is
        planned within limits, that."""
        if does_less(verdict, blocks):
            return self.texts.say("less_of_the_same")
        if verdict is Verdict.TRAIN and any(block.limits for block in blocks):
            return self.texts.say("train_within_limits")
        return self.vocabulary.label(verdict)

    def _headline(
        self,
        check_in: CheckIn,
        morning: MorningFacts,
        decision: DayDecision,
        blocks: Sequence[BlockAdvice],
    ) -> str:
        verdict = self.verdict_label(decision.verdict, blocks)
        if decision.deciding is None or decision.verdict is Verdict.TRAIN:
            return self._headline_train(verdict, morning)
        title = self.texts.of_rule(decision.deciding.title)
        rest = self._resting_parts(morning, decision)
        if rest and rest.decides:
            return self._headline_rest(rest.text, title)
        short = self.texts.say("headline_protect", verdict=verdict, title=title)
        if rest:
            full = self.texts.say("headline_and_rest", headline=short, rest=rest.text)
            return _first_that_fits(full, short)
        where = self._where(check_in, morning, decision, decision.deciding)
        full = self.texts.say("headline_protect_where", verdict=verdict, where=where, title=title)
        return _first_that_fits(full, short) if where else short

    def _headline_rest(self, rest: str, title: str) -> str:
        """Lead with the verdict on the part that rests; that of the day would say to swap."""
        some = self.texts.say("rest_for_part")
        return _first_that_fits(
            self.texts.say("headline_rest_others", rest=rest, title=title),
            self.texts.say("headline_rest", rest=rest, title=title),
            self.texts.say("headline_rest", rest=some, title=title),
        )

    def _resting_parts(self, morning: MorningFacts, decision: DayDecision) -> RestingParts | None:
        parts = (
            PartVerdict(decided.verdict, _id(decided.deciding), part.muscle_group)
            for part, decided in zip(morning.parts, decision.parts, strict=True)
        )
        by = _id(decision.deciding)
        return RestingParts.of(decision.verdict, by, parts, self.vocabulary, self.texts)

    def _headline_train(self, verdict: str, morning: MorningFacts) -> str:
        if not morning.parts:
            return self.texts.say("headline_day_off")
        blocks = {part.block: part.goal for part in morning.parts}
        goals = dict.fromkeys(self.vocabulary.label(goal) for goal in blocks.values())
        what = self.texts.listing(list(goals))
        return self.texts.say("headline_train", verdict=verdict, what=what)

    def _where(
        self, check_in: CheckIn, morning: MorningFacts, decision: DayDecision, deciding: Rule
    ) -> str:
        """Name the muscle groups that the deciding rule concerns, or where it hurts; empty when
        the rule concerns the day."""
        if deciding in decision.day.fired:
            return ""
        places = (
            place
            for part in _parts_decided_by(deciding, morning, decision)
            for place in self._hurts(check_in, part, deciding) or (part.muscle_group,)
        )
        return self.wording.places(filter(None, places))


def does_less(verdict: Verdict, blocks: Sequence[BlockAdvice]) -> bool:
    """Tell whether a day asks for less of the same: each block that is not trained as planned may
    be done within limits."""
    held_back = [block for block in blocks if block.verdict is not Verdict.TRAIN]
    return verdict is Verdict.SWAP and bool(held_back) and all(b.does_less for b in held_back)


def not_reported(
    morning: MorningFacts, rule_set: RuleSet, dictionary: FactDictionary
) -> tuple[str, ...]:
    """List the facts that were left open: the readings that a check-in asks for, and whatever else
    the rule set reads, except details of the plan. A fact of a part counts when any part lacks it,
    and one from history only where more data would yield it: hours since output fell are not
    missing where it held. Facts that came after the rule set are not asked for."""

    def is_open(fact: FactDefinition) -> bool:
        if fact.scope == "day":
            if fact.origin == "history":
                return fact.name in morning.missing
            return fact.name not in morning.day
        if fact.origin == "history":
            return any(fact.name in part.missing for part in morning.parts)
        return any(fact.name not in part.facts for part in morning.parts)

    asked_for = _asked_for(rule_set.rules, dictionary, trains=bool(morning.parts))
    return tuple([fact.name for fact in asked_for if is_open(fact)])


@lru_cache(maxsize=64)
def _asked_for(
    rules: tuple[Rule, ...], dictionary: FactDictionary, *, trains: bool
) -> tuple[FactDefinition, ...]:
    """List the facts that can be left open under some rules, on a day with a plan or without."""
    read = {fact for rule in rules if trains or rule.scope == "day" for fact in rule.reads}
    edition = dictionary.edition_of(dict.fromkeys(f for rule in rules for f in rule.reads))
    later = dictionary.later_than(edition)
    return tuple(
        fact
        for name, fact in dictionary.items()
        if not (fact.origin == "plan" or fact.optional or name in later)
        and (name in read or (fact.scope == "day" and fact.origin == "check-in"))
    )


def _first_that_fits(*headlines: str) -> str:
    """Choose the first that is short enough; else the last."""
    fitting = (headline for headline in headlines if len(headline) <= HEADLINE_LENGTH)
    return next(fitting, headlines[-1])


def _at_rest(morning: MorningFacts, decision: DayDecision) -> frozenset[str]:
    """The muscle groups that rest in any part."""
    groups = (
        part.muscle_group
        for part, decided in zip(morning.parts, decision.parts, strict=True)
        if decided.verdict is Verdict.REST
    )
    return frozenset(filter(None, groups))


def _with_sessions(
    parts: Iterable[PartAdvice], blocks: Iterable[BlockAdvice]
) -> tuple[PartAdvice, ...]:
    """Add to each part that is held back what may be done in place of its block."""
    instead = {
        block.block: tuple(one for one in block.alternatives if not one.within_limits)
        for block in blocks
    }
    return tuple(
        part if part.verdict is Verdict.TRAIN else replace(part, alternatives=instead[part.block])
        for part in parts
    )


def _id(rule: Rule | RuleName | None) -> str | None:
    return rule.id if rule else None


def _parts_decided_by(
    deciding: Rule, morning: MorningFacts, decision: DayDecision
) -> Iterator[PartFacts]:
    """Yield the parts decided by the rule that the day's verdict is attributed to."""
    for part, decided in zip(morning.parts, decision.parts, strict=True):
        if decided.deciding is deciding:
            yield part
