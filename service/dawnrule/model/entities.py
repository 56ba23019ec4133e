"""Athletes, check-ins, sessions and the history before a morning.

The types here are what the schemas at the edge make of JSON and CSV, and what facts are
derived from. ``None`` always means "not reported", never zero.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import UTC, date, datetime
from zoneinfo import ZoneInfo

from dawnrule.model.concerns import Concern


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

    def today(self, now: datetime) -> date:
        """Return the athlete's local date at an aware time."""
        return now.astimezone(ZoneInfo(self.time_zone)).date()

    def age_years(self, on: date) -> int | None:
        """Return the age in whole years on a date; outside leap years a birthday on 29 February
        falls on 1 March."""
        born = self.date_of_birth
        if born is None:
            return None
        return on.year - born.year - ((on.month, on.day) < (born.month, born.day))

    def without_identity(self) -> RecordedAthlete:
        """The athlete as records keep them: without name and language, which affect no advice."""
        return RecordedAthlete(self.id, self.time_zone, self.date_of_birth, self.training_status)


@dataclass(frozen=True, slots=True)
class RecordedAthlete:
    """An athlete in a record."""

    id: str
    time_zone: str
    date_of_birth: date | None = None
    training_status: str | None = None


@dataclass(frozen=True, slots=True)
class LastTrained:
    """When a muscle group was last trained (aware), and for which goal."""

    at: datetime
    goal: str


@dataclass(frozen=True, slots=True)
class Pain:
    """Pain somewhere. With no muscle group it counts for every part."""

    where: str
    kind: str
    muscle_groups: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Block:
    """One piece of training, planned or done. ``starts_at`` is aware; ``load_kg`` is the working
    load of a block that was done."""

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


@dataclass(frozen=True, slots=True)
class Sleep:
    """Last night: hours slept, and quality from 1 (very bad) to 5 (very good)."""

    hours: float | None = None
    quality: int | None = None


@dataclass(frozen=True, slots=True)
class CheckIn:
    """What one athlete reports for one local date; the names are those of the interface.

    Soreness, fatigue and stress are rated 0 to 10. ``reported_at`` is aware. ``pain`` and
    ``warning_signs`` are empty when "none" was reported, None when the question was left out.
    Of heart-rate variability either rMSSD is reported or the RR intervals that it is made from.
    """

    athlete_id: str
    date: date
    plan: tuple[Block, ...]
    reported_at: datetime | None = None
    sleep: Sleep = Sleep()
    soreness: Mapping[str, float] = field(default_factory=dict)
    last_trained: Mapping[str, LastTrained] = field(default_factory=dict)
    fatigue: float | None = None
    stress: float | None = None
    resting_hr_bpm: int | None = None
    hrv_rmssd_ms: float | None = None
    rr_intervals_ms: tuple[float, ...] | None = None
    pain: tuple[Pain, ...] | None = None
    illness: str | None = None
    warning_signs: tuple[str, ...] | None = None


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
    injuries reported on its date.
    """

    check_ins: tuple[CheckIn, ...] = ()
    sessions: tuple[Session, ...] = ()
    last_answers: tuple[CheckIn, ...] = ()
    concerns: tuple[Concern, ...] = ()
