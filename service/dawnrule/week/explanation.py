"""What could not be placed, by which rule, and the least change that would place it."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import time
from enum import Enum

from dawnrule.model.weeks import WEEKDAYS, Window, Wish
from dawnrule.week.house_limits import HouseLimit
from dawnrule.week.planner import Planner, Refusal, Week
from dawnrule.week.request import Room, WeekRequest

_DAY_BEGINS, _DAY_ENDS = time(6), time(21)
_STEP_MINUTES = 180


class Change(Enum):
    """What would have to change so that a further session can be placed."""

    OTHER_TIMES = "other-times"
    OTHER_DAYS = "other-days"
    FEWER = "fewer-of-another"
    ONE_WEEK_ONLY = "one-week-only"


@dataclass(frozen=True, slots=True)
class LeastChange:
    """The least change that places a further session of a wish; ``wish`` is the other one of which
    there would have to be fewer."""

    change: Change
    wish: Wish | None = None


@dataclass(frozen=True, slots=True)
class Unplaced:
    """A wish that is missing so many times. ``refusal`` is what kept it from most of the times
    that were tried, None where no time was possible at all; ``least`` is None where none of the
    changes that were tried helps."""

    wish: Wish
    times: int
    refusal: Refusal | None
    least: LeastChange | None


def unplaced(planner: Planner, week: Week, room: Room) -> Iterator[Unplaced]:
    """Yield what a week leaves out, with the reason; changes are tried one by one."""
    for place, times in week.missing().items():
        wish = week.request.wishes[place]
        refusal = _most_frequent(week.refusals.get(place, ()))
        yield Unplaced(wish, times, refusal, _least_change(planner, week, room, place))


def _most_frequent(refusals: tuple[Refusal, ...]) -> Refusal | None:
    if not refusals:
        return None
    counts = Counter(map(_reason, refusals))
    [(reason, _)] = counts.most_common(1)
    return next(refusal for refusal in refusals if _reason(refusal) == reason)


def _reason(refusal: Refusal) -> str:
    if isinstance(refusal, HouseLimit):
        return refusal.name
    return refusal.deciding.id if refusal.deciding else ""


def _least_change(planner: Planner, week: Week, room: Room, place: int) -> LeastChange | None:
    for change, request in _changed(week.request, place):
        if planner.plan(request, room).missing().get(place, 0) < week.missing()[place]:
            return change
    return None


def _changed(request: WeekRequest, place: int) -> Iterator[tuple[LeastChange, WeekRequest]]:
    """Yield requests with one thing changed, the least first."""
    possible = {day for window in request.windows for day in window.weekdays}
    days = tuple(day for day in WEEKDAYS if day in possible)
    any_time = (Window(days, _DAY_BEGINS, _DAY_ENDS),)
    yield (
        LeastChange(Change.OTHER_TIMES),
        replace(request, windows=any_time, step_minutes=_STEP_MINUTES),
    )
    any_day = tuple(replace(window, weekdays=WEEKDAYS) for window in request.windows)
    if days != WEEKDAYS:
        yield LeastChange(Change.OTHER_DAYS), replace(request, windows=any_day)
    for other, wish in enumerate(request.wishes):
        if other != place:
            wishes = list(request.wishes)
            wishes[other] = replace(wish, times=wish.times - 1)
            yield LeastChange(Change.FEWER, wish), replace(request, wishes=tuple(wishes))
    if request.repeats:
        yield LeastChange(Change.ONE_WEEK_ONLY), replace(request, repeats=False)
