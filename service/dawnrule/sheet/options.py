"""What does a sheet not say itself, so that whoever sends it must?"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from zoneinfo import ZoneInfo

from dawnrule.schemas.fields import DateOrder

MOST_CHARACTERS = 2_000
"""In one cell."""

MOST_COLUMNS = 256
"""More than twice as many as have a meaning."""

MOST_ROWS = 100_000
"""That are not blank. How many may be answered at once is for the service to say."""

MOST_CELLS = 4_000_000
"""From the first to the last of a workbook's table, blank or not."""

MOST_BYTES_UNPACKED = 50_000_000
"""Of all that a workbook holds."""

MOST_TIMES_PACKED = 250
"""How many times larger than packed a part of a workbook may be: tables of numbers reach some
dozens."""

SMALL_BYTES = 1_000_000
"""A part of a workbook that is no larger harms nobody, however well it was packed."""


def _unknown(athlete_id: str) -> None:
    """Where nobody is known, no time zone is."""


@dataclass(frozen=True, slots=True)
class Declared:
    """What goes beside a sheet.

    ``date_order`` is that of dates like 04/05/2026, ``table`` the name of the workbook's sheet
    that is meant. ``zone_of`` gives the time zone of an athlete: times without an offset are
    local there. None where the athlete is not known, whose row is refused for that later.
    ``zone_in_words`` is how people are told of that zone, if not as where the athlete lives.
    """

    date_order: DateOrder | None = None
    table: str | None = None
    zone_of: Callable[[str], ZoneInfo | None] = _unknown
    zone_in_words: str = ""


NOTHING = Declared()
