"""Schemas of check-ins and plans."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from marshmallow import ValidationError, fields, post_load, validates, validates_schema

from dawnrule.facts.recovery import rmssd_ms
from dawnrule.i18n.lazy import lazy, lazy_number
from dawnrule.model import FactDictionary, Vocabulary
from dawnrule.model.entities import Block, CheckIn, LastTrained, Pain, Sleep
from dawnrule.schemas.base import ByName, ListOf, Object, StrictSchema, Timestamp
from dawnrule.schemas.errors import load
from dawnrule.schemas.fields import (
    AthleteId,
    AwareTime,
    CalendarDate,
    Fact,
    Number,
    Text,
    Word,
    WordList,
    greatest,
)

MOST_PAINS = 20

_WHERE_CHARACTERS = 100
_SHORTEST_RR_MS, _LONGEST_RR_MS = 200, 3000  # 300 and 20 beats a minute
_FEWEST_RR, _MOST_RR = 2, 5000  # one difference; an hour of a resting heart


class SleepSchema(StrictSchema):
    """Last night."""

    hours = Fact("sleep_hours")
    quality = Fact("sleep_quality")

    @post_load
    def _sleep(self, data: dict[str, Any], **_: Any) -> Sleep:
        return Sleep(**data)


class LastTrainedSchema(StrictSchema):
    """When a muscle group was last trained, and what for."""

    at = AwareTime(required=True)
    goal = Word.out_of("goals", required=True)

    @post_load
    def _last_trained(self, data: dict[str, Any], **_: Any) -> LastTrained:
        return LastTrained(**data)


class PainSchema(StrictSchema):
    """Pain somewhere; without muscle groups it counts for every part of the plan."""

    where = Text(required=True, at_most=_WHERE_CHARACTERS, metadata={"examples": ["left knee"]})
    kind = Word.out_of("pain_kinds", required=True)
    muscle_groups = WordList("muscle_groups")

    @post_load
    def _pain(self, data: dict[str, Any], **_: Any) -> Pain:
        return Pain(**data)


class BlockSchema(StrictSchema):
    """One piece of training. It names muscle groups or a movement pattern, or neither when the
    modality says enough."""

    goal = Word.out_of("goals", required=True)
    muscle_groups = WordList("muscle_groups")
    pattern = Word.out_of("patterns")
    modality = Word.out_of("modalities")
    starts_at = AwareTime()
    minutes = Fact("planned_minutes")
    sets = Fact("planned_sets")
    reps = Fact("planned_reps")
    rest_seconds = Fact("planned_rest_seconds")

    @validates_schema
    def _muscle_groups_or_pattern(self, data: dict[str, Any], **_: Any) -> None:
        if data.get("muscle_groups") and data.get("pattern"):
            raise ValidationError(lazy("field.groups_and_pattern"), "pattern")

    @post_load
    def _block(self, data: dict[str, Any], **_: Any) -> Block:
        return Block(**data)


def refuse_longer_than_a_day(plan: Sequence[Block]) -> None:
    """Raises ``ValidationError`` when the minutes of a plan's blocks do not fit into a day."""
    minutes = sum(block.minutes or 0 for block in plan)
    if minutes > greatest("planned_growth_minutes"):
        raise ValidationError(lazy("field.longer_than_a_day", minutes=lazy_number(minutes)))


class CheckInSchema(StrictSchema):
    """What one athlete reports for one local date. What is left out was not reported; an empty
    list says that there is none."""

    athlete_id = AthleteId(required=True)
    date = CalendarDate(required=True, metadata={"description": "Where the athlete lives."})
    reported_at = AwareTime()
    sleep = Object(SleepSchema)
    soreness = ByName(lambda: Vocabulary.bundled().muscle_groups, Fact("soreness"))
    last_trained = ByName(lambda: Vocabulary.bundled().muscle_groups, Object(LastTrainedSchema))
    fatigue = Fact("fatigue")
    stress = Fact("stress")
    resting_hr_bpm = Fact("resting_hr_bpm")
    hrv_rmssd_ms = Fact("hrv_rmssd_ms")
    rr_intervals_ms = ListOf(
        Number(_SHORTEST_RR_MS, _LONGEST_RR_MS),
        at_least=_FEWEST_RR,
        at_most=lambda: _MOST_RR,
        metadata={
            "description": "Times from beat to beat in their order, in ms, in the place of "
            "hrv_rmssd_ms, which is then made from them."
        },
    )
    pain = ListOf(Object(PainSchema), at_most=lambda: MOST_PAINS)
    illness = Word.out_of("illnesses")
    warning_signs = WordList("warning_signs")
    plan = ListOf(
        Object(BlockSchema),
        at_most=lambda: greatest("planned_blocks"),
        required=True,
        error_messages={"required": "field.no_plan"},
        metadata={"description": "The day's blocks; an empty list is a day off."},
    )

    @validates("plan")
    def _fits_into_a_day(self, plan: tuple[Block, ...], **_: Any) -> None:
        refuse_longer_than_a_day(plan)

    @validates("rr_intervals_ms")
    def _give_a_known_rmssd(self, intervals: tuple[float, ...], **_: Any) -> None:
        known = FactDictionary.bundled()["hrv_rmssd_ms"]
        given = rmssd_ms(intervals)
        if not known.accepts(given):
            message = f"must give an rMSSD from {known.least:g} to {known.greatest:g} ms"
            raise ValidationError(f"{message}; it gives {given:.0f}")

    @validates_schema
    def _rmssd_or_intervals(self, data: dict[str, Any], **_: Any) -> None:
        if "hrv_rmssd_ms" in data and "rr_intervals_ms" in data:
            message = "must be left out when hrv_rmssd_ms is given: it is made from these"
            raise ValidationError(message, "rr_intervals_ms")

    @post_load
    def _check_in(self, data: dict[str, Any], **_: Any) -> CheckIn:
        return CheckIn(**data)


CHECK_IN = CheckInSchema()

EXAMPLE: Mapping[str, Any] = {
    "athlete_id": "a-03",
    "date": "2026-03-09",
    "reported_at": "2026-03-09T06:40:00+01:00",
    "sleep": {"hours": 6.5, "quality": 3},
    "soreness": {"quadriceps": 4, "chest": 1},
    "last_trained": {"quadriceps": {"at": "2026-03-07T18:00:00+01:00", "goal": "hypertrophy"}},
    "fatigue": 4,
    "stress": 3,
    "resting_hr_bpm": 52,
    "hrv_rmssd_ms": 71,
    "pain": [{"where": "left knee", "kind": "joint", "muscle_groups": ["quadriceps"]}],
    "illness": "none",
    "warning_signs": [],
    "plan": [
        {
            "goal": "hypertrophy",
            "muscle_groups": ["quadriceps"],
            "modality": "free-weights",
            "starts_at": "2026-03-09T18:00:00+01:00",
        }
    ],
}
"""A check-in as it is sent, with all that it can say."""


def load_check_in(plain: Any) -> CheckIn:
    """Load a check-in from plain JSON values. Raises ``InvalidInput`` with every fault."""
    check_in: CheckIn = load(CHECK_IN, plain)
    return check_in


class PlanSchema(StrictSchema):
    """The day's blocks, as a check-in has them; an empty list is a day off."""

    plan = ListOf(Object(BlockSchema), at_most=lambda: greatest("planned_blocks"), required=True)

    @validates("plan")
    def _fits_into_a_day(self, plan: tuple[Block, ...], **_: Any) -> None:
        refuse_longer_than_a_day(plan)


class PlannedDaySchema(PlanSchema):
    """What is planned for an athlete and a date, and who said so when."""

    class Meta(PlanSchema.Meta):
        """The order in which a person reads it."""

        fields = ("athlete_id", "date", "plan", "posted_at", "posted_by")

    athlete_id = AthleteId(required=True)
    date = CalendarDate(required=True)
    plan = ListOf(
        Object(BlockSchema),
        at_most=lambda: greatest("planned_blocks"),
        required=True,
        attribute="blocks",
    )
    posted_at = Timestamp(required=True, metadata={"format": "date-time"})
    posted_by = fields.String(
        required=True, allow_none=True, metadata={"description": "The id of a key."}
    )
