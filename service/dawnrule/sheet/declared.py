"""What does a sheet not say itself, so that whoever sends it must?"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from zoneinfo import ZoneInfo

from dawnrule.schemas.date_order import DateOrder


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
