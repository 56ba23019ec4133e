"""What does this morning say? From a check-in and the history before it to facts (pure)."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, time, timedelta
from typing import Self
from zoneinfo import ZoneInfo

from dawnrule.facts import recovery, training_load
from dawnrule.facts.carried_over import CarriedOver
from dawnrule.facts.history import Derived, Past, Unavailable
from dawnrule.facts.last_trained import LastTrainedTimes, output_facts
from dawnrule.facts.pain import pain_facts
from dawnrule.model import FactDictionary, Facts, FactValue, Vocabulary
from dawnrule.model.entities import Athlete, Block, CheckIn, History, Sleep
from dawnrule.model.training import groups_of


@dataclass(frozen=True, slots=True)
class PartFacts:
    """The facts of one part: the index of its block in the plan, what it is for, its muscle group
    (None for a block that has none), and when it starts. ``facts`` holds the day's facts too;
    ``missing`` says why facts from history could not be told."""

    block: int
    goal: str
    muscle_group: str | None
    starts_at: datetime
    facts: Facts
    missing: Mapping[str, str]


@dataclass(frozen=True, slots=True)
class MorningFacts:
    """The facts of a day and of each of its parts, in the plan's order; ``missing`` says why the
    day's facts from history could not be told."""

    day: Facts
    parts: tuple[PartFacts, ...]
    missing: Mapping[str, str] = field(default_factory=dict)


def derive_facts(
    athlete: Athlete, check_in: CheckIn, history: History, now: datetime
) -> MorningFacts:
    """All that a morning says, by the names of the fact dictionary.

    ``now`` (aware) is used where neither the block's start nor the time of the report is known.
    What was not reported is absent from the facts, never guessed.
    """
    return FactSource.of(athlete, check_in, history, now).morning()


@dataclass(frozen=True, slots=True)
class FactSource:
    """Tells the facts of a morning, and of parts that are not in its plan or start at another
    time; ``now`` is aware."""

    athlete: Athlete
    check_in: CheckIn
    now: datetime
    past: Past
    trained: LastTrainedTimes
    left_open: CarriedOver
    day: Derived
    told: dict[tuple[str, datetime | None], Derived] = field(default_factory=dict)
    """What was told of a muscle group before, whatever the start (None) and at a start; kept, as
    many blocks ask for the same."""

    @classmethod
    def of(cls, athlete: Athlete, check_in: CheckIn, history: History, now: datetime) -> Self:
        """The source of a morning's facts."""
        words = Vocabulary.bundled()
        past = Past.of(athlete, check_in, history, FactDictionary.bundled(), words)
        tellers = {**recovery.DAY_FACTS, **training_load.DAY_FACTS}
        told = Derived.of(((name, tell(past)) for name, tell in tellers.items()), past.dictionary)
        left_open = CarriedOver.of(past)
        reported = _reported(_day_facts(athlete, check_in, words))
        day = Derived(reported | told.facts | dict(left_open.day_facts()), told.missing)
        trained = LastTrainedTimes.of(check_in, history, words)
        return cls(athlete, check_in, now, past, trained, left_open, day)

    def morning(self) -> MorningFacts:
        """The facts of the day and of each part of its plan."""
        parts = (
            self.part(index, group, self.start_of(block))
            for index, block in enumerate(self.check_in.plan)
            for group in (groups_of(block, self.past.vocabulary) or (None,))
        )
        return MorningFacts(self.day.facts, tuple(parts), self.day.missing)

    def part(self, index: int, group: str | None, start: datetime) -> PartFacts:
        """The facts of a block of the plan for one muscle group, as if it started at ``start``."""
        block = self.check_in.plan[index]
        told = self.told_of(block, group, start, self.beside(index))
        return PartFacts(index, block.goal, group, start, told.facts, told.missing)

    def beside(self, index: int) -> tuple[Block, ...]:
        """The plan without one of its blocks."""
        return self.check_in.plan[:index] + self.check_in.plan[index + 1 :]

    def told_of(
        self, block: Block, group: str | None, start: datetime, beside: Sequence[Block] = ()
    ) -> Derived:
        """The facts of any block for one muscle group, the day's among them, as if it started at
        ``start`` on a day that holds the blocks ``beside`` it."""
        pain: dict[str, FactValue] = dict(
            pain_facts(self.check_in, block, group, self.past.vocabulary)
        )
        pain |= self.left_open.part_facts(block, group)
        facts = {**self.day.facts, **_reported(self._plan_facts(block, group, beside)), **pain}
        if group is None:
            return Derived(facts)
        always, then = self._of_group(group), self._of_group_at(group, start)
        return Derived({**facts, **always.facts, **then.facts}, {**always.missing, **then.missing})

    def _of_group(self, group: str) -> Derived:
        told = self.told.get((group, None))
        if told is None:
            history = Derived.of(self._history_of_group(group), self.past.dictionary)
            soreness = _reported(self._soreness(group))
            told = self.told[group, None] = Derived(soreness | history.facts, history.missing)
        return told

    def _of_group_at(self, group: str, start: datetime) -> Derived:
        told = self.told.get((group, start))
        if told is None:
            findings = self._history_of_group_at(group, start)
            told = self.told[group, start] = Derived.of(findings, self.past.dictionary)
        return told

    def start_of(self, block: Block) -> datetime:
        """When a block starts: as planned, else when it was reported, else now; for a past date
        posted late, no later than the end of that date where the athlete lives."""
        if block.starts_at is not None:
            return block.starts_at
        next_day = self.check_in.date + timedelta(days=1)
        end_of_date = datetime.combine(next_day, time.min, ZoneInfo(self.athlete.time_zone))
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
        self, block: Block, group: str | None, beside: Sequence[Block]
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
            lifting = (b for b in beside if b.goal in words.lifting_goals)
            yield "lifting_same_day", any(group in groups_of(b, words) for b in lifting)


def _questions_answered(check_in: CheckIn) -> int:
    """How many of sleep, soreness, pain, illness and warning signs were answered."""
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


def _day_facts(
    athlete: Athlete, check_in: CheckIn, vocabulary: Vocabulary
) -> Iterator[tuple[str, FactValue | None]]:
    if check_in.warning_signs is not None:
        for sign in vocabulary.warning_signs:
            yield sign.replace("-", "_"), sign in check_in.warning_signs
    yield "illness", check_in.illness
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
