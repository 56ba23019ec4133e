"""What befalls an invented athlete: soreness, nights, illness, pain, warning signs and breaks.

All figures are invented; they need to be likely only so far that every rule meets mornings on
which it matters.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from datetime import date, timedelta
from random import Random
from typing import TypeVar

from dawnrule.model import Vocabulary
from dawnrule.model.entities import Block, Pain
from dawnrule.model.training import groups_of
from tests.season.kinds import Kind

WORDS = Vocabulary.bundled()
SIGNS = WORDS.warning_signs
SOFT_DAMAGE = 0.9
DAMAGE = {
    "hypertrophy": 6.0,
    "strength": 2.5,
    "power": 2.0,
    "speed": 3.0,
    "muscular-endurance": 4.0,
}
LANDING = {"court-sport": 2.5, "jumping": 3.5, "downhill-running": 6.0, "flat-running": 1.2}
FALLS_BY_A_DAY = 0.55

CHANCE_OF_FEVER = 0.004
CHANCE_OF_A_COLD = 0.008
CHANCE_OF_PAIN = 0.004
CHANCE_OF_A_SIGN = 0.0015
CHANCE_OF_A_BREAK = 0.0025
CHANCE_OF_A_BAD_NIGHT = 0.06
CHANCE_OF_A_HARD_WEEK = 0.01

T = TypeVar("T")

SUSPICIOUS = {
    "chest, tight": ("chest-pain", Pain("chest, tight", "other", ("chest",))),
    "calf, warm": ("leg-clot", Pain("calf, warm", "one-sided", ("calves",))),
}
"""Pain that may be a warning sign, by the words in which it is told, and the sign."""

PAINS = (
    *(pain for _, pain in SUSPICIOUS.values()),
    Pain("left knee", "joint", ("quadriceps",)),
    Pain("right shoulder", "one-sided", ("shoulders",)),
    Pain("lower back", "sharp", ("lower-back",)),
    Pain("right ankle", "joint", ("calves",)),
)


@dataclass(slots=True)
class Body:
    """The body of one athlete through a year."""

    kind: Kind
    random: Random
    soreness: dict[str, float] = field(default_factory=dict)
    illness: tuple[str, date] | None = None
    pain: tuple[Pain, date] | None = None
    sign: tuple[str, date] | None = None
    away_until: date | None = None
    strained_until: date | None = None

    def new_day(self, day: date) -> None:
        """Let a night pass, and let happen what happens."""
        self.soreness = {
            group: value * FALLS_BY_A_DAY
            for group, value in self.soreness.items()
            if value * FALLS_BY_A_DAY >= 0.5
        }
        self.illness = _while_it_lasts(self.illness, day)
        self.pain = _while_it_lasts(self.pain, day)
        self.sign = _while_it_lasts(self.sign, day)
        if self.illness is None and self._happens(CHANCE_OF_FEVER):
            worst = self.random.choice(("fever", "below-neck"))
            self.illness = (worst, self._until(day, 1, 12))
        elif self.illness is None and self._happens(CHANCE_OF_A_COLD):
            self.illness = ("above-neck", self._until(day, 2, 8))
        if self.pain is None and self._happens(CHANCE_OF_PAIN):
            self.pain = (self.random.choice(PAINS), self._until(day, 1, 20))
        if self.sign is None and self._happens(CHANCE_OF_A_SIGN):
            self.sign = (self.random.choice(SIGNS), self._until(day, 0, 2))
        if not self.is_away(day) and self._happens(CHANCE_OF_A_BREAK):
            self.away_until = self._until(day, 7, 28)
        if self._happens(CHANCE_OF_A_HARD_WEEK):
            self.strained_until = self._until(day, 3, 10)

    def is_away(self, day: date) -> bool:
        """Whether the athlete is on holiday and trains nothing."""
        return self.away_until is not None and day <= self.away_until

    def is_strained(self, day: date) -> bool:
        """Whether this is one of the hard weeks."""
        return self.strained_until is not None and day <= self.strained_until

    def hours_of_sleep(self, day: date) -> float:
        """How long the night was."""
        usual = 6.2 if self.is_strained(day) else 7.4
        if self._happens(CHANCE_OF_A_BAD_NIGHT):
            usual -= 3
        return round(min(max(self.random.gauss(usual, 0.7), 0), 12), 1)

    def rating(self, day: date) -> int:
        """Fatigue or stress, 0 to 10."""
        usual = 6.5 if self.is_strained(day) else 2.8
        return int(min(max(self.random.gauss(usual, 1.3), 0), 10))

    def train(self, blocks: Iterable[Block], share: float = 1.0) -> None:
        """Add the soreness that a session leaves."""
        for block in blocks:
            for group, amount in _damage(block):
                left = amount * share * (1.3 - self.kind.is_used_to_it)
                self.soreness[group] = min(self.soreness.get(group, 0.0) + left, 10.0)

    def _happens(self, chance: float) -> bool:
        return self.random.random() < chance

    def _until(self, day: date, least: int, most: int) -> date:
        return day + timedelta(days=self.random.randint(least, most))


def _damage(block: Block) -> Iterator[tuple[str, float]]:
    lifting = DAMAGE.get(block.goal, SOFT_DAMAGE if block.goal != "mobility" else 0.0)
    amount = LANDING.get(block.modality or "", lifting)
    for group in groups_of(block, WORDS):
        yield group, amount


def _while_it_lasts(what: tuple[T, date] | None, day: date) -> tuple[T, date] | None:
    return what if what is not None and day <= what[1] else None
