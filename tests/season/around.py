"""What stands around an athlete: heat, journeys, orders of a coach, and slips of the finger.

All figures are invented; they need to be likely only so far that every rule meets mornings on
which it matters.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from random import Random
from typing import Any

from dawnrule.model.concerns import Restriction, Restrictions
from dawnrule.model.entities import Heat, Journey
from tests.season.body import PAINS, SIGNS

HOT_MONTHS = range(6, 9)
CHANCE_OF_HEAT = 0.2
USED_TO_IT_FROM = 8
"""The month from which on everybody is used to the heat."""
CHANCE_OF_A_JOURNEY = 0.006
CHANCE_OF_AN_ORDER = 0.004
CHANCE_OF_A_SLIP = 0.006

ORDERS = (
    Restrictions(muscle_groups_rest=("quadriceps", "hamstrings")),
    Restrictions(muscle_groups_rest=("shoulders",)),
    Restrictions(rests_everything=True),
    Restrictions(no_contact=True),
    Restrictions(minutes_at_most=30),
    Restrictions(goals_not=("hypertrophy", "intervals")),
)
REASONS = ("injury", "surgery", "restriction", "other")


@dataclass(slots=True)
class Around:
    """What stands around one athlete through a year."""

    random: Random
    journey: Journey | None = None

    def heat_of(self, day: date) -> Heat | None:
        """The heat that is told on a morning."""
        if day.month not in HOT_MONTHS or self.random.random() >= CHANCE_OF_HEAT:
            return None
        wbgt = round(self.random.uniform(26, 34), 1)
        return Heat(wbgt_c=wbgt, acclimatised=day.month >= USED_TO_IT_FROM)

    def journey_of(self, day: date) -> Journey | None:
        """The last journey, which is told for a week."""
        if self.random.random() < CHANCE_OF_A_JOURNEY:
            self.journey = Journey(self.random.randint(1, 9), day)
        if self.journey is not None and day - self.journey.arrived_on > timedelta(days=7):
            self.journey = None
        return self.journey

    def order_of(self, day: date) -> Restriction | None:
        """What a coach or clinician orders on a day."""
        if self.random.random() >= CHANCE_OF_AN_ORDER:
            return None
        until = day + timedelta(days=self.random.randint(2, 21))
        return Restriction(self.random.choice(REASONS), self.random.choice(ORDERS), until)

    def slip(self) -> dict[str, Any] | None:
        """An answer that is ticked by mistake, and taken back within the hour."""
        if self.random.random() >= CHANCE_OF_A_SLIP:
            return None
        return self.random.choice(
            (
                {"warning_signs": (self.random.choice(SIGNS),)},
                {"pain": (self.random.choice(PAINS),)},
                {"illness": self.random.choice(("fever", "below-neck"))},
            )
        )
