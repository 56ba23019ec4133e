"""Athletes, check-ins, sessions and the history before a morning.

The types here are what the schemas at the edge make of JSON and CSV, and what facts are
derived from. ``None`` always means "not reported", never zero.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import UTC, date, datetime
from typing import TypeAlias

from dawnrule.errors import Conflict
from dawnrule.model.advice import GivenNote
from dawnrule.model.concerns import Concern
from dawnrule.model.time_zones import zone_named

Rating: TypeAlias = int | float
"""A rating from 0 to 10; one that was told as a whole number stays whole."""


@dataclass(frozen=True, slots=True)
class Competition:
    """A competition in an athlete's calendar: its local date, its rank, and its start (aware)."""

    date: date
    rank: str
    starts_at: datetime | None = None
    name: str | None = None


@dataclass(frozen=True, slots=True)
class PlanPhase:
    """A phase of an athlete's plan, from one local date to another, both included."""

    first: date
    last: date
    phase: str


@dataclass(frozen=True, slots=True)
class Athlete:
    """A person who trains. ``time_zone`` is an IANA name; ``language`` is the one that advice is
    told in, where the person asked for one."""

    id: str
    name: str
    time_zone: str
    date_of_birth: date | None = None
    training_status: str | None = None
    language: str | None = None
    body_mass_kg: float | None = None
    competitions: tuple[Competition, ...] | None = None
    phases: tuple[PlanPhase, ...] | None = None

    def today(self, now: datetime) -> date:
        """Return the athlete's local date at an aware time. Raises ``Conflict`` for a time zone
        that cannot be loaded."""
        return now.astimezone(zone_named(self.time_zone)).date()

    def today_or_utc(self, now: datetime) -> date:
        """Return the local date, or that of UTC where the time zone cannot be loaded: for lists of
        many athletes, of whom one must not take away the others'."""
        try:
            return self.today(now)
        except Conflict:
            return now.astimezone(UTC).date()

    def age_years(self, on: date) -> int | None:
        """Return the age in whole years on a date; outside leap years a birthday on 29 February
        falls on 1 March."""
        born = self.date_of_birth
        if born is None:
            return None
        return on.year - born.year - ((on.month, on.day) < (born.month, born.day))

    def without_identity(self) -> RecordedAthlete:
        """The athlete as records keep them: without name and language, which affect no advice."""
        return RecordedAthlete(
            self.id,
            self.time_zone,
            self.date_of_birth,
            self.training_status,
            self.body_mass_kg,
            self.competitions,
            self.phases,
        )


@dataclass(frozen=True, slots=True)
class RecordedAthlete:
    """An athlete in a record."""

    id: str
    time_zone: str
    date_of_birth: date | None = None
    training_status: str | None = None
    body_mass_kg: float | None = None
    competitions: tuple[Competition, ...] | None = None
    phases: tuple[PlanPhase, ...] | None = None


@dataclass(frozen=True, slots=True)
class LastTrained:
    """When a muscle group was last trained (aware), and for which goal."""

    at: datetime
    goal: str


@dataclass(frozen=True, slots=True)
class Pain:
    """Pain somewhere. With no muscle group it counts for every part.

    ``severity`` is rated 0 to 10; ``after`` is what it came after. ``warm``, ``swollen`` and
    ``numbness`` are signs that came with it.
    """

    where: str
    kind: str
    muscle_groups: tuple[str, ...] = ()
    place: str | None = None
    side: str | None = None
    onset: str | None = None
    severity: float | None = None
    after: str | None = None
    warm: bool | None = None
    swollen: bool | None = None
    numbness: bool | None = None


@dataclass(frozen=True, slots=True)
class Block:
    """One piece of training, planned or done. ``starts_at`` is aware.

    ``effort`` is on the CR10 scale, ``contacts`` are landings of jumps, ``action`` is what the
    muscle does, and ``contact`` says that others or a fall may hurt. ``load_kg`` (the working
    load), ``output``, ``output_drop_percent`` and ``longest_run_km`` are of blocks that were done;
    ``output`` means what it does for a session.
    """

    goal: str
    muscle_groups: tuple[str, ...] = ()
    pattern: str | None = None
    modality: str | None = None
    starts_at: datetime | None = None
    minutes: float | None = None
    sets: int | None = None
    reps: int | None = None
    rest_seconds: float | None = None
    load_kg: float | None = None
    effort: float | None = None
    reps_in_reserve: int | None = None
    to_failure: bool | None = None
    new_exercise: bool | None = None
    action: str | None = None
    contacts: int | None = None
    sprint_metres: float | None = None
    kilometres: float | None = None
    contact: bool | None = None
    indoors: bool | None = None
    competition: bool | None = None
    output: str | None = None
    output_drop_percent: float | None = None
    longest_run_km: float | None = None


@dataclass(frozen=True, slots=True)
class Sleep:
    """Last night: hours slept, and quality from 1 (very bad) to 5 (very good); and the hours of
    naps over the last 24 hours."""

    hours: float | None = None
    quality: int | None = None
    naps_hours: float | None = None


@dataclass(frozen=True, slots=True)
class BarSpeed:
    """Mean bar speed of a set at a load, for a movement pattern or for muscle groups."""

    load_kg: float
    metres_per_second: float
    pattern: str | None = None
    muscle_groups: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Journey:
    """A journey across time zones, and the local date on which it ended."""

    time_zones_crossed: int
    arrived_on: date


@dataclass(frozen=True, slots=True)
class Heat:
    """Heat expected at the session: wet-bulb globe temperature, or air temperature (both °C) and
    relative humidity. ``acclimatised`` says that the athlete is used to it."""

    wbgt_c: float | None = None
    temperature_c: float | None = None
    humidity_percent: float | None = None
    acclimatised: bool | None = None


@dataclass(frozen=True, slots=True)
class Takes:
    """What is taken before the session."""

    caffeine_mg: float | None = None
    bicarbonate_g: float | None = None
    creatine_g: float | None = None
    other: str | None = None


@dataclass(frozen=True, slots=True)
class CheckIn:
    """What one athlete reports for one local date; the names are those of the interface.

    Soreness, fatigue and stress are rated 0 to 10. ``reported_at`` is aware. ``pain`` and
    ``warning_signs`` are empty when "none" was reported, None when the question was left out.
    Of heart-rate variability either rMSSD is reported or the RR intervals that it is made from.
    ``jump_height_cm`` holds the trials of the morning; their mean counts.
    """

    athlete_id: str
    date: date
    plan: tuple[Block, ...]
    reported_at: datetime | None = None
    sleep: Sleep = Sleep()
    soreness: Mapping[str, Rating] = field(default_factory=dict)
    last_trained: Mapping[str, LastTrained] = field(default_factory=dict)
    fatigue: Rating | None = None
    stress: Rating | None = None
    resting_hr_bpm: int | None = None
    hrv_rmssd_ms: float | None = None
    rr_intervals_ms: tuple[float, ...] | None = None
    pain: tuple[Pain, ...] | None = None
    illness: str | None = None
    warning_signs: tuple[str, ...] | None = None
    temperature_c: float | None = None
    fever_medicine: bool | None = None
    jump_height_cm: tuple[float, ...] | None = None
    grip_kg: float | None = None
    bar_speed: tuple[BarSpeed, ...] | None = None
    journey: Journey | None = None
    heat: Heat | None = None
    takes: Takes | None = None


@dataclass(frozen=True, slots=True)
class Session:
    """Training that was done. ``rpe`` is session RPE on the CR10 scale, 0 to 10.

    ``output`` is ``held`` (done as planned), ``cut-short`` or ``dropped``; with ``dropped``,
    ``output_drop_percent`` says by how much it fell against the last comparable session.
    """

    athlete_id: str
    starts_at: datetime
    minutes: float
    blocks: tuple[Block, ...]
    rpe: float | None = None
    output: str | None = None
    output_drop_percent: float | None = None

    def start_of(self, block: Block) -> datetime:
        """Return when a block of it began (UTC): as the block says, else with the session."""
        return (block.starts_at or self.starts_at).astimezone(UTC)


@dataclass(frozen=True, slots=True)
class History:
    """What is known of the days before one morning: check-ins of earlier dates, one for each, and
    sessions that have started. The order of neither matters. ``last_answers`` are the check-ins
    that last answered the questions on warning signs, illness and pain, also where newer ones of
    the same date took their place, the morning's own date included; in the order of their coming.
    ``concerns`` are those that have not ended, with what this morning's check-in changed, and head
    injuries reported on its date. ``given_notes`` are the notes of the last days' advice that were
    given in full.
    """

    check_ins: tuple[CheckIn, ...] = ()
    sessions: tuple[Session, ...] = ()
    last_answers: tuple[CheckIn, ...] = ()
    concerns: tuple[Concern, ...] = ()
    given_notes: tuple[GivenNote, ...] = ()
