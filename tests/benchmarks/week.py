"""A week laid out for one and for thirty who share racks, beside a greedy layout that takes the
first time that the rules let through.

``python -m tests.benchmarks.week``
"""

from __future__ import annotations

import time as timing
from dataclasses import replace
from datetime import time

from dawnrule.model.entities import Block
from dawnrule.model.weeks import WEEKDAYS, Window, Wish
from dawnrule.week.planner import Planner, Week
from dawnrule.week.request import Placed, Room, WeekRequest
from tests.week.test_planner import KIM, LEGS, MONDAY, PUSH, RIDE, SUNDAY_NIGHT, planner

_WINDOWS = (Window(WEEKDAYS, time(6), time(8)), Window(WEEKDAYS, time(16), time(20)))
_PULL = Wish("Pull", 2, 60, (Block("hypertrophy", ("lats", "biceps"), sets=5, minutes=60),))
_WISHES = (replace(LEGS, room="rack"), PUSH, _PULL, RIDE)
_PEOPLE = 30


def _request() -> WeekRequest:
    return WeekRequest(KIM, MONDAY, 7, _WINDOWS, _WISHES)


def greedy(laid_by: Planner, request: WeekRequest) -> list[Placed]:
    """Place each wish at the first time at which everything is still let through."""
    placed: list[Placed] = []
    for place, wish in enumerate(request.wishes):
        left = wish.times
        for start in request.starts(wish, SUNDAY_NIGHT):
            session = Placed.of(wish, place, start)
            tried = [*placed, session]
            if left and not _overlaps(session, placed) and _is_let_through(laid_by, request, tried):
                placed, left = tried, left - 1
    return placed


def _overlaps(session: Placed, placed: list[Placed]) -> bool:
    return any(o.starts_at < session.ends_at and session.starts_at < o.ends_at for o in placed)


def _is_let_through(laid_by: Planner, request: WeekRequest, placed: list[Placed]) -> bool:
    twice = [*placed, *map(request.a_week_later, placed)]
    return all(ruling.is_let_through for ruling in laid_by.judge.rulings(twice))


def _thirty() -> tuple[float, list[Week]]:
    room, weeks = Room({"rack": 6}), []
    began = timing.process_time()
    for _ in range(_PEOPLE):
        week = planner().plan(_request(), room)
        weeks.append(week)
        racks = [("rack", one.starts_at, one.ends_at) for one in week.placed if one.wish == 0]
        room = room.with_sessions(racks)
    return timing.process_time() - began, weeks


def main() -> None:
    """Print seconds of one processor and what was placed."""
    planner().plan(_request())  # rules are read and compiled
    began = timing.process_time()
    week = planner().plan(_request())
    one = timing.process_time() - began
    began = timing.process_time()
    first = greedy(planner(), _request())
    peer = timing.process_time() - began
    print(f"one athlete: {one:.2f} s, {len(week.placed)} sessions of 8, best: {week.is_best}")
    print(f"greedy:      {peer:.2f} s, {len(first)} sessions of 8; ratio {one / peer:.2f}")
    seconds, weeks = _thirty()
    placed = sum(len(one.placed) for one in weeks)
    print(f"thirty with six racks: {seconds:.1f} s, {placed} sessions of {_PEOPLE * 8}")


if __name__ == "__main__":
    main()
