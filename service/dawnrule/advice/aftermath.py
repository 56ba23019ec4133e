"""What happened after a morning: was there training, did the output hold, what was sore next day?

Only what was reported counts. Before an athlete's first logged session nothing is known of their
training, and a date that is not over yet has no outcome.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from typing import Self, TypeAlias

from dawnrule.facts.check_in import Session
from dawnrule.facts.output import CUT_SHORT, HELD
from dawnrule.store import Books

AthleteDate: TypeAlias = tuple[str, date]

ONE_DAY = timedelta(days=1)

DONE, NOT_DONE = "done", "not-done"
DROPPED = "dropped"
ROSE, SAME, FELL = "rose", "same", "fell"

OUTCOMES: Mapping[str, tuple[str, ...]] = {
    "session": (DONE, NOT_DONE),
    "output": (HELD, CUT_SHORT, DROPPED),
    "soreness_next_day": (ROSE, SAME, FELL),
}
"""The outcomes of a morning, and what each may be."""

_WORST_FIRST = (DROPPED, CUT_SHORT, HELD)


@dataclass(frozen=True, slots=True)
class Aftermath:
    """What athletes reported of some dates: ``sessions`` by the date on which they began where
    the athlete lives, ``soreness`` by date; ``log_begins`` is the date of the first session ever,
    and ``today`` the date that is not over yet."""

    sessions: Mapping[AthleteDate, list[Session]]
    soreness: Mapping[AthleteDate, Mapping[str, int]]
    log_begins: Mapping[str, date]
    today: Mapping[str, date]

    @classmethod
    def read(cls, books: Books, first: date, last: date, now: datetime) -> Self:
        """What is stored of the dates from one to another; ``now`` is aware."""
        athletes = {athlete.id: athlete for athlete in books.athletes.all()}
        begins = datetime.combine(first - ONE_DAY, time.min, UTC)
        ends = datetime.combine(last + 2 * ONE_DAY, time.min, UTC)
        sessions: dict[AthleteDate, list[Session]] = defaultdict(list)
        for session in books.sessions.of_everybody(begins, ends):
            athlete = athletes[session.athlete_id]
            sessions[athlete.id, athlete.today(session.starts_at)].append(session)
        return cls(
            sessions,
            {
                (check_in.athlete_id, check_in.date): check_in.soreness
                for check_in in books.check_ins.of_everybody(first, last + ONE_DAY)
            },
            {who: athletes[who].today(at) for who, at in books.sessions.first_starts().items()},
            {athlete.id: athlete.today(now) for athlete in athletes.values()},
        )

    def outcomes(self, athlete_id: str, day: date, groups: Iterable[str]) -> Iterator[str]:
        """What is known of a morning, of ``OUTCOMES`` at most one of each; soreness is that of the
        worst of the muscle groups that were rated on both mornings."""
        sessions = self.sessions.get((athlete_id, day), [])
        if self.log_begins.get(athlete_id, date.max) <= day < self.today.get(athlete_id, date.min):
            yield DONE if sessions else NOT_DONE
        told = {session.output for session in sessions}
        yield from [output for output in _WORST_FIRST if output in told][:1]
        yield from self._soreness(athlete_id, day, groups)

    def _soreness(self, athlete_id: str, day: date, groups: Iterable[str]) -> Iterator[str]:
        now = self.soreness.get((athlete_id, day), {})
        then = self.soreness.get((athlete_id, day + ONE_DAY), {})
        rated = [group for group in groups if group in now and group in then]
        if rated:
            before, after = (max(of[group] for group in rated) for of in (now, then))
            yield ROSE if after > before else FELL if after < before else SAME
