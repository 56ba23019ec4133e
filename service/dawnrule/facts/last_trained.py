"""Hours since each muscle group was trained, and whether its output held (pure)."""

from __future__ import annotations

from bisect import bisect_left
from collections import defaultdict
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, time, timedelta
from typing import Self

from dawnrule.facts.history import Past, Unavailable
from dawnrule.model import FactValue, Vocabulary
from dawnrule.model.entities import Block, CheckIn, History, Session
from dawnrule.model.time_zones import zone_named
from dawnrule.model.training import ONE_HOUR, groups_of, hours_between

_NOT_BOTH = Unavailable("needs a last training of this muscle group both told and logged")

_ANY = "any"
_FACT_OF_KIND = {
    _ANY: "hours_since_trained",
    "growth": "hours_since_growth_work",
    "force": "hours_since_force_work",
}


@dataclass(frozen=True, slots=True)
class Training:
    """Work that a muscle group did: its kind, when it began (UTC), and the session when it was
    logged."""

    kind: str
    began: datetime
    goal: str
    modality: str | None = None
    session: Session | None = None
    block: Block | None = None

    def is_of(self, kind: str) -> bool:
        """Return whether it is work of a kind, or of any."""
        return kind in (self.kind, _ANY)


@dataclass(frozen=True, slots=True)
class LastTrainedTimes:
    """Every known training by muscle group: the last one as the athlete reports it, and those in
    the log, oldest first."""

    reported: Mapping[str, Training]
    logged: Mapping[str, list[Training]]
    began: Mapping[tuple[str, str], list[datetime]]
    """When those in the log began, by muscle group and kind of work."""

    @classmethod
    def of(cls, check_in: CheckIn, history: History, vocabulary: Vocabulary) -> Self:
        """Collect them from a check-in and from the sessions of its history."""
        reported = {
            group: Training(vocabulary.goals[last.goal], last.at.astimezone(UTC), last.goal)
            for group, last in check_in.last_trained.items()
        }
        logged = defaultdict(list)
        for session in history.sessions:
            for block in session.blocks:
                kind = vocabulary.goals[block.goal]
                training = Training(
                    kind, session.start_of(block), block.goal, block.modality, session, block
                )
                for group in groups_of(block, vocabulary):
                    logged[group].append(training)
        oldest_first = {group: sorted(of, key=_began) for group, of in logged.items()}
        began = defaultdict(list)
        for group, trainings in oldest_first.items():
            for one in trainings:
                began[group, _ANY].append(one.began)
                began[group, one.kind].append(one.began)
        return cls(reported, oldest_first, began)

    def times_of(self, group: str | None) -> frozenset[datetime]:
        """Return the start (UTC) of every known training of a group."""
        if group is None:
            return frozenset()
        known = map(_began, self.logged.get(group, ()))
        return frozenset((*known, self.reported[group].began) if group in self.reported else known)

    def logged_before(self, group: str, start: datetime) -> list[Training]:
        """Return the trainings of a group in the log before ``start``, oldest first."""
        logged = self.logged.get(group, [])
        return logged[: bisect_left(logged, start, key=_began)]

    def last_before(
        self, group: str, start: datetime, fits: Callable[[Training], bool]
    ) -> Training | None:
        """Return the last training of a group before ``start`` that fits, reported or logged."""
        logged = next((t for t in reversed(self.logged_before(group, start)) if fits(t)), None)
        reported = self.reported.get(group)
        known = [t for t in (logged, reported) if t and t.began < start and fits(t)]
        return max(known, key=_began, default=None)

    def log_differs_hours(self, group: str, start: datetime) -> float | Unavailable:
        """Return how far the reported last training of a group is from the latest in the log."""
        reported = self.reported.get(group)
        logged = self.logged_before(group, start)
        if reported is None or not logged:
            return _NOT_BOTH
        return abs(reported.began - logged[-1].began) / ONE_HOUR

    def hours_before(self, group: str, start: datetime) -> dict[str, FactValue]:
        """Return the hours from the latest training of a group to ``start``, start to start, by
        kind of work; the later of check-in and log counts.

        A session logged at or after ``start`` is the planned one itself or a later one and does
        not count; a training that the athlete reports as last counts as 0 h ago even then.
        """
        return dict(self._hours(group, start))

    def hours_since(self, group: str, start: datetime, kind: str = _ANY) -> float | None:
        """Return the hours from the latest training of a group that is of a kind to ``start``; None
        where none is known."""
        logged, reported = self.began.get((group, kind), ()), self.reported.get(group)
        before = bisect_left(logged, start)
        times = [logged[before - 1]] if before else []
        if reported is not None and reported.is_of(kind):
            times.append(reported.began)
        return hours_between(max(times), start) if times else None

    def _hours(self, group: str, start: datetime) -> Iterator[tuple[str, FactValue]]:
        for kind, fact in _FACT_OF_KIND.items():
            hours = self.hours_since(group, start, kind)
            if hours is not None:
                yield fact, hours


def _began(training: Training) -> datetime:
    return training.began


HELD = "held"
CUT_SHORT = "cut-short"
DROPPED = "dropped"


def output_facts(
    last: Outcome | Unavailable, start: datetime
) -> Iterator[tuple[str, FactValue | Unavailable]]:
    """Yield the fall in output at the last session of a muscle group before ``start``; whether it
    was cut short, and the hours since then if output fell."""
    if isinstance(last, Unavailable):
        for fact in ("output_drop_percent", "hours_since_output_drop", "last_session_cut_short"):
            yield fact, last
        return
    yield "last_session_cut_short", last.output == CUT_SHORT
    drop = 0.0 if last.output == HELD else last.drop_percent
    if drop is None:
        reason = Unavailable("needs by how much output fell, the last session does not say")
        yield "output_drop_percent", reason
        yield "hours_since_output_drop", reason
        return
    yield "output_drop_percent", drop
    if drop > 0:
        yield "hours_since_output_drop", hours_between(last.began, start)


@dataclass(frozen=True, slots=True)
class Outcome:
    """How a training of a muscle group went. A block's own answer counts for it; once any block of
    a session has one, the session's counts for no other block."""

    began: datetime
    output: str | None
    drop_percent: float | None

    @classmethod
    def of(cls, training: Training, session: Session) -> Self:
        """Find how a logged training went."""
        block = training.block
        if block is not None and any(one.output is not None for one in session.blocks):
            return cls(training.began, block.output, block.output_drop_percent)
        return cls(training.began, session.output, session.output_drop_percent)

    @property
    def latest_and_worst(self) -> tuple[datetime, bool, float, bool]:
        """The order in which the last and worst one comes out as the greatest."""
        drop = self.drop_percent or 0.0
        return self.began, self.output is not None, drop, self.output == CUT_SHORT


def last_session(past: Past, trainings: Sequence[Training]) -> Outcome | Unavailable:
    """Return how the last of a muscle group's logged ``trainings`` went; of simultaneous ones the
    one that reports more, and worse."""
    days = past.parameters("output_drop_percent")["days"]
    recent = [Outcome.of(t, t.session) for t in _within(days, past, trainings) if t.session]
    if not recent:
        return Unavailable(f"needs a session of this muscle group within {days} days, has none")
    last = max(recent, key=lambda outcome: outcome.latest_and_worst)
    if last.output is None:
        return Unavailable("needs how the last session of this muscle group went, it does not say")
    return last


def _within(days: int, past: Past, trainings: Sequence[Training]) -> Sequence[Training]:
    """Leave out the trainings before so many days ago."""
    if not trainings:
        return ()
    first_date = past.check_in.date - timedelta(days=days)
    zone = zone_named(past.athlete.time_zone)
    first = datetime.combine(first_date, time.min, zone).astimezone(UTC)
    return trainings[bisect_left(trainings, first, key=_began) :]
