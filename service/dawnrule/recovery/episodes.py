"""Episodes: hours from work that damages a muscle group until its soreness is low, between which
mornings they lie, and what the work was (pure)."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from itertools import pairwise
from math import inf, log2
from statistics import median
from typing import NamedTuple

from dawnrule.facts.illness import NOT_ILL
from dawnrule.facts.work import is_easy, is_to_failure, lands_hard
from dawnrule.model import FactDictionary, Vocabulary
from dawnrule.model.entities import Athlete, Block, Session
from dawnrule.model.time_zones import zone_named
from dawnrule.model.training import groups_of, hours_between
from dawnrule.recovery.numbers import RecoveryNumbers

_GROWTH = "growth"
_YEARS = 10  # the unit of the effect of age


@dataclass(frozen=True, slots=True)
class Morning:
    """What one check-in says of recovery: when it was reported (UTC), soreness 0 to 10 by muscle
    group, and the illness, None for not reported."""

    at: datetime
    soreness: Mapping[str, float]
    illness: str | None = None

    @property
    def is_ill(self) -> bool:
        """Whether an illness was reported."""
        return self.illness not in (None, NOT_ILL)


@dataclass(frozen=True, slots=True)
class Work:
    """Work of one session that damaged a muscle group: when it began (UTC), and what it was as far
    as is known. ``days_since`` counts from the last such work of the group."""

    began: datetime
    landing: bool = False
    sets: int | None = None
    to_failure: bool = False
    new_exercise: bool = False
    minutes: float | None = None
    days_since: float | None = None


@dataclass(frozen=True, slots=True)
class Episode:
    """Work with the hours after it: the last at which the muscle group was sore (0 for never), and
    the first at which it no longer was (infinite where that was not seen).

    ``is_over`` says that nothing more can be learned of it: it was low again, or new work or an
    illness came first. ``usual`` is the own usual that counted as low at the end, None where
    soreness was under the limit or no end was seen.
    """

    muscle_group: str
    work: Work
    sore_hours: float
    low_hours: float
    is_over: bool
    usual: float | None = None

    @property
    def was_seen(self) -> bool:
        """Whether the end was seen between two mornings."""
        return self.low_hours < inf

    @property
    def is_informative(self) -> bool:
        """Whether it says anything of the hours."""
        return self.was_seen or self.sore_hours > 0


def features(work: Work, age_years: int | None) -> tuple[float, ...]:
    """Return what is known of work in the order of the effects of ``rules/recovery.yaml``; what is
    not known counts as usual, and work that is the first of its group as after a long break."""
    usual = RecoveryNumbers.bundled().usual_work
    break_days = min(max(work.days_since or inf, 1.0), usual.days_since_at_most)
    return (
        1.0,
        float(work.landing),
        log2(work.sets / usual.sets) if work.sets else 0.0,
        float(work.to_failure),
        float(work.new_exercise),
        log2(work.minutes / usual.minutes) if work.landing and work.minutes else 0.0,
        log2(break_days / usual.days_since),
        0.0 if age_years is None else (age_years - usual.age_years) / _YEARS,
    )


def usual_features(age_years: int | None) -> tuple[float, ...]:
    """Return the features of usual growth work."""
    days_since = RecoveryNumbers.bundled().usual_work.days_since
    return features(Work(datetime.min.replace(tzinfo=UTC), days_since=days_since), age_years)


def episodes_of(
    sessions: Sequence[Session],
    mornings: Sequence[Morning],
    low_under: float,
    vocabulary: Vocabulary,
    numbers: RecoveryNumbers,
) -> list[Episode]:
    """Return the episodes of one athlete, oldest first within each muscle group.

    ``mornings`` are in the order of time. New work of the group, an illness and the end of what
    can be put down to the work cut an episode off.
    """
    ill = [morning.at for morning in mornings if morning.is_ill]
    found, trained = [], _training_by_group(sessions, vocabulary)
    for group, works in sorted(works_by_group(sessions, vocabulary).items()):
        answers = _Answers.of(group, mornings, trained[group], low_under, numbers)
        ends: list[datetime | None] = [later.began for _, later in pairwise(works)]
        for work, next_work in zip(works, [*ends, None], strict=True):
            end = _earliest(next_work, _first_after(ill, work.began))
            found.append(_episode(group, work, answers, end, numbers))
    return found


def still_sore(
    sessions: Sequence[Session],
    mornings: Sequence[Morning],
    low_under: float,
    vocabulary: Vocabulary,
    numbers: RecoveryNumbers,
) -> dict[str, datetime]:
    """Return the muscle groups whose last answer was not low, each with when that was."""
    groups = sorted({group for morning in mornings for group in morning.soreness})
    trained = _training_by_group(sessions, vocabulary)
    last = {
        group: _Answers.of(group, mornings, trained[group], low_under, numbers).all[-1]
        for group in groups
    }
    return {group: answer.at for group, answer in last.items() if not answer.is_low}


def _episode(
    group: str, work: Work, answers: _Answers, end: datetime | None, numbers: RecoveryNumbers
) -> Episode:
    longest = work.began + timedelta(hours=numbers.ends_after_hours)
    last = longest if end is None else min(end, longest)
    sore = 0.0
    for answer in answers.between(work.began, last):
        hours = hours_between(work.began, answer.at)
        if not answer.is_low:
            sore = hours
        elif hours >= numbers.rises_for_hours:
            return Episode(group, work, sore, hours, is_over=True, usual=answer.usual)
    return Episode(group, work, sore, inf, is_over=last < longest or answers.last_at >= longest)


class _Answer(NamedTuple):
    """When soreness was told, whether it was low, and the own usual if only that made it low."""

    at: datetime
    is_low: bool
    usual: float | None


@dataclass(frozen=True, slots=True)
class _Answers:
    """Every answer about a muscle group, in the order of time."""

    times: list[datetime] = field(default_factory=list)
    all: list[_Answer] = field(default_factory=list)

    @classmethod
    def of(
        cls,
        group: str,
        mornings: Sequence[Morning],
        trained: Sequence[datetime],
        low_under: float,
        numbers: RecoveryNumbers,
    ) -> _Answers:
        answers = cls()
        known: list[tuple[datetime, float]] = []
        for morning in mornings:
            soreness = morning.soreness.get(group)
            if soreness is None:
                continue
            is_under, usual = soreness < low_under, None
            if not is_under and soreness < numbers.usual_counts_under:
                own = _usual(known, morning.at)
                usual = own if soreness <= own else None
            answers.times.append(morning.at)
            answers.all.append(_Answer(morning.at, is_under or usual is not None, usual))
            if _hours_since(trained, morning.at) > numbers.usual_after_hours:
                known.append((morning.at, soreness))
        return answers

    @property
    def last_at(self) -> datetime:
        return self.times[-1] if self.times else datetime.min.replace(tzinfo=UTC)

    def between(self, began: datetime, end: datetime) -> list[_Answer]:
        """Return the answers after work began, up to the end."""
        return self.all[bisect_right(self.times, began) : bisect_right(self.times, end)]


def _hours_since(trained: Sequence[datetime], at: datetime) -> float:
    """Return the hours since the last training before a time, infinite where there was none."""
    place = bisect_right(trained, at)
    return hours_between(trained[place - 1], at) if place else inf


def _usual(known: Sequence[tuple[datetime, float]], at: datetime) -> float:
    """Return the median of the days before, as the fact ``soreness_above_usual`` counts it, of
    mornings long after work; below any soreness where too few are known."""
    window = FactDictionary.bundled()["soreness_above_usual"].parameters
    first = at - timedelta(days=window["days"])
    recent = [soreness for when, soreness in known[-window["days"] :] if when >= first]
    return median(recent) if len(recent) >= window["least_mornings"] else -1.0


def works_by_group(sessions: Iterable[Session], vocabulary: Vocabulary) -> dict[str, list[Work]]:
    """Return the work of sessions that damages each muscle group, oldest first."""
    blocks: dict[tuple[str, datetime], list[tuple[Block, Session]]] = defaultdict(list)
    for session in sessions:
        for block in session.blocks:
            if _damages(block, vocabulary):
                for group in groups_of(block, vocabulary):
                    blocks[group, session.starts_at.astimezone(UTC)].append((block, session))
    works: dict[str, list[Work]] = defaultdict(list)
    for (group, began), done in sorted(blocks.items(), key=lambda item: item[0]):
        before = works[group][-1].began if works[group] else None
        works[group].append(_work(began, done, before, vocabulary))
    return works


def _training_by_group(
    sessions: Iterable[Session], vocabulary: Vocabulary
) -> dict[str, list[datetime]]:
    """Return when each muscle group did work of any kind that is not easy, in order (UTC)."""
    times: dict[str, set[datetime]] = defaultdict(set)
    for session in sessions:
        for block in session.blocks:
            if not is_easy(block.goal, block.modality, vocabulary):
                for group in groups_of(block, vocabulary):
                    times[group].add(session.starts_at.astimezone(UTC))
    return defaultdict(list, {group: sorted(found) for group, found in times.items()})


def _work(
    began: datetime,
    done: Sequence[tuple[Block, Session]],
    before: datetime | None,
    vocabulary: Vocabulary,
) -> Work:
    blocks = [block for block, _ in done]
    sets = [block.sets for block in blocks if block.sets is not None]
    minutes = [block.minutes for block in blocks if block.minutes is not None]
    return Work(
        began,
        landing=all(lands_hard(block, vocabulary) for block in blocks),
        sets=sum(sets) if sets else None,
        to_failure=any(is_to_failure(block) for block in blocks),
        new_exercise=any(block.new_exercise for block in blocks),
        minutes=sum(minutes) if minutes else done[0][1].minutes,
        days_since=None if before is None else hours_between(before, began) / 24,
    )


def _damages(block: Block, vocabulary: Vocabulary) -> bool:
    growth = vocabulary.goals[block.goal] == _GROWTH
    return growth or (
        lands_hard(block, vocabulary) and not is_easy(block.goal, block.modality, vocabulary)
    )


def _first_after(times: Sequence[datetime], began: datetime) -> datetime | None:
    place = bisect_left(times, began)
    return times[place] if place < len(times) else None


def _earliest(*times: datetime | None) -> datetime | None:
    return min((at for at in times if at is not None), default=None)


def morning_of(athlete: Athlete, day: date, numbers: RecoveryNumbers) -> datetime:
    """Return the time (UTC) of a check-in that does not say its own: its date in the morning where
    the athlete lives."""
    zone = zone_named(athlete.time_zone)
    return datetime.combine(day, numbers.morning, zone).astimezone(UTC)
