"""What is told ahead of a muscle group that is on the way, times where the athlete lives."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime


@dataclass(frozen=True, slots=True)
class ToldChance:
    """How likely soreness is low at a time: at least so many times in ten."""

    at: datetime
    in_ten: int


@dataclass(frozen=True, slots=True)
class OwnForecast:
    """When a muscle group is ready again, by the athlete's own course: hours after usual work with
    the half of the times, from when on that is likely, and the first of the coming mornings and
    evenings at which it is as likely as it gets; ``text`` says it in a sentence."""

    muscle_group: str
    usual_hours: int
    half_from_hours: int
    half_to_hours: int
    likely_at: datetime | None
    chance: ToldChance | None
    text: str
