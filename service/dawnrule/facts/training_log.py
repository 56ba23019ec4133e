"""Which training was done on which day?"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from itertools import groupby
from typing import Self
from zoneinfo import ZoneInfo

from dawnrule.facts.check_in import Athlete, Block, History, Session
from dawnrule.facts.load import session_load
from dawnrule.facts.missing import Missing, too_few


@dataclass(frozen=True, slots=True)
class TrainingLog:
    """An athlete's sessions by local date, oldest first, as seen on the morning of ``today``.

    The log begins with its first session: an earlier day is unknown, a later one without a
    session is a day off.
    """

    today: date
    sessions: tuple[tuple[date, Session], ...]

    @classmethod
    def of(cls, athlete: Athlete, history: History, today: date) -> Self:
        """The log of an athlete; the order in which sessions arrived does not matter."""
        zone = ZoneInfo(athlete.time_zone)
        sessions = _oldest_first(history.sessions)
        return cls(today, tuple((s.starts_at.astimezone(zone).date(), s) for s in sessions))

    def covers(self, days: int) -> bool:
        """Whether the log goes back so many days before today."""
        return bool(self.sessions) and self.sessions[0][0] <= self.today - timedelta(days=days)

    @property
    def days_covered(self) -> int:
        """How many days before today the log goes back; 0 when nothing stands there."""
        return max((self.today - self.sessions[0][0]).days, 0) if self.sessions else 0

    def too_short(self, days: int) -> Missing:
        """The reason when the log does not go back so many days."""
        return too_few("days of the log", days, self.days_covered)

    def last(self, days: int) -> Iterator[Session]:
        """The sessions of the last so many days before today, today left out."""
        return self.between(self.today - timedelta(days=days), self.today)

    def between(self, first: date, end: date) -> Iterator[Session]:
        """The sessions from a date on up to the day before another."""
        return (session for day, session in self.sessions if first <= day < end)

    def blocks_between(self, first: date, end: date) -> Iterator[tuple[Block, float]]:
        """The blocks of those sessions with their minutes; the blocks that do not say theirs share
        what is left of the session's."""
        for session in self.between(first, end):
            told = sum(block.minutes for block in session.blocks if block.minutes is not None)
            silent = [block for block in session.blocks if block.minutes is None]
            share = max(session.minutes - told, 0) / len(silent) if silent else 0.0
            for block in session.blocks:
                yield block, share if block.minutes is None else block.minutes

    def daily_loads(self, days: int, *, ending: int = 0) -> list[float] | Missing:
        """The load of each of so many days, oldest first, the last being the day before
        ``ending`` days ago; days off are 0."""
        end = self.today - timedelta(days=ending)
        first = end - timedelta(days=days)
        if not self.covers(days + ending):
            return self.too_short(days + ending)
        loads = [0.0] * days
        for day, session in self.sessions:
            if first <= day < end:
                if session.rpe is None:
                    return Missing(f"needs each session's RPE, that of {day.isoformat()} has none")
                loads[(day - first).days] += session_load(session.rpe, session.minutes)
        return loads


def _oldest_first(sessions: Iterable[Session]) -> Iterator[Session]:
    """Sessions by their start; several at once in the order of what they say, so that it does
    not matter in which order they came."""
    for _, together in groupby(sorted(sessions, key=_start), key=_start):
        at_once = list(together)
        yield from at_once if len(at_once) == 1 else sorted(at_once, key=repr)


def _start(session: Session) -> datetime:
    return session.starts_at.astimezone(UTC)
