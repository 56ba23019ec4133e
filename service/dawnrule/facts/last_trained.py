"""When was each muscle group last trained, and with what kind of work?"""

from __future__ import annotations

from bisect import bisect_left
from collections import defaultdict
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Self

from dawnrule.facts.check_in import CheckIn, History, Session
from dawnrule.facts.hours import ONE_HOUR, hours_between
from dawnrule.facts.missing import Missing
from dawnrule.facts.muscle_groups import groups_of
from dawnrule.vocabulary import FactValue, Vocabulary

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
    session: Session | None = None

    def is_of(self, kind: str) -> bool:
        """Whether it is work of a kind, or of any."""
        return kind in (self.kind, _ANY)


@dataclass(frozen=True, slots=True)
class LastTrainedTimes:
    """Every known training by muscle group: what the athlete tells is the last, and the log, the
    oldest first."""

    told: Mapping[str, Training]
    logged: Mapping[str, list[Training]]

    @classmethod
    def of(cls, check_in: CheckIn, history: History, vocabulary: Vocabulary) -> Self:
        """From what the check-in says was trained last, and from the sessions logged."""
        told = {
            group: Training(vocabulary.goals[last.goal], last.at.astimezone(UTC))
            for group, last in check_in.last_trained.items()
        }
        logged = defaultdict(list)
        for session in history.sessions:
            for block in session.blocks:
                kind = vocabulary.goals[block.goal]
                training = Training(kind, session.start_of(block), session)
                for group in groups_of(block, vocabulary):
                    logged[group].append(training)
        return cls(told, {group: sorted(of, key=_began) for group, of in logged.items()})

    def times_of(self, group: str | None) -> frozenset[datetime]:
        """The start (UTC) of every known training of a group; none of no group."""
        if group is None:
            return frozenset()
        known = map(_began, self.logged.get(group, ()))
        return frozenset((*known, self.told[group].began) if group in self.told else known)

    def logged_before(self, group: str, start: datetime) -> list[Training]:
        """The trainings of a group in the log that began before ``start``, the oldest first."""
        logged = self.logged.get(group, [])
        return logged[: bisect_left(logged, start, key=_began)]

    def log_differs_hours(self, group: str, start: datetime) -> float | Missing:
        """How far the athlete's own last training of a group is from the latest in the log."""
        told = self.told.get(group)
        logged = self.logged_before(group, start)
        if told is None or not logged:
            return Missing("needs a last training of this muscle group both told and logged")
        return abs(told.began - logged[-1].began) / ONE_HOUR

    def hours_before(self, group: str, start: datetime) -> dict[str, FactValue]:
        """Hours from the latest training of a group to ``start``, start to start, by kind of work;
        the later of check-in and log counts.

        A session logged at or after ``start`` is the planned one itself or a later one and does
        not count; a training that the athlete reports as last counts as 0 h ago even then.
        """
        return dict(self._hours(group, start))

    def _hours(self, group: str, start: datetime) -> Iterator[tuple[str, FactValue]]:
        logged, told = self.logged_before(group, start), self.told.get(group)
        for kind, fact in _FACT_OF_KIND.items():
            last_logged = next((t for t in reversed(logged) if t.is_of(kind)), None)
            times = [t.began for t in (last_logged, told) if t and t.is_of(kind)]
            if times:
                yield fact, hours_between(max(times), start)


def _began(training: Training) -> datetime:
    return training.began
