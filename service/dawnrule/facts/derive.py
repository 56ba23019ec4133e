"""Derivation of the facts of a morning from a check-in and the history before it (pure)."""

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
from dawnrule.model import SECOND_EDITION, FactDictionary, Facts, FactValue, Vocabulary
from dawnrule.model.entities import Athlete, Block, CheckIn, History, Sleep
from dawnrule.model.training import groups_of


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


def derive_facts(
    athlete: Athlete,
    check_in: CheckIn,
    history: History,
    now: datetime,
    edition: int = SECOND_EDITION,
) -> MorningFacts:
    """Derive all facts of a morning, by the names of the fact dictionary.

    Facts of a later ``edition`` than the one asked for are left out. ``now`` (aware) is used where
    neither the block's start nor the time of the report is known.
    What was not reported is absent from the facts, never guessed.
    """
    return FactSource.of(athlete, check_in, history, now, edition).morning()


@dataclass(frozen=True, slots=True)
class FactSource:
    """The facts of a morning, and of parts that are not in its plan or start at another time;
    ``now`` is aware."""

    athlete: Athlete
    check_in: CheckIn
    now: datetime
    past: Past
    trained: LastTrainedTimes
    carried_over: CarriedOver
    day: Derived
    cache: dict[tuple[str, datetime | None], Derived] = field(default_factory=dict)
    """Facts of a muscle group that were derived already, whatever the start (None) and at a start:
    many blocks ask for the same."""

    @classmethod
    def of(
        cls,
        athlete: Athlete,
        check_in: CheckIn,
        history: History,
        now: datetime,
        edition: int = SECOND_EDITION,
    ) -> Self:
        """Prepare the facts of a morning."""
        words = Vocabulary.bundled()
        past = Past.of(athlete, check_in, history, FactDictionary.bundled(), words, edition)
        functions = {**recovery.DAY_FACTS, **training_load.DAY_FACTS}
        findings = ((name, function(past)) for name, function in functions.items())
        from_history = Derived.of(findings, past.dictionary)
        carried_over = CarriedOver.of(past)
        reported = _reported(_day_facts(athlete, check_in, words))
        facts = reported | from_history.facts | dict(carried_over.day_facts())
        day = Derived(facts, from_history.missing)
        trained = LastTrainedTimes.of(check_in, history, words)
        return cls(athlete, check_in, now, past, trained, carried_over, day)

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

    def other_blocks(self, index: int) -> tuple[Block, ...]:
        """Return the plan without one of its blocks."""
        return self.check_in.plan[:index] + self.check_in.plan[index + 1 :]

    def facts_for(
        self, block: Block, group: str | None, start: datetime, others: Sequence[Block] = ()
    ) -> Derived:
        """Derive the facts of any block for one muscle group, the day's among them, as if it
        began at ``start`` on a day that also holds the ``others``."""
        pain: dict[str, FactValue] = dict(
            pain_facts(self.check_in, block, group, self.past.vocabulary)
        )
        pain |= self.carried_over.part_facts(block, group)
        facts = {**self.day.facts, **_reported(self._plan_facts(block, group, others)), **pain}
        if group is None:
            return Derived(facts)
        at_any_time, at_start = self._of_group(group), self._of_group_at(group, start)
        return Derived(
            {**facts, **at_any_time.facts, **at_start.facts},
            {**at_any_time.missing, **at_start.missing},
        )

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
        self, block: Block, group: str | None, others: Sequence[Block]
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
            lifting = (b for b in others if b.goal in words.lifting_goals)
            yield "lifting_same_day", any(group in groups_of(b, words) for b in lifting)


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
