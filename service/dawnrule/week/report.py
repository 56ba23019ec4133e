"""A week as it is told: sessions with what lets them through, what is left out and why, totals."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from itertools import starmap
from typing import TypeAlias

from dawnrule.facts.history import block_minutes
from dawnrule.facts.work import lands_hard
from dawnrule.i18n.catalog import Texts, capital
from dawnrule.i18n.dates import moment_text
from dawnrule.model import Vocabulary
from dawnrule.model.advice import Alternative, RuleName
from dawnrule.model.entities import Athlete, Block
from dawnrule.model.time_zones import zone_named
from dawnrule.model.training import groups_of
from dawnrule.recovery.report import in_ten
from dawnrule.rules.counterfactuals import WhatIf
from dawnrule.rules.rule_set import Rule
from dawnrule.rules.text import Wording
from dawnrule.week.expected_soreness import ExpectedSoreness
from dawnrule.week.explanation import Unplaced
from dawnrule.week.house_limits import HouseLimit
from dawnrule.week.judge import Ruling
from dawnrule.week.numbers import WeekNumbers
from dawnrule.week.planner import Refusal, Week
from dawnrule.week.request import Placed

_SINCE_GROWTH = "hours_since_growth_work"
_GROWTH, _FORCE = "growth", "force"
_WHOLE, _HALF = 1.0, 0.5
_LONG_AGO_HOURS = 7 * 24
"""Growth work longer ago than a week speaks for itself."""


@dataclass(frozen=True, slots=True)
class Margin:
    """By how much a session is let through: hours since growth work of the muscle group that has
    the least to spare, and how many of them are over what the rule asks for."""

    muscle_group: str
    hours: float
    over_hours: float


@dataclass(frozen=True, slots=True)
class Likely:
    """How likely soreness of a muscle group is low by then: at least so many times in ten; ``low``
    says in words what counts as low."""

    muscle_group: str
    in_ten: int
    low: str


@dataclass(frozen=True, slots=True)
class Fallback:
    """What to do in place of a session if its morning says no: one session for each block that
    would be refused, none where the day is rested."""

    sessions: tuple[Alternative, ...]
    text: str


FallbackOf: TypeAlias = Callable[[Placed, Sequence[Placed]], Fallback]
"""Finds what to do in place of a session of a week that holds others."""


@dataclass(frozen=True, slots=True)
class ToldSession:
    """A session of the week. ``likely`` is left out where too little was seen of the athlete, and
    ``fallback`` for a fixed session."""

    name: str
    starts_at: datetime
    minutes: float
    blocks: tuple[Block, ...]
    margin: Margin | None
    likely: Likely | None
    fixed: bool
    because: str
    """What lets it through, in words."""
    text: str
    fallback: Fallback | None


@dataclass(frozen=True, slots=True)
class ToldUnplaced:
    """What could not be placed so many times, by which rule or house limit, and what would help."""

    name: str
    times: int
    rule: RuleName | None
    least_change: str | None
    text: str


@dataclass(frozen=True, slots=True)
class NoLongerHolds:
    """A session that was kept so far and that a rule now refuses where it stood."""

    name: str
    starts_at: datetime
    minutes: float
    rule: RuleName | None
    because: str
    text: str


@dataclass(frozen=True, slots=True)
class GroupSets:
    """Sets of a muscle group in the week; a group that only bears the load counts half."""

    muscle_group: str
    sets: float


@dataclass(frozen=True, slots=True)
class WeekReport:
    """The week of one athlete. ``complete`` says that no better week is possible with what was
    asked for; otherwise it is the best that was found in the time there is."""

    athlete_id: str
    sessions: tuple[ToldSession, ...]
    unplaced: tuple[ToldUnplaced, ...]
    no_longer_holds: tuple[NoLongerHolds, ...]
    sets: tuple[GroupSets, ...]
    landing_minutes: float
    complete: bool


@dataclass(frozen=True, slots=True)
class Reporter:
    """Tells of one athlete's week in one language."""

    athlete: Athlete
    what_if: WhatIf
    soreness: ExpectedSoreness | None
    wording: Wording
    vocabulary: Vocabulary
    texts: Texts
    now: datetime
    fallback_of: FallbackOf

    def report(
        self, week: Week, left_out: Sequence[Unplaced], refused: Sequence[tuple[Placed, Refusal]]
    ) -> WeekReport:
        """Report a week with what it leaves out, and with what was kept so far and is refused."""
        fixed = [Placed.fixed(session) for session in week.request.fixed]
        sessions = [*week.placed, *fixed]
        told = [self._session(ruling, week.placed, sessions) for ruling in week.rulings]
        told += [self._fixed(session) for session in fixed]
        return WeekReport(
            self.athlete.id,
            tuple(sorted(told, key=lambda one: (one.starts_at, one.name))),
            tuple(map(self._unplaced, left_out)),
            tuple(starmap(self.refused, refused)),
            tuple(self._sets(sessions)),
            sum(self._landing_minutes(sessions)),
            week.is_best,
        )

    def _session(
        self, ruling: Ruling, placed: Sequence[Placed], sessions: Sequence[Placed]
    ) -> ToldSession:
        session = ruling.session
        margin, likely = self._margin(ruling), self._likely(ruling, placed)
        said = []
        if margin is not None:
            said.append(
                self.texts.say(
                    "week.margin",
                    muscle_group=self._label(margin.muscle_group),
                    hours=round(margin.hours),
                    over=round(margin.over_hours),
                )
            )
        if likely is not None:
            what = self._label(likely.muscle_group)
            told = {"low": likely.low, "in_ten": likely.in_ten}
            said.append(self.texts.say("week.likely", muscle_group=what, **told))
        if ruling.after_journey:
            said.append(f"{self.texts.of_rule(ruling.after_journey)}.")
        fallback = self.fallback_of(session, sessions)
        return replace(self._told(session, margin, likely, " ".join(said)), fallback=fallback)

    def _fixed(self, session: Placed) -> ToldSession:
        return self._told(session, None, None, "")

    def _told(
        self, session: Placed, margin: Margin | None, likely: Likely | None, because: str
    ) -> ToldSession:
        return ToldSession(
            session.name,
            self._local(session.starts_at),
            session.minutes,
            session.blocks,
            margin,
            likely,
            session.wish is None,
            because,
            f"{self._line(session)} {because}".rstrip(),
            None,
        )

    def _margin(self, ruling: Ruling) -> Margin | None:
        """Find the muscle group with the fewest hours to spare; None where no growth work is
        known, or no rule asks for hours since."""
        found = []
        for part, _ in ruling.parts:
            hours = part.facts.get(_SINCE_GROWTH)
            kind = self.vocabulary.goals[part.goal]
            if part.muscle_group is None or kind != _GROWTH or not isinstance(hours, (int, float)):
                continue
            if hours > _LONG_AGO_HOURS:
                continue
            asked = [t.value for t in self.what_if.thresholds_on(_SINCE_GROWTH)]
            met = [hours - one for one in asked if isinstance(one, (int, float)) and one <= hours]
            if met:
                found.append(Margin(part.muscle_group, hours, min(met)))
        return min(found, key=lambda margin: margin.over_hours, default=None)

    def _likely(self, ruling: Ruling, placed: Sequence[Placed]) -> Likely | None:
        if self.soreness is None:
            return None
        session, found = ruling.session, []
        before = [one for one in placed if one.starts_at < session.starts_at]
        for part, _ in ruling.parts:
            kind = self.vocabulary.goals[part.goal]
            group = part.muscle_group
            if group is not None and kind in (_GROWTH, _FORCE) and self.soreness.is_known(group):
                chance = self.soreness.chance_at(kind, group, before, session.starts_at)
                low = self.soreness.low_words(kind, group, self.texts)
                found.append(Likely(group, in_ten(chance), low))
        return min(found, key=lambda one: one.in_ten, default=None)

    def _unplaced(self, left_out: Unplaced) -> ToldUnplaced:
        change = None if left_out.least is None else left_out.least.change.value
        said = [
            self.texts.say("week.unplaced", name=left_out.wish.name, times=left_out.times),
            self._because(left_out.refusal),
        ]
        least = left_out.least
        other = least.wish.name if least is not None and least.wish is not None else ""
        said.append(self.texts.say(f"week.change.{change or 'none'}", wish=other))
        return ToldUnplaced(
            left_out.wish.name,
            left_out.times,
            _rule_of(left_out.refusal),
            change,
            " ".join(said),
        )

    def refused(self, session: Placed, refusal: Refusal) -> NoLongerHolds:
        """Tell of a session that was kept so far, and of what refuses it."""
        because = self._because(refusal)
        return NoLongerHolds(
            session.name,
            self._local(session.starts_at),
            session.minutes,
            _rule_of(refusal),
            because,
            f"{self._line(session)} {because}",
        )

    def _because(self, refusal: Refusal | None) -> str:
        if refusal is None:
            return self.texts.say("week.no_time")
        if isinstance(refusal, HouseLimit):
            number = self.texts.number(f"{refusal.limit:g}")
            return self.texts.say(f"week.limit.{refusal.name}", limit=number)
        if refusal.deciding is None:
            return self.texts.say("week.no_time")
        title = self.texts.of_rule(refusal.deciding.title)
        if self._rests_on_forecast(refusal.session, refusal.deciding):
            tenths = round(10 * WeekNumbers.bundled().likely)
            return self.texts.say("week.may_be_sore", title=title, in_ten=tenths)
        reason = self.wording.reason(refusal.deciding, refusal.facts)
        return self.texts.say("week.by_rule", title=title, reason=reason)

    def _rests_on_forecast(self, session: Placed, rule: Rule) -> bool:
        """Return whether a rule tried soreness that nobody has reported yet."""
        reads_soreness = any(fact.startswith("soreness") for fact in rule.reads)
        return reads_soreness and self._local(session.starts_at).date() > self._today

    def _line(self, session: Placed) -> str:
        when = moment_text(self._local(session.starts_at), self.texts, self._today)
        return self.texts.say(
            "week.session", time=when, name=session.name, minutes=round(session.minutes)
        )

    def _sets(self, sessions: Sequence[Placed]) -> Iterator[GroupSets]:
        words = self.vocabulary
        sets: dict[str, float] = {}
        for block in (block for session in sessions for block in session.blocks):
            if block.sets is None or block.goal not in words.lifting_goals:
                continue
            trained = groups_of(block, words)
            beside = words.patterns[block.pattern].passes_through if block.pattern else ()
            for group in trained:
                sets[group] = sets.get(group, 0) + block.sets * _WHOLE
            for group in set(beside) - set(trained):
                sets[group] = sets.get(group, 0) + block.sets * _HALF
        for group in words.muscle_groups:
            if group in sets:
                yield GroupSets(group, sets[group])

    def _landing_minutes(self, sessions: Sequence[Placed]) -> Iterator[float]:
        for session in sessions:
            for block, minutes in block_minutes(session.as_done(self.athlete.id)):
                if lands_hard(block, self.vocabulary):
                    yield minutes

    def _label(self, group: str) -> str:
        return capital(self.vocabulary.label(group))

    @property
    def _today(self) -> date:
        return self._local(self.now).date()

    def _local(self, time: datetime) -> datetime:
        return time.astimezone(zone_named(self.athlete.time_zone))


def _rule_of(refusal: Refusal | None) -> RuleName | None:
    if refusal is None or isinstance(refusal, HouseLimit) or refusal.deciding is None:
        return None
    return RuleName(refusal.deciding.id, refusal.deciding.title)
