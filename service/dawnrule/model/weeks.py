"""What is asked for of a week: sessions that are wanted, times that are possible, what is fixed."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, time

from dawnrule.model.entities import Block

WEEKDAYS = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")


@dataclass(frozen=True, slots=True)
class Window:
    """Times of day (local) at which training is possible, on some weekdays."""

    weekdays: tuple[str, ...]
    begins: time
    ends: time


@dataclass(frozen=True, slots=True)
class Wish:
    """A session that is wanted so many times, with its blocks in order; blocks have no start.

    ``room`` names what it needs of what a group shares, such as a rack.
    """

    name: str
    times: int
    minutes: float
    blocks: tuple[Block, ...]
    preferred_weekdays: tuple[str, ...] = ()
    room: str | None = None


@dataclass(frozen=True, slots=True)
class Fixed:
    """A session that takes place whatever the rules say of it: a match, team practice."""

    name: str
    starts_at: datetime
    minutes: float
    blocks: tuple[Block, ...]


@dataclass(frozen=True, slots=True)
class Travel:
    """A time on the way (aware), in which nobody trains, and how many time zones are crossed."""

    leaves_at: datetime
    arrives_at: datetime
    time_zones_crossed: int = 0


@dataclass(frozen=True, slots=True)
class Kept:
    """A session of an earlier layout, which is best left where it is (aware)."""

    name: str
    starts_at: datetime


@dataclass(frozen=True, slots=True)
class SharedRoom:
    """What a group shares, such as racks or lanes, and how many sessions fit in at a time."""

    name: str
    places: int


@dataclass(frozen=True, slots=True)
class WeekOrder:
    """What is asked for: for an athlete or a group (one of the two is named), from which local
    date, and what is wanted, possible, fixed and kept."""

    first: date
    windows: tuple[Window, ...]
    wishes: tuple[Wish, ...]
    athlete_id: str | None = None
    group: str | None = None
    days: int = 7
    fixed: tuple[Fixed, ...] = ()
    keep: tuple[Kept, ...] = ()
    room: tuple[SharedRoom, ...] = ()
    travel: tuple[Travel, ...] = ()
    repeats: bool = True
