"""Generated weeks, lived through in the real pipeline; the long run: ``tests.week.generated``."""

from __future__ import annotations

from tests.effort import tries
from tests.week.generated import Tally, live_through


def test_no_session_of_a_week_that_was_shown_is_refused_on_its_day() -> None:
    tally = Tally()
    live_through(tries(3, 200), seed=7, tally=tally)
    assert tally.refused == []
    assert tally.sessions["let through"] > 5
