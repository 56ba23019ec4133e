"""Outlook: when each muscle group opens again, and a balanced session (pure).

An outlook assumes that nothing is trained until then and that each night is long enough. What is
known this morning of soreness, pain, illness and warning signs is taken to stay as it is.
"""

from __future__ import annotations

import textwrap
from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import groupby
from typing import Self

from dawnrule.advice.composer import Composer
from dawnrule.facts.derive import FactSource
from dawnrule.i18n.catalog import Texts, capital
from dawnrule.model import FactDictionary, Facts, Pattern, Verdict, Vocabulary
from dawnrule.model.entities import Athlete, Block, CheckIn, History
from dawnrule.model.forecasts import OwnForecast
from dawnrule.model.time_zones import zone_named
from dawnrule.rules.counterfactuals import WhatIf, changes_for, opening_of
from dawnrule.rules.staged_returns import BundledReturns
from dawnrule.rules.text import Wording

_LINE_WIDTH = 100
_NEXT_LINES = "  "


def outlook_text(outlook: OutlookReport, athlete: Athlete, composer: Composer) -> str:
    """Write an outlook as text: what it does not know today, what opens when for each muscle
    group, the balanced session, and what is assumed."""
    lines = _Lines.of(outlook, composer)
    heading = composer.texts.say(
        "outlook_heading",
        athlete=athlete.name,
        days=outlook.days,
        time=_clock_text(outlook.start),
        time_zone=athlete.time_zone,
    )
    groups = "\n".join(map(_wrapped, lines.groups()))
    session = "\n".join(map(_wrapped, lines.balanced_session()))
    unknown = [_wrapped(outlook.note)] if outlook.note else []
    own = ["\n".join(_wrapped(one.text) for one in outlook.recovery)] if outlook.recovery else []
    return "\n\n".join((heading, *unknown, groups, *own, session, _wrapped(outlook.assumes)))


def outlook_of_groups(outlook: OutlookReport, composer: Composer) -> list[str]:
    """Write a line on what opens when for all muscle groups with the same outlook."""
    return list(_Lines.of(outlook, composer).groups_alike())


@dataclass(frozen=True, slots=True)
class _Lines:
    outlook: OutlookReport
    vocabulary: Vocabulary
    wording: Wording
    texts: Texts

    @classmethod
    def of(cls, outlook: OutlookReport, composer: Composer) -> Self:
        wording = Wording(composer.dictionary, composer.vocabulary, composer.texts)
        return cls(outlook, composer.vocabulary, wording, composer.texts)

    def groups(self) -> Iterator[str]:
        for group, of_group in groupby(self.outlook.prospects, key=lambda one: one.muscle_group):
            what, said = self._begun(group), self._group(list(of_group))
            yield self.texts.say("outlook_line", what=what, said=said)

    def groups_alike(self) -> Iterator[str]:
        alike: dict[str, list[str]] = defaultdict(list)
        for group, of_group in groupby(self.outlook.prospects, key=lambda one: one.muscle_group):
            alike[self._group(list(of_group))].append(self.vocabulary.label(group))
        for said, labels in alike.items():
            what = self.texts.listing(labels)
            yield self.texts.say("outlook_line", what=capital(what), said=said)

    def balanced_session(self) -> Iterator[str]:
        movements = self.outlook.balanced_session
        goal = self.vocabulary.label(movements[0].goal)
        yield self.texts.say("outlook_balanced", goal=goal)
        for movement in movements:
            what, said = self._begun(movement.movement), self._movement(movement)
            yield self.texts.say("outlook_line", what=what, said=said)

    def _begun(self, identifier: str) -> str:
        """A word at the head of a line."""
        return capital(self.vocabulary.label(identifier))

    def _group(self, prospects: Sequence[LocalProspect]) -> str:
        """Put goals with the same outlook together, in the order in which they open."""
        if all(one.open_now for one in prospects):
            return self.texts.say("outlook_open_for_all")
        if len(prospects) == len(self.vocabulary.goals) and all(one.stopped for one in prospects):
            return self.texts.say("outlook_all_stopped")
        is_open, others = ([p for p in prospects if p.open_now is now] for now in (True, False))
        goals: dict[tuple[str, str], list[LocalProspect]] = defaultdict(list)
        if len(is_open) > len(others):
            goals["outlook_open_but", ""] = others
            is_open = []
        for one in sorted([*is_open, *others], key=_order):
            goals[self._answer(one)].append(one)
        return "; ".join(
            self.texts.say(sentence, what=what, goals=self._goals(several))
            for (sentence, what), several in goals.items()
        )

    def _goals(self, prospects: Sequence[LocalProspect]) -> str:
        if len(prospects) == len(self.vocabulary.goals):
            return self.texts.say("outlook_everything")
        return self.texts.listing([self.vocabulary.label(one.goal) for one in prospects])

    def _answer(self, prospect: LocalProspect) -> tuple[str, str]:
        """Choose the sentence that a goal stands in, and the time or the need in it."""
        if prospect.open_now:
            return "outlook_open", ""
        if prospect.opens_at:
            return "outlook_opens", _clock_text(prospect.opens_at)
        if prospect.needs:
            return "outlook_needs", self._needs(prospect)
        return ("outlook_stopped" if prospect.stopped else "outlook_later"), ""

    def _needs(self, prospect: LocalProspect) -> str:
        needs = [self.wording.need(need.fact, need.to) for need in prospect.needs]
        changes = self.texts.listing(needs)
        if prospect.needs_from is None:
            return changes
        time = _clock_text(prospect.needs_from)
        return self.texts.say("outlook_needs_from", changes=changes, time=time)

    def _movement(self, movement: Movement) -> str:
        if movement.pattern is None or movement.opens_at is None:
            return self.texts.say("outlook_no_pattern", days=self.outlook.days)
        is_open = movement.opens_at.timestamp() == self.outlook.start.timestamp()
        return self.texts.say(
            "outlook_pattern_open" if is_open else "outlook_pattern_opens",
            pattern=self.vocabulary.label(movement.pattern),
            muscle_groups=self.texts.listing(
                [self.vocabulary.label(group) for group in movement.muscle_groups]
            ),
            time=_clock_text(movement.opens_at),
        )


def _order(prospect: LocalProspect) -> tuple[bool, float]:
    """Sort prospects that open before others, the earliest first."""
    opens_at = prospect.opens_at
    return opens_at is None, opens_at.timestamp() if opens_at else 0


def _clock_text(time: datetime) -> str:
    """A time in the athlete's zone as a clock there shows it."""
    return time.replace(tzinfo=None).isoformat(" ", "minutes")


def _wrapped(line: str) -> str:
    return textwrap.fill(line, _LINE_WIDTH, subsequent_indent=_NEXT_LINES)


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
        edition = FactDictionary.bundled().edition_of(what_if.facts_read)
        source = FactSource.of(athlete, today, history, now, edition, BundledReturns())
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
        facts = self.source.facts_for(block, group, start).facts
        return {
            name: value
            for name, value in facts.items()
            if self._dictionary[name].scope == "part" or self._dictionary[name].stop
        }


@dataclass(frozen=True, slots=True)
class Need:
    """What a fact would have to be."""

    fact: str
    to: str


@dataclass(frozen=True, slots=True)
class LocalProspect:
    """A prospect with times in the athlete's zone; ``open_now`` is whether it opens at once."""

    muscle_group: str
    goal: str
    open_now: bool
    opens_at: datetime | None
    needs: tuple[Need, ...]
    needs_from: datetime | None
    stopped: bool


@dataclass(frozen=True, slots=True)
class Movement:
    """A movement of the balanced session by the pattern that opens first, None for no such."""

    movement: str
    goal: str
    pattern: str | None
    muscle_groups: tuple[str, ...]
    opens_at: datetime | None


@dataclass(frozen=True, slots=True)
class OutlookReport:
    """An outlook with times in the athlete's zone, whole seconds.

    ``note`` says what is not known where there is no check-in of today, None where there is one;
    ``assumes`` says what the outlook takes for granted. ``recovery`` is how the athlete's own
    soreness is likely to go, where enough was seen; what opens hangs on the rules alone.
    """

    athlete_id: str
    start: datetime
    days: int
    prospects: tuple[LocalProspect, ...]
    balanced_session: tuple[Movement, ...]
    note: str | None
    assumes: str
    recovery: tuple[OwnForecast, ...] = ()

    @classmethod
    def of(
        cls, outlook: Outlook, goal: str, texts: Texts, recovery: tuple[OwnForecast, ...] = ()
    ) -> Self:
        """Report an outlook; ``goal`` is that of the balanced session."""
        zone = zone_named(outlook.source.athlete.time_zone)

        def local(at: datetime | None) -> datetime | None:
            return at.astimezone(zone).replace(microsecond=0) if at else None

        return cls(
            athlete_id=outlook.source.athlete.id,
            start=outlook.now.astimezone(zone).replace(microsecond=0),
            days=outlook.days,
            prospects=tuple(
                LocalProspect(
                    muscle_group=prospect.muscle_group,
                    goal=prospect.goal,
                    open_now=prospect.opens_at == outlook.now,
                    opens_at=local(prospect.opens_at),
                    needs=tuple(Need(fact, to) for fact, to in prospect.needs),
                    needs_from=local(prospect.needs_from),
                    stopped=prospect.stopped,
                )
                for prospect in outlook.prospects()
            ),
            balanced_session=tuple(
                Movement(
                    movement=movement,
                    goal=goal,
                    pattern=pattern.id if pattern else None,
                    muscle_groups=pattern.muscle_groups if pattern else (),
                    opens_at=local(at),
                )
                for movement, pattern, at in outlook.balanced_session(goal)
            ),
            note=None if outlook.has_check_in else texts.say("outlook_no_check_in"),
            assumes=texts.say("outlook_assumes"),
            recovery=recovery,
        )
