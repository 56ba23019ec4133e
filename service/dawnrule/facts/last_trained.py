"""Hours since each muscle group was trained, and whether its output held (pure)."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, time, timedelta
from operator import attrgetter
from typing import NamedTuple, Self

from dawnrule.facts.history import Past, Unavailable
from dawnrule.facts.work import Work
from dawnrule.model import FactValue, Vocabulary
from dawnrule.model.entities import CheckIn
from dawnrule.model.time_zones import zone_named
from dawnrule.model.training import ONE_HOUR, hours_between

_NOT_BOTH = Unavailable("needs a last training of this muscle group both told and logged")

_ANY = "any"
_FACT_OF_KIND = {
    _ANY: "hours_since_trained",
    "growth": "hours_since_growth_work",
    "force": "hours_since_force_work",
}


class Training(NamedTuple):
    """Work that a muscle group did, as the athlete tells it: its kind, and when it began (UTC)."""

    kind: str
    began: datetime
    goal: str


@dataclass(frozen=True, slots=True)
class LastTrainedTimes:
    """Every known training by muscle group: the last one as the athlete reports it, and those in
    the log, oldest first."""

    reported: Mapping[str, Training]
    logged: Mapping[str, list[Work]]

    @classmethod
    def of(cls, check_in: CheckIn, works: Iterable[Work], vocabulary: Vocabulary) -> Self:
        """Collect them from a check-in and from the work of the log."""
        reported = {
            group: Training(vocabulary.goals[last.goal], last.at.astimezone(UTC), last.goal)
            for group, last in check_in.last_trained.items()
        }
        logged: dict[str, list[Work]] = {}
        for work in sorted(works, key=_began):
            for group in work.groups:
                logged.setdefault(group, []).append(work)
        return cls(reported, logged)

    def of_group(self, group: str) -> Sequence[Work]:
        """Return the trainings of a group in the log, oldest first."""
        return self.logged.get(group, ())

    def times_of(self, group: str | None) -> frozenset[datetime]:
        """Return the start (UTC) of every known training of a group."""
        if group is None:
            return frozenset()
        known = map(_began, self.of_group(group))
        return frozenset((*known, self.reported[group].began) if group in self.reported else known)

    def logged_before(self, group: str, start: datetime) -> Sequence[Work]:
        """Return the trainings of a group in the log before ``start``, oldest first."""
        logged = self.of_group(group)
        return logged[: bisect_left(logged, start, key=_began)]

    def last_before(
        self, group: str, start: datetime, fits: Callable[[str, str | None], bool]
    ) -> datetime | None:
        """Return when the last training of a group before ``start`` began whose goal and modality
        fit, reported or logged; None where none is known."""
        newest_first = reversed(self.logged_before(group, start))
        logged = next((one for one in newest_first if fits(one.goal, one.modality)), None)
        known = [logged.began] if logged else []
        reported = self.reported.get(group)
        if reported and reported.began < start and fits(reported.goal, None):
            known.append(reported.began)
        return max(known, default=None)

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
        newest_first = reversed(self.logged_before(group, start))
        logged = next((one for one in newest_first if kind in (one.kind, _ANY)), None)
        reported = self.reported.get(group)
        times = [one.began for one in (logged, reported) if one and kind in (one.kind, _ANY)]
        return hours_between(max(times), start) if times else None

    def _hours(self, group: str, start: datetime) -> Iterator[tuple[str, FactValue]]:
        for kind, fact in _FACT_OF_KIND.items():
            hours = self.hours_since(group, start, kind)
            if hours is not None:
                yield fact, hours


_began = attrgetter("began")


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
    def of(cls, work: Work) -> Self:
        """Find how a logged training went."""
        session = work.session
        told = work.block if any(one.output is not None for one in session.blocks) else session
        return cls(work.began, told.output, told.output_drop_percent)

    @property
    def latest_and_worst(self) -> tuple[datetime, bool, float, bool]:
        """The order in which the last and worst one comes out as the greatest."""
        drop = self.drop_percent or 0.0
        return self.began, self.output is not None, drop, self.output == CUT_SHORT


def last_session(past: Past, trainings: Sequence[Work]) -> Outcome | Unavailable:
    """Return how the last of a muscle group's logged ``trainings`` went; of simultaneous ones the
    one that reports more, and worse."""
    days = past.parameters("output_drop_percent")["days"]
    recent = [Outcome.of(work) for work in _within(days, past, trainings)]
    if not recent:
        return Unavailable(f"needs a session of this muscle group within {days} days, has none")
    last = max(recent, key=lambda outcome: outcome.latest_and_worst)
    if last.output is None:
        return Unavailable("needs how the last session of this muscle group went, it does not say")
    return last


def _within(days: int, past: Past, trainings: Sequence[Work]) -> Sequence[Work]:
    """Leave out the trainings before so many days ago."""
    if not trainings:
        return ()
    first_date = past.check_in.date - timedelta(days=days)
    zone = zone_named(past.athlete.time_zone)
    first = datetime.combine(first_date, time.min, zone).astimezone(UTC)
    return trainings[bisect_left(trainings, first, key=_began) :]
