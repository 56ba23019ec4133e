"""Random athletes: mornings drawn by a seed, for any test.

They are ordinary mornings in all their disorder: unanswered questions, short nights, sore muscles,
occasional pain, sessions after midnight, two at once, not rated, logged in other time zones or only
after the planned start; on days on which the clock changes, and on leap days.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from random import Random
from typing import TypeVar
from zoneinfo import ZoneInfo

from dawnrule.advice.advisor import Morning
from dawnrule.model import Vocabulary
from dawnrule.model.entities import (
    Athlete,
    Block,
    CheckIn,
    History,
    LastTrained,
    Pain,
    Session,
    Sleep,
)

T = TypeVar("T")

WORDS = Vocabulary.bundled()
ZONES = ("Europe/Berlin", "America/New_York", "Pacific/Auckland", "Pacific/Kiritimati", "UTC")
DATES = (date(2026, 3, 9), date(2026, 3, 29), date(2026, 10, 25), date(2028, 2, 29))
MUSCLES = ("quadriceps", "hamstrings", "glutes", "chest", "lats", "calves")
"""The muscle groups that are trained most, so that days have some in common."""

GOALS = ("hypertrophy",) * 4 + tuple(WORDS.goals)
NO_MODALITY = (None,) * 6
QUALITIES = (1, 2, 3, 3, 4, 4, 5, 5)


def morning(seed: int) -> Morning:
    """Draw the morning of a seed, the same each time."""
    return _Draw(Random(seed)).morning()


def without_order(given: History, random: Random) -> History:
    """Shuffle a history, as it might have arrived."""
    check_ins, sessions = list(given.check_ins), list(given.sessions)
    random.shuffle(check_ins)
    random.shuffle(sessions)
    return History(tuple(check_ins), tuple(sessions))


@dataclass(frozen=True)
class _Draw:
    random: Random

    def morning(self) -> Morning:
        zone = self.one_of(ZONES)
        born = self.maybe(0.8, date(self.random.randint(1950, 2014), 2, 28))
        athlete = Athlete("a-01", "Kim", zone, born, self.one_of((None, "novice", "trained")))
        days = self.one_of((0, 3, 10, 20, 40))
        today = self.one_of(DATES)
        check_in = self.check_in(today, zone)
        history = History(tuple(self.mornings(today, days)), tuple(self.log(today, days, zone)))
        now = self.clock(today + timedelta(days=self.one_of((0, 0, 0, 1))), zone, 6, 9)
        return Morning(athlete, check_in, history, now)

    def check_in(self, day: date, zone: str) -> CheckIn:
        plan = tuple(self.planned(day, zone) for _ in range(self.one_of((1, 1, 2, 3))))
        return CheckIn(
            "a-01",
            day,
            plan,
            reported_at=self.maybe(0.7, self.clock(day, zone, 5, 10)),
            sleep=Sleep(self.maybe(0.9, self.night()), self.maybe(0.8, self.one_of(QUALITIES))),
            soreness=self.soreness(0.7),
            last_trained=self.last_trained(day, zone),
            fatigue=self.maybe(0.8, min(self.rating(), self.random.randint(0, 10))),
            stress=self.maybe(0.8, min(self.rating(), self.random.randint(0, 10))),
            resting_hr_bpm=self.maybe(0.7, self.random.randint(44, 66)),
            hrv_rmssd_ms=self.maybe(0.7, self.random.uniform(25, 90)),
            pain=self.maybe(0.8, self.pain()),
            illness=self.maybe(0.8, self.one_of(("none",) * 30 + WORDS.illnesses)),
            warning_signs=self.maybe(0.8, self.one_of(((),) * 40 + (("dark-urine",),))),
        )

    def planned(self, day: date, zone: str) -> Block:
        start = self.clock(day, zone, 7, 20)
        return self.block(starts_at=self.maybe(0.8, start), minutes=self.maybe(0.5, 40.0))

    def mornings(self, today: date, days: int) -> Iterable[CheckIn]:
        for ago in range(1, days + 1):
            if self.random.random() < 0.85:
                yield CheckIn(
                    "a-01",
                    today - timedelta(days=ago),
                    (),
                    sleep=Sleep(self.maybe(0.9, self.night())),
                    soreness=self.soreness(0.5),
                    resting_hr_bpm=self.maybe(0.9, self.random.randint(46, 54)),
                    hrv_rmssd_ms=self.maybe(0.9, self.random.uniform(50, 70)),
                )

    def log(self, today: date, days: int, zone: str) -> Iterable[Session]:
        for ago in range(-1, days + 1):
            for _ in range(self.one_of((0, 1, 1, 2)) if ago > 0 else self.one_of((0, 0, 0, 1))):
                started = self.clock(today - timedelta(days=ago), zone, 0, 23)
                yield self.session(started.astimezone(self.one_of((ZoneInfo(zone), UTC))))

    def session(self, started: datetime) -> Session:
        output = self.one_of((None, "held", "held", "cut-short", "dropped"))
        drop = self.maybe(0.9, self.random.uniform(0, 30)) if output == "dropped" else None
        return Session(
            "a-01",
            started,
            float(self.random.randint(20, 120)),
            tuple(self.block(minutes=self.maybe(0.5, 25.0)) for _ in range(self.one_of((1, 2)))),
            rpe=self.maybe(0.97, self.random.uniform(2, 9)),
            output=output,
            output_drop_percent=drop,
        )

    def block(self, starts_at: datetime | None = None, minutes: float | None = None) -> Block:
        modality = self.one_of((*NO_MODALITY, *WORDS.modalities))
        by_pattern = self.random.random() < 0.25
        return Block(
            self.one_of(GOALS),
            () if by_pattern else tuple(self.random.sample(MUSCLES, self.one_of((0, 1, 1, 2)))),
            self.one_of(tuple(WORDS.patterns)) if by_pattern else None,
            modality,
            starts_at,
            minutes,
            sets=self.maybe(0.9, self.random.randint(1, 6)),
        )

    def last_trained(self, day: date, zone: str) -> dict[str, LastTrained]:
        told = self.random.sample(MUSCLES, self.one_of((0, 0, 1, 2)))
        return {group: self.last_time(day, zone) for group in told}

    def last_time(self, day: date, zone: str) -> LastTrained:
        ago = timedelta(days=self.random.randint(0, 4))
        return LastTrained(self.clock(day - ago, zone, 0, 23), self.one_of(GOALS))

    def pain(self) -> tuple[Pain, ...]:
        if self.random.random() < 0.85:
            return ()
        groups = self.one_of(((), ("quadriceps",), ("chest", "calves")))
        return (Pain("here", self.one_of(WORDS.pain_kinds), groups),)

    def soreness(self, share: float) -> dict[str, int]:
        return {group: self.rating() for group in MUSCLES if self.random.random() < share}

    def rating(self) -> int:
        return min(self.random.randint(0, 11), self.random.randint(0, 10))

    def night(self) -> float:
        return round(min(max(self.random.gauss(7.2, 1.3), 0), 12), 1)

    def clock(self, day: date, zone: str, first: int, last: int) -> datetime:
        """Draw a time of day in a zone, mostly at whole minutes."""
        seconds = self.one_of((0, 0, 0, 30))
        shown = time(self.random.randint(first, last), self.one_of((0, 10, 30, 59)), seconds)
        fold = self.one_of((0, 1))
        return datetime.combine(day, shown, ZoneInfo(zone)).replace(fold=fold)

    def maybe(self, share: float, value: T) -> T | None:
        return value if self.random.random() < share else None

    def one_of(self, several: Sequence[T]) -> T:
        return self.random.choice(several)
