"""How does a decision become advice that a person can act on? (pure)"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import cache

from dawnrule.advice.advice import Advice, Change, Note, PartAdvice, RuleName, RuleSetName
from dawnrule.advice.alternatives import Alternatives
from dawnrule.advice.options import Options, PartOptions
from dawnrule.facts.check_in import CheckIn
from dawnrule.facts.derive import FactSource, MorningFacts, PartFacts
from dawnrule.rules.changes import Change as FoundChange
from dawnrule.rules.decision import DayDecision, Decision
from dawnrule.rules.rule_set import Rule, RuleSet
from dawnrule.rules.what_if import WhatIf
from dawnrule.rules.wording import Wording
from dawnrule.vocabulary import FactDictionary, Facts, Texts, Verdict, Vocabulary
from dawnrule.vocabulary.texts import ENGLISH

HEADLINE_LENGTH = 140
"""The most characters of a headline: what fits a phone's lock screen and is spoken in a breath."""


@dataclass(frozen=True, slots=True)
class Composer:
    """Composes advice in one language."""

    dictionary: FactDictionary
    vocabulary: Vocabulary
    texts: Texts

    @classmethod
    @cache
    def shipped(cls, language: str = ENGLISH) -> Composer:
        """A composer over the data that ships with the service."""
        dictionary, texts = FactDictionary.shipped(), Texts.shipped(language)
        if language != ENGLISH:  # in English the facts themselves say how they read
            dictionary = dictionary.said_in(texts)
        return cls(dictionary, Vocabulary.shipped().said_in(texts), texts)

    def compose(
        self,
        advice_id: str,
        check_in: CheckIn,
        morning: MorningFacts,
        decision: DayDecision,
        options_of: Callable[[PartFacts, Decision], PartOptions],
        rule_set: RuleSet,
    ) -> Advice:
        """The advice on a check-in; ``decision`` must be that of ``rule_set`` on ``morning``, and
        ``options_of`` must tell the options of the same."""
        return Advice(
            advice_id=advice_id,
            athlete_id=check_in.athlete_id,
            date=check_in.date.isoformat(),
            verdict=decision.verdict,
            headline=self._headline(morning, decision),
            rule=self._name(decision.deciding),
            reason=self._day_reason(morning, decision),
            caution=self._caution(decision.deciding, morning),
            parts=tuple(
                self._part(part, decided, options_of(part, decided))
                for part, decided in zip(morning.parts, decision.parts, strict=True)
            ),
            notes=tuple(self._notes(decision)),
            not_reported=not_reported(morning, rule_set, self.dictionary),
            rule_set=RuleSetName(rule_set.name, rule_set.version, rule_set.digest),
        )

    @property
    def wording(self) -> Wording:
        """What says rules and facts in this language."""
        return Wording(self.dictionary, self.vocabulary, self.texts)

    def options(
        self, source: FactSource, what_if: WhatIf, morning: MorningFacts, decision: DayDecision
    ) -> Options:
        """What finds the options of the parts of a morning on which ``decision`` was made."""
        today = what_if.on_day(source.day.facts)
        at_rest = (
            part.muscle_group
            for part, decided in zip(morning.parts, decision.parts, strict=True)
            if decided.verdict is Verdict.REST
        )
        alternatives = Alternatives(source, today, frozenset(filter(None, at_rest)))
        return Options(source, what_if, today, alternatives, self.wording, self.texts)

    def _part(self, part: PartFacts, decision: Decision, options: PartOptions) -> PartAdvice:
        deciding = decision.deciding
        others = (rule.id for rule in decision.fired if rule is not deciding)
        return PartAdvice(
            block=part.block,
            goal=part.goal,
            muscle_group=part.muscle_group,
            verdict=decision.verdict,
            rule=self._name(deciding),
            reason=self._reason(deciding, part.facts),
            caution=self._part_caution(deciding),
            opens_at=options.opens_at.isoformat() if options.opens_at else None,
            opens_note=options.opens_note,
            would_change=tuple(map(self._change, options.changes.single)),
            would_change_together=tuple(map(self._change, options.changes.together)),
            alternatives=options.alternatives,
            also_fired=tuple(others),
        )

    def _change(self, change: FoundChange) -> Change:
        to = self.wording.range(change.to)
        return Change(change.fact, change.before, to, change.verdict)

    def _reason(self, deciding: Rule | None, facts: Facts) -> str:
        if deciding is None:
            return self.texts.say("reason_train")
        return self.wording.reason(deciding, facts)

    def _day_reason(self, morning: MorningFacts, decision: DayDecision) -> str:
        if decision.deciding is None:
            return self.texts.say("reason_train" if morning.parts else "reason_day_off")
        return self._reason(decision.deciding, _facts_decided_on(morning, decision))

    def _part_caution(self, deciding: Rule | None) -> str:
        return self.texts.of_rule(deciding.caution) if deciding else self.texts.say("caution_train")

    def _caution(self, deciding: Rule | None, morning: MorningFacts) -> str:
        if deciding is not None:
            return self.texts.of_rule(deciding.caution)
        return self.texts.say("caution_train" if morning.parts else "caution_day_off")

    def _notes(self, decision: DayDecision) -> Iterator[Note]:
        """Each note that fired once, in the order of the day and then of the parts; for a part
        that rests there is nothing to say about how to train it."""
        trained = (part for part in decision.parts if part.verdict is not Verdict.REST)
        fired = (rule for subject in (decision.day, *trained) for rule in subject.fired)
        for rule in dict.fromkeys(rule for rule in fired if rule.is_note):
            name = RuleName(rule.id, self.texts.of_rule(rule.title))
            yield Note(name, self.texts.of_rule(rule.caution))

    def _name(self, rule: Rule | None) -> RuleName | None:
        return RuleName(rule.id, self.texts.of_rule(rule.title)) if rule else None

    def _headline(self, morning: MorningFacts, decision: DayDecision) -> str:
        verdict = self.vocabulary.label(decision.verdict)
        if decision.deciding is None or decision.verdict is Verdict.TRAIN:
            return self._headline_train(verdict, morning)
        title = self.texts.of_rule(decision.deciding.title)
        where = self._where(morning, decision)
        if where:
            full = self.texts.say(
                "headline_protect_where", verdict=verdict, where=where, title=title
            )
            if len(full) <= HEADLINE_LENGTH:
                return full
        return self.texts.say("headline_protect", verdict=verdict, title=title)

    def _headline_train(self, verdict: str, morning: MorningFacts) -> str:
        if not morning.parts:
            return self.texts.say("headline_day_off")
        blocks = {part.block: part.goal for part in morning.parts}
        goals = dict.fromkeys(self.vocabulary.label(goal) for goal in blocks.values())
        what = self.texts.listing(list(goals))
        return self.texts.say("headline_train", verdict=verdict, what=what)

    def _where(self, morning: MorningFacts, decision: DayDecision) -> str:
        """The muscle groups that the deciding rule is about; empty when it is about the day."""
        if decision.deciding in decision.day.fired:
            return ""
        groups = (
            self.vocabulary.label(part.muscle_group)
            for part, decided in zip(morning.parts, decision.parts, strict=True)
            if decided.deciding is decision.deciding and part.muscle_group
        )
        return self.texts.listing(list(dict.fromkeys(groups)))


def not_reported(
    morning: MorningFacts, rule_set: RuleSet, dictionary: FactDictionary
) -> tuple[str, ...]:
    """The facts that were left open: the readings that a check-in asks for, and whatever else the
    rule set reads, save details of the plan. A fact of a part counts when any part lacks it, and
    one from history where more data would tell it: hours since output fell are not missing where
    it held."""
    read = {*rule_set.facts_read("day"), *(rule_set.facts_read("part") if morning.parts else ())}
    day = (morning.day, morning.missing)
    parts = [(part.facts, part.missing) for part in morning.parts]

    def open_question(name: str) -> bool:
        fact = dictionary[name]
        if fact.origin == "plan":
            return False
        asked = fact.scope == "day" and fact.origin == "check-in"
        if not (asked or name in read):
            return False
        about = [day] if fact.scope == "day" else parts
        if fact.origin == "history":
            return any(name in missing for _, missing in about)
        return any(name not in facts for facts, _ in about)

    return tuple(name for name in dictionary if open_question(name))


def _facts_decided_on(morning: MorningFacts, decision: DayDecision) -> Facts:
    """The facts of the subject by whose deciding rule the day is told."""
    for part, decided in zip(morning.parts, decision.parts, strict=True):
        if decided.deciding is decision.deciding:
            return part.facts
    return morning.day
