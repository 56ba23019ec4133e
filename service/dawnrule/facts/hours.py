"""How many hours lie between two times?"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

ONE_HOUR = timedelta(hours=1)


def hours_between(earlier: datetime, later: datetime) -> float:
    """Elapsed hours from one aware time to another, whatever their time zones; never below 0.

    A night on which the clock is put forward has an hour less, and one on which it is put back an
    hour more: what counts for a body is the time that passed. Python would subtract what the
    clocks showed where both times share a time zone, hence the way over UTC.
    """
    return max((later.astimezone(UTC) - earlier.astimezone(UTC)) / ONE_HOUR, 0.0)
