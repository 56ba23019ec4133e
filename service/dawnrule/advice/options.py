"""When does a part open, what would have to be different, and what can be done instead? (pure)"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime
from zoneinfo import ZoneInfo

from dawnrule.advice.alternatives import Alternatives
from dawnrule.facts.derive import FactSource, PartFacts
from dawnrule.rules.changes import Changes, changes_for
from dawnrule.rules.decision import Decision
from dawnrule.rules.opening import Opening, opening_of
from dawnrule.rules.what_if import WhatIf
from dawnrule.rules.wording import Wording
from dawnrule.vocabulary import FactDictionary, Facts, Texts, Verdict


@dataclass(frozen=True, slots=True)
class PartOptions:
    """What there is to say beyond the verdict on a part; all empty when it is open.

    ``opens_at`` is told in the athlete's time zone; ``opens_note`` says why time alone does not
    open it, and what else it needs.
    """

    opens_at: datetime | None = None
    opens_note: str | None = None
    changes: Changes = field(default_factory=Changes)
    alternatives: tuple[dict[str, str], ...] = ()


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
        opening = self._opening(part)
        changes = self._changes(decision, part.facts)
        return PartOptions(
            opens_at=self._local(opening.at) if opening.at else None,
            opens_note=None if opening.at else self._note(part, opening, changes),
            changes=changes,
            alternatives=tuple(self.alternatives.to(part)),
        )

    @property
    def _dictionary(self) -> FactDictionary:
        return self.source.past.dictionary

    def _opening(self, part: PartFacts) -> Opening:
        since = self.source.trained.times_of(part.muscle_group)
        return opening_of(
            self.today,
            lambda start: self._facts_at(part, start),
            part.starts_at,
            since,
            self._dictionary,
        )

    def _facts_at(self, part: PartFacts, start: datetime) -> Facts:
        return self.source.part(part.block, part.muscle_group, start).facts

    def _changes(self, decision: Decision, facts: Facts) -> Changes:
        return changes_for(self.what_if, decision, facts, self._dictionary)

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
        return moment.astimezone(ZoneInfo(self.source.athlete.time_zone))
