"""Options of a part: opening time, changes that would help, alternatives (pure)."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field, replace
from datetime import datetime
from itertools import islice

from dawnrule.facts.derive import FactSource, PartFacts
from dawnrule.i18n.catalog import Texts
from dawnrule.model import FactDefinition, FactDictionary, Facts, Modality, Verdict, Vocabulary
from dawnrule.model.advice import Alternative
from dawnrule.model.entities import Block
from dawnrule.model.time_zones import zone_named
from dawnrule.model.training import groups_of
from dawnrule.rules.counterfactuals import Changes, Opening, WhatIf, changes_for, opening_of
from dawnrule.rules.evaluation.decision import Decision
from dawnrule.rules.text import Wording

EACH_AT_MOST = 4
"""How many ways and how many muscle groups are offered: more than a screen's worth helps nobody."""

LOW = "low"
STEADY = "steady-endurance"


@dataclass(frozen=True, slots=True)
class Alternatives:
    """Finds what the same rules allow on the same morning; ``at_rest`` are the muscle groups that
    rest today in any part. What was found for one part of a block is kept for the others."""

    source: FactSource
    what_if: WhatIf
    at_rest: frozenset[str]
    others: dict[int, tuple[Alternative, ...]] = field(default_factory=dict)
    fitting: dict[tuple[int, str], bool] = field(default_factory=dict)

    def to(self, part: PartFacts) -> Iterator[Alternative]:
        """Ways of low eccentric load that load nothing at rest, those first that spare the part's
        own muscle group; then, for work against a load or for skill, what is open today for the
        same goal, that trained longest ago first."""
        low = [m for m in self._words.modalities.values() if m.eccentric_load == LOW]
        low.sort(key=lambda modality: part.muscle_group in modality.loads)
        fitting = (modality for modality in low if self._fits(modality, part))
        yield from (Alternative(modality=m.id) for m in islice(fitting, EACH_AT_MOST))
        if part.block not in self.others:
            self.others[part.block] = tuple(islice(self._others(part), EACH_AT_MOST))
        yield from self.others[part.block]

    @property
    def _words(self) -> Vocabulary:
        return self.source.past.vocabulary

    def _fits(self, modality: Modality, part: PartFacts) -> bool:
        asked = part.block, modality.id
        if asked not in self.fitting:
            self.fitting[asked] = self._loads_nothing_at_rest(modality, part)
        return self.fitting[asked]

    def _loads_nothing_at_rest(self, modality: Modality, part: PartFacts) -> bool:
        block = Block(goal=STEADY, modality=modality.id)
        return self.at_rest.isdisjoint(modality.loads) and not any(
            self.what_if.rests(self._facts(block, group, part))
            for group in modality.loads or (None,)
        )

    def _others(self, part: PartFacts) -> Iterator[Alternative]:
        if part.goal in self._words.goals_of_kind("growth", "force"):
            pattern = self.source.check_in.plan[part.block].pattern
            yield from self._patterns(part) if pattern else self._groups(part)

    def _groups(self, part: PartFacts) -> Iterator[Alternative]:
        words = self._words
        block = self.source.check_in.plan[part.block]
        if block.modality and words.modalities[block.modality].loads:
            block = replace(block, modality=None)  # it would load its own groups, not the other
        planned = {g for b in self.source.check_in.plan for g in groups_of(b, words)}
        others = [group for group in words.muscle_groups if group not in planned]
        for group in sorted(others, key=lambda group: -self._hours_since_trained([group], part)):
            if self.what_if.is_open(self._facts(block, group, part)):
                yield Alternative(goal=part.goal, muscle_group=group)

    def _patterns(self, part: PartFacts) -> Iterator[Alternative]:
        planned = {b.pattern for b in self.source.check_in.plan}
        others = [
            pattern
            for pattern in self._words.patterns.values()
            if pattern.id not in planned and self.at_rest.isdisjoint(pattern.muscle_groups)
        ]
        others.sort(key=lambda pattern: -self._hours_since_trained(pattern.muscle_groups, part))
        for pattern in others:
            block = Block(goal=part.goal, pattern=pattern.id)
            facts = (self._facts(block, group, part) for group in pattern.muscle_groups)
            if all(map(self.what_if.is_open, facts)):
                yield Alternative(goal=part.goal, pattern=pattern.id)

    def _facts(self, block: Block, group: str | None, part: PartFacts) -> Facts:
        """The facts of a block in the place of the part's."""
        others = self.source.other_blocks(part.block)
        return self.source.facts_for(block, group, part.starts_at, others).facts

    def _hours_since_trained(self, groups: Iterable[str], part: PartFacts) -> float:
        return hours_since_trained(self.source, groups, part.starts_at)


def hours_since_trained(source: FactSource, groups: Iterable[str], start: datetime) -> float:
    """Return the hours from when any of the groups was last trained to ``start``; less than any, so
    that it stands last, where nothing was told of one."""
    hours = [source.trained.hours_since(group, start) for group in groups]
    return min(-1.0 if one is None else one for one in hours)


@dataclass(frozen=True, slots=True)
class PartOptions:
    """What there is to say beyond the verdict on a part; all empty when it is open.

    ``opens_at`` is told in the athlete's time zone; ``opens_note`` says why time alone does not
    open it, and what else it needs.
    """

    opens_at: datetime | None = None
    opens_note: str | None = None
    changes: Changes = field(default_factory=Changes)
    alternatives: tuple[Alternative, ...] = ()


@dataclass(frozen=True, slots=True)
class Options:
    """Finds the options of the parts of one morning."""

    source: FactSource
    what_if: WhatIf
    today: WhatIf
    """The same with the day's rules settled, for what does not change the day."""
    alternatives: Alternatives
    wording: Wording
    texts: Texts

    def of(self, part: PartFacts, decision: Decision) -> PartOptions:
        """The options of a part on which ``decision`` was made."""
        if decision.verdict is Verdict.TRAIN:
            return PartOptions()
        if self._waits_for_clearance(decision):
            note = self.texts.say("opens_after_clearance")
            return PartOptions(opens_note=note, alternatives=self._alternatives(part))
        opening = self._opening(part)
        changes = self._changes(decision, part.facts)
        return PartOptions(
            opens_at=self._local(opening.at) if opening.at else None,
            opens_note=None if opening.at else self._note(part, opening, changes),
            changes=changes,
            alternatives=self._alternatives(part),
        )

    def _waits_for_clearance(self, decision: Decision) -> bool:
        """Tell whether a rule holds the part back for pain, illness or a sign that the check-in
        tells of, whenever the part starts: no moment has to be tried, and no change to be named."""
        read = [rule.reads for rule in decision.fired if rule.is_protective and rule.reads]
        return any(all(map(self._is_told_danger, facts)) for facts in read)

    def _is_told_danger(self, name: str) -> bool:
        fact = self._dictionary[name]
        return fact.stop and fact.origin == "check-in"

    @property
    def _dictionary(self) -> FactDictionary:
        return self.source.past.dictionary

    def _alternatives(self, part: PartFacts) -> tuple[Alternative, ...]:
        """Find the alternatives to a part; rules of the second edition have them for blocks."""
        is_of_block = self.source.past.is_second_edition
        return () if is_of_block else tuple(self.alternatives.to(part))

    def _opening(self, part: PartFacts) -> Opening:
        since = (
            *self.source.trained.times_of(part.muscle_group),
            *self.source.starts_of_day(),
        )
        return opening_of(
            self.today,
            lambda start: self._facts_at(part, start),
            part.starts_at,
            since,
        )

    def _facts_at(self, part: PartFacts, start: datetime) -> Facts:
        return self.source.part(part.block, part.muscle_group, start).facts

    def _changes(self, decision: Decision, facts: Facts) -> Changes:
        return changes_for(self.what_if, decision, facts, self._dictionary, self._may_change)

    def _may_change(self, fact: FactDefinition) -> bool:
        """Tell whether a change of a fact is named. By rules of the second edition it is that of
        time alone: nobody is invited to answer better, and the past stays as it was."""
        return fact.grows or not self.source.past.is_second_edition

    def _note(self, part: PartFacts, opening: Opening, now: Changes) -> str:
        """What a part needs besides time, asked at the moment when time has done what it can;
        ``now`` is what it needs when it starts as planned."""
        facts = self._facts_at(part, opening.settled_at)
        decision = self.today.decision(facts)
        at_once = opening.settled_at == part.starts_at
        needed = now if at_once else self._changes(decision, facts)
        single = (change for change in needed.single if change.verdict is Verdict.TRAIN)
        changes = needed.together or tuple(single)[:1]
        if changes and changes[0].verdict is Verdict.TRAIN:
            said = self.texts.listing(
                [self.wording.need(change.fact, change.to) for change in changes]
            )
            return self._needs(said, part.starts_at, opening.settled_at)
        read = (fact for rule in decision.fired for fact in rule.reads)
        stopped = any(self._dictionary[fact].stop for fact in read)
        return self.texts.say("opens_after_clearance" if stopped else "opens_unknown")

    def _needs(self, changes: str, planned: datetime, settled_at: datetime) -> str:
        if settled_at == planned:
            return self.texts.say("opens_with", changes=changes)
        on_the_clock = self._local(settled_at).replace(tzinfo=None)
        from_when = on_the_clock.isoformat(sep=" ", timespec="minutes")
        return self.texts.say("opens_from_with", time=from_when, changes=changes)

    def _local(self, moment: datetime) -> datetime:
        return moment.astimezone(zone_named(self.source.athlete.time_zone))
