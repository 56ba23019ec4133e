"""The invented squad: its athletes, and diaries of what they reported and trained."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import date, datetime, time, timedelta
from functools import cache
from pathlib import Path
from random import Random
from typing import Any, Self

from dawnrule.i18n.resources import read_data
from dawnrule.model import FactDictionary, Vocabulary
from dawnrule.model.entities import Athlete, Block, CheckIn, Session
from dawnrule.model.serialization import from_json, to_json
from dawnrule.model.time_zones import zone_named
from dawnrule.model.training import groups_of


@dataclass(frozen=True, slots=True)
class Persona:
    """An invented athlete. ``week`` holds the blocks of each day by days ago, today first, and
    repeats; ``reported`` holds further members of a morning's check-in, by days ago."""

    athlete: Athlete
    usual: Mapping[str, float]
    week: tuple[tuple[Block, ...], ...]
    reported: Mapping[int, Mapping[str, Any]]

    def blocks(self, days_ago: int) -> tuple[Block, ...]:
        """Return what is planned for a day."""
        return self.week[days_ago % len(self.week)]


@dataclass(frozen=True, slots=True)
class Squad:
    """``squad.yaml`` in memory; the comments there say what each thing means."""

    personas: tuple[Persona, ...]
    seed: str
    mornings: int
    checks_in_at: time
    trains_at: time
    soreness_after: Mapping[str, tuple[float, ...]]
    effort: Mapping[str, float]
    strays: Mapping[str, float]

    @classmethod
    @cache
    def invented(cls) -> Self:
        """Load the squad that ships with the service."""
        data = read_data(Path(__file__).with_name("squad.yaml"))
        blocks = {name: from_json(Block, block) for name, block in data["blocks"].items()}
        return cls(
            personas=tuple(_persona(entry, data["usual"], blocks) for entry in data["athletes"]),
            seed=data["seed"],
            mornings=data["mornings"],
            checks_in_at=time.fromisoformat(data["checks_in_at"]),
            trains_at=time.fromisoformat(data["trains_at"]),
            soreness_after={kind: tuple(days) for kind, days in data["soreness_after"].items()},
            effort=data["effort"],
            strays=data["strays"],
        )


def _persona(
    entry: Mapping[str, Any], usual: Mapping[str, float], blocks: Mapping[str, Block]
) -> Persona:
    return Persona(
        athlete=from_json(Athlete, entry["athlete"]),
        usual={**usual, **entry["usual"]},
        week=tuple(tuple(blocks[name] for name in day) for day in entry["week"]),
        reported=entry.get("reported", {}),
    )


QUARTERS_OF_AN_HOUR = 4


@dataclass(frozen=True, slots=True)
class Day:
    """A morning's check-in, and the session afterwards, if there was one."""

    check_in: CheckIn
    session: Session | None


@dataclass(frozen=True, slots=True)
class Diary:
    """An athlete's days up to yesterday, the oldest first, and this morning's check-in."""

    athlete: Athlete
    past: tuple[Day, ...]
    this_morning: CheckIn


def invent_diaries(squad: Squad, now: datetime) -> tuple[Diary, ...]:
    """Invent the diary of each athlete at an aware time; this morning is today where they live."""
    return tuple(_Writer(squad, persona, now).diary() for persona in squad.personas)


class _Writer:
    """The writer of one athlete's diary."""

    def __init__(self, squad: Squad, persona: Persona, now: datetime) -> None:
        self._squad = squad
        self._persona = persona
        self._now = now.replace(microsecond=0)
        self._today = persona.athlete.today(now)
        self._random = Random(f"{squad.seed} {persona.athlete.id}")
        self._vocabulary = Vocabulary.bundled()

    def diary(self) -> Diary:
        days = range(self._squad.mornings, 0, -1)
        past = tuple(Day(self._check_in(ago), self._session(ago)) for ago in days)
        return Diary(self._persona.athlete, past, self._check_in(0))

    def _check_in(self, days_ago: int) -> CheckIn:
        planned = CheckIn(
            athlete_id=self._persona.athlete.id,
            date=self._date(days_ago),
            plan=tuple(
                replace(block, starts_at=self._at(days_ago, self._squad.trains_at))
                for block in self._persona.blocks(days_ago)
            ),
            reported_at=min(self._at(days_ago, self._squad.checks_in_at), self._now),
        )
        check_in = to_json(planned) | self._usual_report(days_ago)
        further = self._persona.reported.get(days_ago, {})
        return from_json(CheckIn, check_in | dict(_merged(check_in, further)))

    def _session(self, days_ago: int) -> Session | None:
        blocks = self._trained_blocks(days_ago)
        if not blocks:
            return None
        return Session(
            athlete_id=self._persona.athlete.id,
            starts_at=self._at(days_ago, self._squad.trains_at),
            minutes=sum(block.minutes or 0 for block in blocks),
            blocks=blocks,
            rpe=max(self._squad.effort[self._vocabulary.goals[block.goal]] for block in blocks),
            output="held",
        )

    def _trained_blocks(self, days_ago: int) -> tuple[Block, ...]:
        """Return what was planned, or nothing on a day with something special to report."""
        return () if days_ago in self._persona.reported else self._persona.blocks(days_ago)

    def _usual_report(self, days_ago: int) -> dict[str, Any]:
        """Return a morning without anything special; lack of sleep shows as fatigue."""
        sleep_hours = round(self._vary("sleep_hours") * QUARTERS_OF_AN_HOUR) / QUARTERS_OF_AN_HOUR
        missing = max(self._persona.usual["sleep_hours"] - sleep_hours, 0)
        return {
            "sleep": {"hours": sleep_hours, "quality": self._rate("sleep_quality", -missing)},
            "soreness": {
                group: self._rate("soreness", soreness)
                for group, soreness in self._soreness(days_ago).items()
            },
            "fatigue": self._rate("fatigue", missing),
            "stress": self._rate("stress"),
            "resting_hr_bpm": round(self._vary("resting_hr_bpm")),
            "hrv_rmssd_ms": round(self._vary("hrv_rmssd_ms")),
            "illness": "none",
            "pain": [],
            "warning_signs": [],
        }

    def _soreness(self, days_ago: int) -> dict[str, float]:
        """Return the soreness that earlier sessions left, for each muscle group of the week."""
        soreness = {
            g: 0.0 for day in self._persona.week for block in day for g in self._groups(block)
        }
        longest = max(map(len, self._squad.soreness_after.values()))
        for since in range(1, longest + 1):
            for block in self._trained_blocks(days_ago + since):
                felt = self._felt(block, since)
                soreness |= {group: max(soreness[group], felt) for group in self._groups(block)}
        return soreness

    def _felt(self, block: Block, days_since: int) -> float:
        """Return how sore a block leaves its muscles a number of mornings later."""
        kind = self._vocabulary.goals[block.goal]
        modality = self._vocabulary.modalities.get(block.modality or "")
        load = modality.eccentric_load if modality else ""
        after = self._squad.soreness_after
        fading = after.get(kind) or after.get(load) or ()
        return self._persona.usual["tenderness"] * sum(fading[days_since - 1 : days_since])

    def _groups(self, block: Block) -> tuple[str, ...]:
        return groups_of(block, self._vocabulary)

    def _vary(self, name: str, more: float = 0) -> float:
        far = self._squad.strays[name]
        return self._persona.usual.get(name, 0) + more + self._random.uniform(-far, far)

    def _rate(self, name: str, more: float = 0) -> int:
        """Return a rating near the usual one, within the range of its fact."""
        fact = FactDictionary.bundled()[name]
        return round(min(max(self._vary(name, more), fact.least), fact.greatest))

    def _date(self, days_ago: int) -> date:
        return self._today - timedelta(days=days_ago)

    def _at(self, days_ago: int, clock: time) -> datetime:
        zone = zone_named(self._persona.athlete.time_zone)
        return datetime.combine(self._date(days_ago), clock, zone)


def _merged(check_in: Mapping[str, Any], further: Mapping[str, Any]) -> Iterator[tuple[str, Any]]:
    """Yield further members of a check-in; members of an object are added to it."""
    for name, value in further.items():
        yield name, check_in[name] | value if isinstance(value, dict) else value
