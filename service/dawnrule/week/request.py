"""What is wanted of a week, and what is placed in it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime, timedelta

from dawnrule.facts.history import block_minutes
from dawnrule.model.entities import Athlete, Block, Session
from dawnrule.model.time_zones import zone_named
from dawnrule.model.weeks import WEEKDAYS, Fixed, Travel, Window, Wish
from dawnrule.week.numbers import WeekNumbers

ONE_DAY = timedelta(days=1)


@dataclass(frozen=True, slots=True)
class WeekRequest:
    """The week of one athlete: days from ``first`` (a local date) on."""

    athlete: Athlete
    first: date
    days: int
    windows: tuple[Window, ...]
    wishes: tuple[Wish, ...]
    fixed: tuple[Fixed, ...] = ()
    travel: tuple[Travel, ...] = ()
    keep: tuple[Placed, ...] = ()
    """What stands already, and is best left where it is."""
    repeats: bool = True
    """Whether the week has to be let through when it comes again right after itself."""
    step_minutes: int | None = None
    """Sessions begin each so many minutes within a window; None for as many as usual."""

    @property
    def dates(self) -> list[date]:
        """The dates of the week."""
        return [self.first + n * ONE_DAY for n in range(self.days)]

    def date_of(self, at: datetime) -> date:
        """Return the local date of a time."""
        return at.astimezone(zone_named(self.athlete.time_zone)).date()

    def a_week_later(self, session: Placed) -> Placed:
        """Return a session at the same time of the clock a week later."""
        zone = zone_named(self.athlete.time_zone)
        later = session.starts_at.astimezone(zone) + timedelta(days=self.days)
        return replace(session, starts_at=later.astimezone(UTC), repeats=session.starts_at)

    def is_on_the_way(self, begins: datetime, ends: datetime) -> bool:
        """Return whether the athlete travels at any time between two (aware)."""
        return any(one.leaves_at < ends and begins < one.arrives_at for one in self.travel)

    def starts(self, wish: Wish, now: datetime) -> Iterator[datetime]:
        """Yield the times (UTC) at which a session could begin so that it ends in its window; none
        that has passed, and no hour that the clocks skip."""
        zone = zone_named(self.athlete.time_zone)
        step = timedelta(minutes=self.step_minutes or WeekNumbers.bundled().step_minutes)
        for day in self.dates:
            found = set()
            for window in self.windows:
                if WEEKDAYS[day.weekday()] not in window.weekdays:
                    continue
                begins = datetime.combine(day, window.begins, zone).astimezone(UTC)
                ends = datetime.combine(day, window.ends, zone).astimezone(UTC)
                while begins + timedelta(minutes=wish.minutes) <= ends:
                    found.add(begins)
                    begins += step
            yield from sorted(start for start in found if start >= now)


@dataclass(frozen=True, slots=True)
class Placed:
    """A session at a time (UTC); ``wish`` is the place of its wish, None for a fixed session."""

    name: str
    starts_at: datetime
    minutes: float
    blocks: tuple[Block, ...]
    wish: int | None = None
    repeats: datetime | None = None
    """When the session began that this one repeats a week later (UTC)."""

    @classmethod
    def of(cls, wish: Wish, place: int, starts_at: datetime) -> Placed:
        """Place a wish."""
        return cls(wish.name, starts_at.astimezone(UTC), wish.minutes, wish.blocks, place)

    @classmethod
    def fixed(cls, session: Fixed) -> Placed:
        """Place what is fixed."""
        starts_at = session.starts_at.astimezone(UTC)
        return cls(session.name, starts_at, session.minutes, session.blocks)

    @property
    def ends_at(self) -> datetime:
        """When it ends (UTC)."""
        return self.starts_at + timedelta(minutes=self.minutes)

    def timed_blocks(self) -> tuple[Block, ...]:
        """Return its blocks, one after the other; those that do not say their minutes share what
        is left of the session's."""
        timed, start = [], self.starts_at
        for block, minutes in block_minutes(self._session("", self.blocks)):
            timed.append(replace(block, starts_at=start))
            start += timedelta(minutes=minutes)
        return tuple(timed)

    def as_done(self, athlete_id: str) -> Session:
        """Return it as a session that was done as planned."""
        return self._session(athlete_id, self.timed_blocks())

    def _session(self, athlete_id: str, blocks: tuple[Block, ...]) -> Session:
        return Session(athlete_id, self.starts_at, self.minutes, blocks)


@dataclass(frozen=True, slots=True)
class Room:
    """What a group shares, such as racks or lanes: how many sessions fit in at a time, by name,
    and when each is taken already (UTC)."""

    capacity: Mapping[str, int] = field(default_factory=dict)
    taken: tuple[tuple[str, datetime, datetime], ...] = ()

    def is_free(self, room: str | None, begins: datetime, ends: datetime) -> bool:
        """Return whether a further session fits in."""
        if room is None or room not in self.capacity:
            return True
        beside = [(b, e) for name, b, e in self.taken if name == room and b < ends and e > begins]
        busiest = max((sum(b <= at < e for b, e in beside) for at, _ in beside), default=0)
        return max(busiest, sum(b <= begins < e for b, e in beside)) < self.capacity[room]

    def with_sessions(self, sessions: list[tuple[str, datetime, datetime]]) -> Room:
        """Take room for further sessions."""
        return replace(self, taken=(*self.taken, *sessions))
