"""When does each muscle group open again, and what would a balanced session be? (pure)

An outlook assumes that nothing is trained until then and that each night is long enough. What is
known this morning of soreness, pain, illness and warning signs is taken to stay as it is.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any, Self
from zoneinfo import ZoneInfo

from dawnrule.facts.check_in import Athlete, Block, CheckIn, History
from dawnrule.facts.derive import FactSource
from dawnrule.rules.changes import changes_for
from dawnrule.rules.opening import opening_of
from dawnrule.rules.what_if import WhatIf
from dawnrule.vocabulary import FactDictionary, Facts, Pattern, Verdict

MOVEMENTS = ("press", "pull", "hinge", "squat")
"""What a balanced session has one of each of: common practice, no source."""


@dataclass(frozen=True, slots=True)
class Prospect:
    """When a muscle group opens for a goal: ``opens_at`` is now when it is open, None when time
    alone does not open it within the outlook. ``needs`` then says what else would, and
    ``needs_from`` from when on that is enough, None for now; ``stopped`` is True where nothing
    that could be named does, and with neither it opens after the outlook."""

    muscle_group: str
    goal: str
    opens_at: datetime | None
    needs: tuple[tuple[str, str], ...] = ()
    needs_from: datetime | None = None
    stopped: bool = False


@dataclass(frozen=True, slots=True)
class Outlook:
    """Answers for one athlete at one moment. Where there is no check-in of today, which
    ``has_check_in`` tells, ``source`` holds an empty one."""

    source: FactSource
    what_if: WhatIf
    now: datetime
    days: int
    has_check_in: bool

    @classmethod
    def of(
        cls,
        athlete: Athlete,
        check_in: CheckIn | None,
        history: History,
        what_if: WhatIf,
        now: datetime,
        days: int,
    ) -> Self:
        """The outlook over so many days from ``now`` (aware) on; ``check_in`` is today's."""
        today = check_in or CheckIn(athlete.id, athlete.today(now), ())
        source = FactSource.of(athlete, today, history, now)
        return cls(source, what_if, now, days, check_in is not None)

    def prospects(self) -> Iterator[Prospect]:
        """Each goal for each muscle group, in the vocabulary's order."""
        words = self.source.past.vocabulary
        for group in words.muscle_groups:
            for goal in words.goals:
                yield self.prospect(group, goal)

    def prospect(self, group: str, goal: str, pattern: str | None = None) -> Prospect:
        """When one muscle group opens for one goal; with a pattern, for training it in that way."""
        block = Block(goal=goal, muscle_groups=(group,), pattern=pattern)
        decision = self.what_if.decision(self._facts(block, group, self.now))
        if decision.verdict is Verdict.TRAIN:
            return Prospect(group, goal, self.now)
        opening = opening_of(
            self.what_if,
            lambda start: self._facts(block, group, start),
            self.now,
            self.source.trained.times_of(group),
            self._dictionary,
        )
        if opening.at is None:
            return self._held_back(block, group, opening.settled_at)
        within = opening.at <= self.now + timedelta(days=self.days)
        return Prospect(group, goal, opening.at if within else None)

    def balanced_session(self, goal: str) -> Iterator[tuple[str, Pattern | None, datetime | None]]:
        """For each movement the pattern that opens first, that trained longest ago first, and when
        it opens; None where none opens within the outlook."""
        words = self.source.past.vocabulary
        for movement in MOVEMENTS:
            patterns = [p for p in words.patterns.values() if p.movement == movement]
            opening = {p.id: self._pattern_opens(p, goal) for p in patterns}
            able = [(at, self._last_trained(p), p) for p in patterns if (at := opening[p.id])]
            if able:
                at, _, pattern = min(able, key=lambda entry: entry[:2])
                yield movement, pattern, at
            else:
                yield movement, None, None

    @property
    def _dictionary(self) -> FactDictionary:
        return self.source.past.dictionary

    def _held_back(self, block: Block, group: str, settled_at: datetime) -> Prospect:
        facts = self._facts(block, group, settled_at)
        decision = self.what_if.decision(facts)
        changes = changes_for(self.what_if, decision, facts, self._dictionary)
        single = [c for c in changes.single if c.verdict is Verdict.TRAIN]
        needed = changes.together or single[:1]
        needs = tuple((change.fact, change.to) for change in needed)
        needs_from = settled_at if needs and settled_at > self.now else None
        return Prospect(group, block.goal, None, needs, needs_from, stopped=not needs)

    def _pattern_opens(self, pattern: Pattern, goal: str) -> datetime | None:
        prospects = (self.prospect(group, goal, pattern.id) for group in pattern.muscle_groups)
        times = [prospect.opens_at for prospect in prospects]
        known = [at for at in times if at is not None]
        return max(known) if len(known) == len(times) else None

    def _last_trained(self, pattern: Pattern) -> datetime:
        """The latest training of the pattern's muscle groups; the beginning of time when none is
        known."""
        times = [at for g in pattern.muscle_groups for at in self.source.trained.times_of(g)]
        return max(times, default=datetime.min.replace(tzinfo=self.now.tzinfo))

    def _facts(self, block: Block, group: str, start: datetime) -> Facts:
        """The part's facts; of the day's only what stops training, as the days to come are
        taken to be good ones."""
        facts = self.source.told_of(block, group, start).facts
        return {
            name: value
            for name, value in facts.items()
            if self._dictionary[name].scope == "part" or self._dictionary[name].stop
        }


def outlook_to_plain(outlook: Outlook, goal: str) -> dict[str, Any]:
    """An outlook as plain JSON values, times in the athlete's zone; ``goal`` is that of the
    balanced session."""
    zone = ZoneInfo(outlook.source.athlete.time_zone)

    def local(at: datetime | None) -> str | None:
        return at.astimezone(zone).isoformat(timespec="seconds") if at else None

    return {
        "athlete_id": outlook.source.athlete.id,
        "from": local(outlook.now),
        "days": outlook.days,
        "prospects": [
            {
                "muscle_group": prospect.muscle_group,
                "goal": prospect.goal,
                "open_now": prospect.opens_at == outlook.now,
                "opens_at": local(prospect.opens_at),
                "needs": [{"fact": fact, "to": to} for fact, to in prospect.needs],
                "needs_from": local(prospect.needs_from),
                "stopped": prospect.stopped,
            }
            for prospect in outlook.prospects()
        ],
        "balanced_session": [
            {
                "movement": movement,
                "goal": goal,
                "pattern": pattern.id if pattern else None,
                "muscle_groups": list(pattern.muscle_groups) if pattern else [],
                "opens_at": local(at),
            }
            for movement, pattern, at in outlook.balanced_session(goal)
        ],
    }
