"""Derivation of the facts of a morning from a check-in and the history before it (pure)."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, time, timedelta
from typing import Self

from dawnrule.facts import (
    breaks,
    circumstances,
    concerns,
    illness,
    landing,
    performance,
    prescription,
    recovery,
    soreness,
    suspicion,
    training_load,
)
from dawnrule.facts.carried_over import CarriedOver
from dawnrule.facts.concerns import NothingAllowed, StagedReturns
from dawnrule.facts.damage import DamagingWork
from dawnrule.facts.day_order import OtherBlocks, neighbours, order_facts
from dawnrule.facts.history import Derived, Past, Unavailable
from dawnrule.facts.last_trained import LastTrainedTimes, Outcome, last_session, output_facts
from dawnrule.facts.pain import pain_facts
from dawnrule.facts.prescription import UsualAmounts
from dawnrule.facts.work import Work, WorkLog, works_of_sessions
from dawnrule.model import EVERY_EDITION, FactDictionary, Facts, FactValue, Vocabulary
from dawnrule.model.concerns import ConcernState
from dawnrule.model.entities import Athlete, Block, CheckIn, History, Sleep
from dawnrule.model.time_zones import zone_named
from dawnrule.model.training import groups_of

NOTHING_KNOWN: StagedReturns = NothingAllowed()

_ANY_UNTOLD = ""

NO_OTHERS = OtherBlocks()
"""A plan that holds no other block."""


@dataclass(frozen=True, slots=True)
class PartFacts:
    """The facts of one part: the index of its block in the plan, its goal, its muscle group (None
    for a block that has none), and when it starts. ``facts`` holds the day's facts too;
    ``missing`` says why facts from history could not be derived."""

    block: int
    goal: str
    muscle_group: str | None
    starts_at: datetime
    facts: Facts
    missing: Mapping[str, str]


@dataclass(frozen=True, slots=True)
class MorningFacts:
    """The facts of a day and of each of its parts, in the plan's order; ``missing`` says why the
    day's facts from history could not be derived."""

    day: Facts
    parts: tuple[PartFacts, ...]
    missing: Mapping[str, str] = field(default_factory=dict)

    @property
    def blocks(self) -> tuple[int, ...]:
        """The block of each part."""
        return tuple(part.block for part in self.parts)


def derive_facts(
    athlete: Athlete,
    check_in: CheckIn,
    history: History,
    now: datetime,
    edition: int = EVERY_EDITION,
    returns: StagedReturns | None = None,
) -> MorningFacts:
    """Derive all facts of a morning, by the names of the fact dictionary.

    Facts of a later ``edition`` than the one asked for are left out. ``now`` (aware) is used where
    neither the block's start nor the time of the report is known.
    What was not reported is absent from the facts, never guessed.
    """
    known = returns or NOTHING_KNOWN
    return FactSource.of(athlete, check_in, history, now, edition, known).morning()


@dataclass(frozen=True, slots=True)
class FactSource:
    """The facts of a morning, and of parts that are not in its plan or start at another time;
    ``now`` is aware."""

    athlete: Athlete
    check_in: CheckIn
    now: datetime
    past: Past
    log: WorkLog
    trained: LastTrainedTimes
    carried_over: CarriedOver
    unplanned: Derived
    """The day's facts that do not hang on the plan."""
    landed: training_load.Landed
    day: Derived
    returns: StagedReturns
    painful: CheckIn
    """The check-in without the pain that a clearance lets be trained with."""
    usual: UsualAmounts
    damaging: DamagingWork
    competitions: Sequence[datetime]
    """When those that count begin."""
    cache: dict[tuple[str | None, datetime | None], Derived] = field(default_factory=dict)
    """Facts of a muscle group that were derived already, whatever the start (None) and at a start:
    many blocks ask for the same."""

    outcomes: dict[tuple[str, int], Outcome | Unavailable] = field(default_factory=dict)
    """How the last of so many sessions of a muscle group went, where that was asked already."""
    known_breaks: dict[str | None, breaks.Break | Unavailable | None] = field(default_factory=dict)
    """Breaks of a muscle group that were found already."""
    planned: dict[int, BlockSource] = field(default_factory=dict)
    """Blocks of the plan that were asked for already: when one opens is asked for many starts."""

    @classmethod
    def of(
        cls,
        athlete: Athlete,
        check_in: CheckIn,
        history: History,
        now: datetime,
        edition: int = EVERY_EDITION,
        returns: StagedReturns = NOTHING_KNOWN,
    ) -> Self:
        """Prepare the facts of a morning; ``returns`` says what staged returns allow."""
        words = Vocabulary.bundled()
        past = Past.of(athlete, check_in, history, FactDictionary.bundled(), words, edition)
        works = works_of_sessions(past.log, words)
        done = [work for _, one in past.log.sessions for work in works[id(one)]]
        landed = training_load.landed_of(done, words)
        log = WorkLog.of(done) if past.is_second_edition else WorkLog()
        as_it_came = (work for one in history.sessions for work in works[id(one)])
        trained = LastTrainedTimes.of(check_in, as_it_came, words)
        carried_over = CarriedOver.of(past)
        findings: list[tuple[str, FactValue | Unavailable | None]] = [
            *((name, function(past)) for name, function in recovery.DAY_FACTS.items()),
            *training_load.day_facts(past),
        ]
        reported = _reported(_day_facts(past))
        if past.is_second_edition:
            reported |= _reported(_second_edition_day_facts(past))
            reported |= dict(concerns.day_facts(past.concerns, past, now))
            findings += _second_edition_history_facts(past, log, trained, now)
        from_history = Derived.of(findings, past.dictionary)
        facts = reported | from_history.facts | dict(carried_over.day_facts())
        unplanned = Derived(facts, from_history.missing)
        painful = _without_cleared_pain(past) if past.is_second_edition else check_in
        return cls(
            athlete,
            check_in,
            now,
            past,
            log,
            trained,
            carried_over,
            unplanned,
            landed,
            _day(past, log, landed, unplanned),
            returns,
            painful,
            UsualAmounts(past, log, trained),
            DamagingWork.of(past, log),
            circumstances.competition_starts(past),
        )

    def with_plan(self, plan: tuple[Block, ...]) -> Self:
        """Return the facts of the same morning with another plan: all that does not hang on it
        stays as it was derived."""
        past = self.past.with_check_in(replace(self.check_in, plan=plan))
        return replace(
            self,
            check_in=past.check_in,
            past=past,
            day=_day(past, self.log, self.landed, self.unplanned),
            competitions=circumstances.competition_starts(past),
            planned={},
        )

    def morning(self) -> MorningFacts:
        """Derive the facts of the day and of each part of its plan."""
        parts = (
            self.part(index, group, start)
            for index, block in enumerate(self.check_in.plan)
            for start in [self.start_of(block)]
            for group in (groups_of(block, self.past.vocabulary) or (None,))
        )
        return MorningFacts(self.day.facts, tuple(parts), self.day.missing)

    def part(self, index: int, group: str | None, start: datetime) -> PartFacts:
        """Derive the facts of a planned block for one muscle group, as if it began at ``start``."""
        block = self.check_in.plan[index]
        derived = self.planned_block(index).part(group).at(start)
        return PartFacts(index, block.goal, group, start, derived.facts, derived.missing)

    def planned_block(self, index: int) -> BlockSource:
        """Return the facts of a block of the plan."""
        if index not in self.planned:
            block, others = self.check_in.plan[index], self.other_blocks(index)
            self.planned[index] = BlockSource.of(self, block, others)
        return self.planned[index]

    def other_blocks(self, index: int) -> OtherBlocks:
        """Return the plan without one of its blocks."""
        return OtherBlocks(self.check_in.plan[:index], self.check_in.plan[index + 1 :])

    def starts_of_day(self) -> Iterator[datetime]:
        """Yield when the blocks of the plan begin, from which the facts of a later start of one of
        them can run; none by rules that were written before blocks of a day saw each other."""
        if self.past.is_second_edition:
            yield from map(self.start_of, self.check_in.plan)

    def facts_for(
        self, block: Block, group: str | None, start: datetime, others: OtherBlocks = NO_OTHERS
    ) -> Derived:
        """Derive the facts of any block for one muscle group, the day's among them, as if it
        began at ``start`` on a day that also holds the ``others``."""
        return BlockSource.of(self, block, others).part(group).at(start)

    def break_of(self, group: str | None) -> breaks.Break | Unavailable | None:
        """Return the break that counts for a muscle group, or for the athlete where it is None."""
        if group not in self.known_breaks:
            self.known_breaks[group] = (
                breaks.break_of_athlete(self.past)
                if group is None
                else breaks.break_of_group(self.past, self.trained, group, self.break_of(None))
            )
        return self.known_breaks[group]

    def pause_of(self, group: str | None) -> breaks.Break | None:
        """Return the break that counts for a muscle group; None where there is none, or it is not
        known."""
        found = self.break_of(group)
        return found if isinstance(found, breaks.Break) else None

    def may_return(self, group: str | None) -> bool:
        """Return whether a staged return may be under way for a muscle group, whose limits may be
        any facts."""
        return self.pause_of(group) is not None or any(
            concern.state is ConcernState.RETURNING for concern in self.past.concerns
        )

    def of_group(self, group: str | None) -> Derived:
        """Derive what a muscle group is known for, whatever is done with it, and whenever."""
        asked = self._told_of(group), None
        if asked not in self.cache:
            derived = Derived.of(self._history_of_group(group), self.past.dictionary)
            soreness = None if group is None else self.check_in.soreness.get(group)
            if soreness is not None:
                derived.facts["soreness"] = soreness
            self.cache[asked] = derived
        return self.cache[asked]

    def of_group_at(self, group: str, start: datetime) -> Derived:
        """Derive what lies behind a muscle group at a start."""
        asked = self._told_of(group), start
        if asked not in self.cache:
            findings = self._history_of_group_at(group, start)
            self.cache[asked] = Derived.of(findings, self.past.dictionary)
        return self.cache[asked]

    def _told_of(self, group: str | None) -> str | None:
        """Return a muscle group, or one name for all of which nothing was told: what is derived of
        one of them holds for the others."""
        is_told_of = (
            group is None
            or group in self.check_in.soreness
            or group in self.trained.reported
            or group in self.trained.logged
            or self.check_in.bar_speed
        )
        return group if is_told_of else _ANY_UNTOLD

    def borne_by(self, block: Block) -> Derived:
        """Derive how sore those are that bear the load of a block without being trained by it."""
        passed_through = soreness.soreness_passed_through(self.past, block)
        return Derived.of([("passed_through_soreness", passed_through)], self.past.dictionary)

    def start_of(self, block: Block) -> datetime:
        """Return when a block begins: as planned, else when it was reported, else now; for a past
        date posted late, no later than the end of that date where the athlete lives."""
        if block.starts_at is not None:
            return block.starts_at
        next_day = self.check_in.date + timedelta(days=1)
        end_of_date = datetime.combine(next_day, time.min, zone_named(self.athlete.time_zone))
        return min(self.check_in.reported_at or self.now, end_of_date.astimezone(UTC))

    def _history_of_group(
        self, group: str | None
    ) -> Iterator[tuple[str, FactValue | Unavailable | None]]:
        if group is not None:
            yield "soreness_above_usual", recovery.soreness_above_usual(self.past, group)
            yield "hard_sets_week", training_load.hard_sets_week(self.past, group)
        if self.past.is_second_edition:
            pause = self.break_of(group)
            yield "break_days", pause.days if isinstance(pause, breaks.Break) else pause
            if group is not None:
                drop = performance.bar_speed_drop_percent(self.past, group)
                yield "bar_speed_drop_percent", drop

    def _history_of_group_at(
        self, group: str, start: datetime
    ) -> Iterator[tuple[str, FactValue | Unavailable]]:
        yield from self.trained.hours_before(group, start).items()
        yield "log_differs_hours", self.trained.log_differs_hours(group, start)
        logged = self.trained.logged_before(group, start)
        if (group, len(logged)) not in self.outcomes:
            self.outcomes[group, len(logged)] = last_session(self.past, logged)
        yield from output_facts(self.outcomes[group, len(logged)], start)

    def plan_facts(self, block: Block) -> Iterator[tuple[str, FactValue | None]]:
        """Yield what a block says of itself in the words of the first edition."""
        words = self.past.vocabulary
        yield "goal", block.goal
        yield "modality", block.modality
        modality = None if block.modality is None else words.modalities[block.modality]
        yield "eccentric_load", None if modality is None else modality.eccentric_load
        yield "planned_minutes", block.minutes
        yield "planned_sets", block.sets
        yield "planned_reps", block.reps
        yield "planned_rest_seconds", block.rest_seconds

    def logged_today(self, group: str, start: datetime) -> list[Work]:
        """Return the logged work of the date for a muscle group that began before ``start``: a
        session that was logged then or later is the planned one itself or a later one."""
        return [
            work
            for work in self.log.on(self.check_in.date)
            if work.began < start and group in work.groups
        ]


@dataclass(frozen=True, slots=True)
class BlockSource:
    """The facts of one block on a day that also holds the ``others``, for any of its muscle groups.
    What does not hang on the group, nor on the pattern, is derived once."""

    source: FactSource
    block: Block
    others: OtherBlocks
    said: frozenset[str]
    """The facts that a block says of itself or leaves out."""
    told: Facts
    """The day's facts, and what the block says of itself."""
    history: Derived
    """What history says of the block, whatever the start."""
    borne: Derived
    """What the check-in says of the groups that bear its load."""
    parts: dict[str | None, PartSource] = field(default_factory=dict)
    """Parts that were asked for already."""

    @classmethod
    def of(cls, source: FactSource, block: Block, others: OtherBlocks) -> Self:
        """Derive what does not hang on the muscle groups."""
        said = dict(source.plan_facts(block))
        if not source.past.is_second_edition:
            told = source.day.facts | _reported(said.items())
            return cls(source, block, others, frozenset(said), told, Derived(), Derived())
        said |= prescription.prescription_facts(source.past, block)
        told = source.day.facts | _reported(said.items())
        history = Derived.of(_history_of_block(source, block), source.past.dictionary)
        borne = source.borne_by(block)
        return cls(source, block, others, frozenset(said), told, history, borne)

    def fixes(self, fact: str) -> bool:
        """Return whether the same work has a fact alike, whatever the muscle group: one of the day,
        or what the block says of itself or leaves out."""
        return fact in self.said or self.source.past.dictionary[fact].scope == "day"

    def elsewhere(self, pattern: str | None, groups: tuple[str, ...]) -> BlockSource:
        """Return the facts of the same work by another pattern or for other muscle groups."""
        block = replace(self.block, pattern=pattern, muscle_groups=groups)
        borne = self.source.borne_by(block)
        return BlockSource(
            self.source, block, self.others, self.said, self.told, self.history, borne
        )

    def part(self, group: str | None) -> PartSource:
        """Return the part of a muscle group; None for that of a block which has none."""
        if group not in self.parts:
            self.parts[group] = PartSource.of(self, group)
        return self.parts[group]


@dataclass(frozen=True, slots=True)
class PartSource:
    """The facts of one block for one muscle group at any start. What does not hang on the start is
    derived once, as when a part opens is asked of one start after the other."""

    source: FactSource
    block: Block
    group: str | None
    others: OtherBlocks
    """The other blocks of the day that train the muscle group."""
    fixed: Derived
    """The day's facts, what the block and the check-in say of the part, and what history says
    whatever the start."""
    told_by_concerns: Facts | None
    """What concerns say; None where that has to be asked with all facts at a start."""

    @classmethod
    def of(cls, whole: BlockSource, group: str | None) -> Self:
        """Derive what does not hang on the start of a block."""
        source, block, past = whole.source, whole.block, whole.source.past
        others = whole.others.training(group, past.vocabulary)
        of_group, said = source.of_group(group), _said_of_part(source, block, group)
        facts = {**whole.told, **whole.history.facts, **whole.borne.facts, **of_group.facts, **said}
        missing = {**whole.history.missing, **whole.borne.missing, **of_group.missing}
        if not past.is_second_edition:
            return cls(source, block, group, others, Derived(facts, missing), {})
        share = source.usual.share(block, group, whole.others.blocks, source.pause_of(group))
        more = Derived.of([("planned_share_percent", share)], past.dictionary)
        fixed = Derived(facts | more.facts, missing | more.missing)
        if source.may_return(group):
            return cls(source, block, group, others, fixed, None)
        told_by_concerns = dict(_concern_facts(source, block, group, fixed.facts))
        return cls(source, block, group, others, fixed, told_by_concerns)

    def at(self, start: datetime) -> Derived:
        """Derive all facts of the part, the day's among them, as if it began at ``start``."""
        source, group = self.source, self.group
        facts, missing = {**self.fixed.facts}, {**self.fixed.missing}
        if group is not None:
            behind = source.of_group_at(group, start)
            facts |= behind.facts
            missing |= behind.missing
            logged = source.logged_today(group, start)
            facts["lifting_same_day"] = self._is_lifted_today(logged)
            if source.past.is_second_edition:
                facts |= self._order_facts(logged, start)
        if findings := self._findings_at(start):
            more = Derived.of(findings.items(), source.past.dictionary)
            facts |= more.facts
            missing |= more.missing
        told = self.told_by_concerns
        facts |= _concern_facts(source, self.block, group, facts) if told is None else told
        return source.past.known(Derived(facts, missing))

    def _is_lifted_today(self, logged: Sequence[Work]) -> bool:
        """Return whether another block of the date lifts with the muscle group."""
        lifting = self.source.past.vocabulary.lifting_goals
        blocks = (*self.others.blocks, *(work.block for work in logged))
        return any(block.goal in lifting for block in blocks)

    def _order_facts(self, logged: Sequence[Work], start: datetime) -> dict[str, FactValue]:
        source, block, beside = self.source, self.block, []
        if logged or self.others.blocks:
            planned_start = source.start_of(block)
            beside = neighbours(logged, block, start, self.others, planned_start)
        return dict(order_facts(source.past, block, beside))

    def _findings_at(self, start: datetime) -> dict[str, FactValue]:
        """Return the hours that lie before the start, and after it, in the second edition."""
        source, block, group = self.source, self.block, self.group
        if not source.past.is_second_edition:
            return {}
        found: dict[str, FactValue] = {}
        if group is not None:
            found = source.damaging.facts(self.others.before, block, group, start)
        ahead = circumstances.hours_to_competition(source.past, source.competitions, block, start)
        return found if ahead is None else {**found, "hours_to_competition": ahead}


def _said_of_part(source: FactSource, block: Block, group: str | None) -> Facts:
    """Return what the block and the check-in say of one muscle group."""
    past, words = source.past, source.past.vocabulary
    said = pain_facts(source.painful, block, group, words, reads_words=past.is_second_edition)
    said |= source.carried_over.part_facts(block, group)
    if group is not None:
        said["muscle_group"] = group
    if past.is_second_edition:
        said["lands_hard"] = prescription.lands_on(group, block, words)
        if group is None:
            said |= soreness.soreness_of_goal(past, block)
    return said


def _concern_facts(
    source: FactSource, block: Block, group: str | None, facts: Facts
) -> Iterator[tuple[str, FactValue]]:
    """Yield what concerns and returns say of a part, by its other facts."""
    known, past, pause = source.past.concerns, source.past, source.pause_of(group)
    if not known and pause is None:
        return
    yield from concerns.part_facts(known, past, block, group, facts)
    under_way = concerns.returns_under_way(
        known, pause, past, block, group, facts, source.returns, source.now
    )
    found = list(under_way)
    yield from concerns.return_facts(found)
    told = [*concerns.restrictions_in_force(known, past.check_in.date)]
    if found or told:
        stages = [(one.after, one.stage) for one in found]
        yield from source.returns.limits(stages, told).items()


def _history_of_block(
    source: FactSource, block: Block
) -> Iterator[tuple[str, FactValue | Unavailable | None]]:
    """Yield what history says of a block in the second edition, for whichever group it is."""
    past, log = source.past, source.log
    yield "longest_run_over_percent", prescription.longest_run_over_percent(past, log, block)
    yield "run_minutes_allowed", prescription.run_minutes_allowed(past, log, block)


def _questions_answered(check_in: CheckIn) -> int:
    """Count the answered questions among sleep, soreness, pain, illness and warning signs."""
    answered = (
        check_in.sleep != Sleep(),
        bool(check_in.soreness),
        check_in.pain is not None,
        check_in.illness is not None,
        check_in.warning_signs is not None,
    )
    return sum(answered)


def _reported(values: Iterable[tuple[str, FactValue | None]]) -> dict[str, FactValue]:
    return {name: value for name, value in values if value is not None}


def _without_cleared_pain(past: Past) -> CheckIn:
    """Return the check-in without the pain that a clearance lets be trained with."""
    pains = past.check_in.pain
    if not pains or not past.concerns:
        return past.check_in
    kept = (p for p in pains if not concerns.is_cleared_for_training(past.concerns, p, past))
    return replace(past.check_in, pain=tuple(kept))


def _day_facts(past: Past) -> Iterator[tuple[str, FactValue | None]]:
    athlete, check_in, vocabulary = past.athlete, past.check_in, past.vocabulary
    if check_in.warning_signs is not None:
        for sign in vocabulary.warning_signs:
            yield sign.replace("-", "_"), sign in check_in.warning_signs
    yield "illness", illness.illness_of(check_in, illness.fever_from_c(past), vocabulary)
    yield "pain_reported", None if check_in.pain is None else bool(check_in.pain)
    yield "questions_answered", _questions_answered(check_in)
    yield "sleep_hours", check_in.sleep.hours
    yield "sleep_quality", check_in.sleep.quality
    yield "fatigue", check_in.fatigue
    yield "stress", check_in.stress
    yield "resting_hr_bpm", check_in.resting_hr_bpm
    yield "hrv_rmssd_ms", recovery.hrv_rmssd_ms(check_in)
    yield "age_years", athlete.age_years(check_in.date)
    yield "training_status", athlete.training_status


def _day(past: Past, log: WorkLog, landed: training_load.Landed, unplanned: Derived) -> Derived:
    """Derive the day's facts, of which those that do not hang on the plan are known."""
    findings: list[tuple[str, FactValue | Unavailable | None]] = [
        *training_load.plan_facts(past, landed)
    ]
    reported = _reported(_plan_day_facts(past))
    if past.is_second_edition:
        reported["competition_today"] = circumstances.competes_today(past)
        findings += landing.plan_facts(past, log)
    derived = Derived.of(findings, past.dictionary)
    facts = unplanned.facts | reported | derived.facts
    return past.known(Derived(facts, unplanned.missing | derived.missing))


def _plan_day_facts(past: Past) -> Iterator[tuple[str, FactValue | None]]:
    plan, kinds = past.check_in.plan, past.vocabulary.goals
    yield "planned_blocks", len(plan)
    growth = [block.minutes for block in plan if kinds[block.goal] == "growth"]
    known = [minutes for minutes in growth if minutes is not None]
    yield "planned_growth_minutes", sum(known) if known else None


def _second_edition_day_facts(past: Past) -> Iterator[tuple[str, FactValue | None]]:
    """Yield the day's facts of the second edition that need neither history nor plan."""
    check_in = past.check_in
    yield "sleep_with_naps_hours", recovery.sleep_with_naps_hours(past)
    yield "sleep_short_of_need_hours", recovery.sleep_short_of_need_hours(past)
    yield "sleep_need_assumed", recovery.sleep_need_assumed(past)
    yield "temperature_c", check_in.temperature_c
    yield "fever_medicine", check_in.fever_medicine
    if sorest := soreness.worst_soreness(past):
        group, rating = sorest
        yield "worst_soreness", rating
        yield "worst_soreness_group", group
    suspected = suspicion.suspected_signs(check_in, past.vocabulary)
    yield "suspected_warning_sign", suspected[0][0] if suspected else None
    yield from circumstances.circumstance_facts(past)


def _second_edition_history_facts(
    past: Past, log: WorkLog, trained: LastTrainedTimes, now: datetime
) -> Iterator[tuple[str, FactValue | Unavailable | None]]:
    """Yield the day's facts of the second edition that need history, or why they are missing."""
    yield "fatigue_above_usual", recovery.fatigue_above_usual(past)
    yield "strain_mornings", recovery.strain_mornings(past)
    days = (illness.illness_days(past), concerns.days_ill(past.concerns, past))
    yield "illness_days", max((one for one in days if one is not None), default=None)
    yield "jump_height_drop_percent", performance.jump_height_drop_percent(past)
    yield "very_sore_mornings", soreness.very_sore_mornings(past)
    yield "soreness_rising_late", soreness.soreness_rising_late(past, trained, now)
    yield "caffeine_mg_per_kg", circumstances.caffeine_mg_per_kg(past)
    yield "hard_endurance_days_in_a_row", landing.hard_endurance_days_in_a_row(past, log)
