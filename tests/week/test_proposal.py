"""The solver that proposes weeks, as a guest in the service's process."""

from __future__ import annotations

import signal
from datetime import UTC, date, datetime, time, timedelta
from multiprocessing import get_context

from dawnrule.model.entities import Athlete, Block
from dawnrule.model.weeks import Window, Wish
from dawnrule.week.numbers import WeekNumbers
from dawnrule.week.proposal import Proposals
from dawnrule.week.request import WeekRequest

MONDAY = date(2026, 3, 9)
AT_SIX = datetime(2026, 3, 9, 18, tzinfo=UTC)


def _propose_and_interrupt() -> None:
    wish = Wish("Squats", 1, 60, (Block("strength", ("quadriceps",)),))
    windows = (Window(("monday",), time(18), time(20)),)
    request = WeekRequest(Athlete("a-01", "Kim", "UTC"), MONDAY, 7, windows, (wish,))
    choices = [(0, AT_SIX), (0, AT_SIX + timedelta(hours=1))]
    proposed = Proposals(request, choices, 1, (), WeekNumbers.bundled()).best()
    assert len(proposed.placed) == 1
    try:
        signal.raise_signal(signal.SIGINT)
    except KeyboardInterrupt:
        return
    raise AssertionError("the interruption did not come to Python")


def test_the_solver_leaves_ctrl_c_to_the_service() -> None:
    process = get_context("spawn").Process(target=_propose_and_interrupt)
    process.start()
    process.join(60)
    assert process.exitcode == 0
