"""Derivation of the facts of a morning from a check-in and the history before it (pure)."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, time, timedelta
from typing import Self

from dawnrule.facts import (
    breaks,
    circumstances,
    concerns,
    damage,
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
from dawnrule.facts.day_order import OtherBlocks, neighbours, order_facts
from dawnrule.facts.history import Derived, Past, Unavailable
from dawnrule.facts.last_trained import LastTrainedTimes, output_facts
from dawnrule.facts.pain import pain_facts
from dawnrule.facts.work import WorkLog
from dawnrule.model import EVERY_EDITION, FactDictionary, Facts, FactValue, Vocabulary
from dawnrule.model.entities import Athlete, Block, CheckIn, History, Sleep
from dawnrule.model.time_zones import zone_named
from dawnrule.model.training import groups_of

NOTHING_KNOWN: StagedReturns = NothingAllowed()

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
    day: Derived
    returns: StagedReturns
    painful: CheckIn
    """The check-in without the pain that a clearance lets be trained with."""
    cache: dict[tuple[str, datetime | None], Derived] = field(default_factory=dict)
    """Facts of a muscle group that were derived already, whatever the start (None) and at a start:
    many blocks ask for the same."""

    known_breaks: dict[str | None, breaks.Break | Unavailable | None] = field(default_factory=dict)
    """Breaks of a muscle group that were found already."""

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
        log = WorkLog.of(past) if past.is_second_edition else WorkLog()
        trained = LastTrainedTimes.of(check_in, history, words)
        carried_over = CarriedOver.of(past)
        functions = {**recovery.DAY_FACTS, **training_load.DAY_FACTS}
        findings = [(name, function(past)) for name, function in functions.items()]
        reported = _reported(_day_facts(past))
        if past.is_second_edition:
            reported |= _reported(_second_edition_day_facts(past))
            reported |= dict(concerns.day_facts(past.concerns, past, now))
            findings += _known(_second_edition_history_facts(past, log, trained, now))
        from_history = Derived.of(findings, past.dictionary)
        facts = reported | from_history.facts | dict(carried_over.day_facts())
        day = past.known(Derived(facts, from_history.missing))
        painful = _without_cleared_pain(past) if past.is_second_edition else check_in
        return cls(athlete, check_in, now, past, log, trained, carried_over, day, returns, painful)

    def morning(self) -> MorningFacts:
        """Derive the facts of the day and of each part of its plan."""
        parts = (
            self.part(index, group, self.start_of(block))
            for index, block in enumerate(self.check_in.plan)
            for group in (groups_of(block, self.past.vocabulary) or (None,))
        )
        return MorningFacts(self.day.facts, tuple(parts), self.day.missing)

    def part(self, index: int, group: str | None, start: datetime) -> PartFacts:
        """Derive the facts of a planned block for one muscle group, as if it began at ``start``."""
        block = self.check_in.plan[index]
        derived = self.facts_for(block, group, start, self.other_blocks(index))
        return PartFacts(index, block.goal, group, start, derived.facts, derived.missing)

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
        words, reads_words = self.past.vocabulary, self.past.is_second_edition
        facts: dict[str, FactValue] = {
            **self.day.facts,
            **_reported(self._plan_facts(block, group, start, others)),
            **dict(pain_facts(self.painful, block, group, words, reads_words=reads_words)),
            **dict(self.carried_over.part_facts(block, group)),
        }
        missing: dict[str, str] = {}
        if group is not None:
            for derived in (self._of_group(group), self._of_group_at(group, start)):
                facts |= derived.facts
                missing |= derived.missing
        if self.past.is_second_edition:
            more = self._second_edition_part_facts(block, group, start, others)
            facts |= more.facts
            missing |= more.missing
            facts |= dict(self._concern_facts(block, group, facts))
        return self.past.known(Derived(facts, missing))

    def _concern_facts(
        self, block: Block, group: str | None, facts: Facts
    ) -> Iterator[tuple[str, FactValue]]:
        known, past = self.past.concerns, self.past
        yield from concerns.part_facts(known, past, block, group, facts)
        pause = self._break_of(group)
        under_way = concerns.returns_under_way(
            known,
            pause if isinstance(pause, breaks.Break) else None,
            past,
            block,
            group,
            facts,
            self.returns,
            self.now,
        )
        found = list(under_way)
        yield from concerns.return_facts(found)
        told = concerns.restrictions_in_force(known, past.check_in.date)
        stages = [(one.after, one.stage) for one in found]
        yield from self.returns.limits(stages, told).items()

    def _second_edition_part_facts(
        self, block: Block, group: str | None, start: datetime, others: OtherBlocks
    ) -> Derived:
        past, log = self.past, self.log
        facts = _reported(prescription.prescription_facts(past, block, group))
        pause = self._break_of(group)
        known = None if isinstance(pause, Unavailable) else pause
        findings: list[tuple[str, FactValue | Unavailable | None]] = [
            ("break_days", known.days if known else None),
            ("hours_to_competition", circumstances.hours_to_competition(past, block, start)),
            ("longest_run_over_percent", prescription.longest_run_over_percent(past, log, block)),
            ("run_minutes_allowed", prescription.run_minutes_allowed(past, log, block)),
            (
                "planned_share_percent",
                prescription.share_of_usual(past, log, block, group, others.blocks, known),
            ),
            ("passed_through_soreness", soreness.soreness_passed_through(past, block)),
        ]
        if isinstance(pause, Unavailable):
            findings.append(("break_days", pause))
        if group is None:
            facts |= dict(soreness.soreness_of_goal(past, block))
        else:
            beside = neighbours(past, log, block, group, start, others, self.start_of(block))
            facts |= dict(order_facts(past, block, beside))
            findings += damage.damage_facts(past, log, block, group, start, others)
            findings.append(
                ("bar_speed_drop_percent", performance.bar_speed_drop_percent(past, group))
            )
        derived = Derived.of(_known(findings), past.dictionary)
        return Derived(facts | derived.facts, derived.missing)

    def _break_of(self, group: str | None) -> breaks.Break | Unavailable | None:
        if group not in self.known_breaks:
            self.known_breaks[group] = breaks.break_of(self.past, self.log, group)
        return self.known_breaks[group]

    def _of_group(self, group: str) -> Derived:
        if (group, None) not in self.cache:
            history = Derived.of(self._history_of_group(group), self.past.dictionary)
            soreness = _reported(self._soreness(group))
            self.cache[group, None] = Derived(soreness | history.facts, history.missing)
        return self.cache[group, None]

    def _of_group_at(self, group: str, start: datetime) -> Derived:
        if (group, start) not in self.cache:
            findings = self._history_of_group_at(group, start)
            self.cache[group, start] = Derived.of(findings, self.past.dictionary)
        return self.cache[group, start]

    def start_of(self, block: Block) -> datetime:
        """Return when a block begins: as planned, else when it was reported, else now; for a past
        date posted late, no later than the end of that date where the athlete lives."""
        if block.starts_at is not None:
            return block.starts_at
        next_day = self.check_in.date + timedelta(days=1)
        end_of_date = datetime.combine(next_day, time.min, zone_named(self.athlete.time_zone))
        return min(self.check_in.reported_at or self.now, end_of_date.astimezone(UTC))

    def _soreness(self, group: str) -> Iterator[tuple[str, FactValue | None]]:
        yield "soreness", self.check_in.soreness.get(group)

    def _history_of_group(self, group: str) -> Iterator[tuple[str, FactValue | Unavailable]]:
        yield "soreness_above_usual", recovery.soreness_above_usual(self.past, group)
        yield "hard_sets_week", training_load.hard_sets_week(self.past, group)

    def _history_of_group_at(
        self, group: str, start: datetime
    ) -> Iterator[tuple[str, FactValue | Unavailable]]:
        yield from self.trained.hours_before(group, start).items()
        yield "log_differs_hours", self.trained.log_differs_hours(group, start)
        yield from output_facts(self.past, self.trained.logged_before(group, start), start)

    def _plan_facts(
        self, block: Block, group: str | None, start: datetime, others: OtherBlocks
    ) -> Iterator[tuple[str, FactValue | None]]:
        words = self.past.vocabulary
        yield "goal", block.goal
        yield "muscle_group", group
        yield "modality", block.modality
        if block.modality is not None:
            yield "eccentric_load", words.modalities[block.modality].eccentric_load
        yield "planned_minutes", block.minutes
        yield "planned_sets", block.sets
        yield "planned_reps", block.reps
        yield "planned_rest_seconds", block.rest_seconds
        if group is not None:
            yield "lifting_same_day", self._is_lifted_today(group, start, others)

    def _is_lifted_today(self, group: str, start: datetime, others: OtherBlocks) -> bool:
        words = self.past.vocabulary
        blocks = [*others.blocks]
        if self.past.is_second_edition:
            logged = self.log.on(self.check_in.date)
            blocks += [work.block for work in logged if work.began < start]
        return any(
            group in groups_of(block, words)
            for block in blocks
            if block.goal in words.lifting_goals
        )


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


def _reported(values: Iterator[tuple[str, FactValue | None]]) -> dict[str, FactValue]:
    return {name: value for name, value in values if value is not None}


def _without_cleared_pain(past: Past) -> CheckIn:
    """Return the check-in without the pain that a clearance lets be trained with."""
    pains = past.check_in.pain
    if not pains or not past.concerns:
        return past.check_in
    kept = (p for p in pains if not concerns.is_cleared_for_training(past.concerns, p, past))
    return replace(past.check_in, pain=tuple(kept))


def _known(
    findings: Iterable[tuple[str, FactValue | Unavailable | None]],
) -> list[tuple[str, FactValue | Unavailable]]:
    return [(name, finding) for name, finding in findings if finding is not None]


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
    yield "planned_blocks", len(check_in.plan)
    growth = [b.minutes for b in check_in.plan if b.goal in vocabulary.goals_of_kind("growth")]
    known = [minutes for minutes in growth if minutes is not None]
    yield "planned_growth_minutes", sum(known) if known else None


def _second_edition_day_facts(past: Past) -> Iterator[tuple[str, FactValue | None]]:
    """Yield the day's facts of the second edition that need no history."""
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
    yield "landing_minutes_above_usual_percent", landing.minutes_above_usual_percent(past, log)
    yield "landing_minutes_allowed_today", landing.minutes_allowed_today(past, log)
    yield "running_from_none", landing.running_from_none(past, log)
