"""Schemas of check-ins and plans."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, ClassVar

from marshmallow import ValidationError, fields, post_dump, validates, validates_schema

from dawnrule.facts.recovery import rmssd_ms
from dawnrule.i18n.lazy import lazy, lazy_number
from dawnrule.model import FactDictionary, Vocabulary
from dawnrule.model.entities import (
    BarSpeed,
    Block,
    CheckIn,
    Heat,
    Journey,
    LastTrained,
    Pain,
    Sleep,
    Takes,
)
from dawnrule.model.serialization import to_json
from dawnrule.schemas.base import ByName, ListOf, Object, StrictSchema, Timestamp
from dawnrule.schemas.errors import load
from dawnrule.schemas.fields import (
    AthleteId,
    AwareTime,
    CalendarDate,
    Fact,
    Number,
    NumberOrTrials,
    Text,
    WholeNumber,
    Word,
    WordList,
    YesOrNo,
    greatest,
)

MOST_PAINS = 20
MOST_SEVERITY = 10
MOST_NAPS_HOURS = 16
MOST_REPS_IN_RESERVE = 20
MOST_SPRINT_METRES = 100_000
MOST_KILOMETRES = 500
MOST_LOAD_KG = 1000
LEAST_JUMP_CM, MOST_JUMP_CM, MOST_JUMPS = 1, 150, 10
LEAST_GRIP_KG, MOST_GRIP_KG = 1, 150
LEAST_BAR_SPEED, MOST_BAR_SPEED, MOST_BAR_SPEEDS = 0.05, 5, 20  # m/s; how many a morning
LEAST_AIR_C, MOST_AIR_C = -50, 60
MOST_CAFFEINE_MG, MOST_BICARBONATE_G, MOST_CREATINE_G = 2000, 100, 50

_WHERE_CHARACTERS = 100
_SHORTEST_RR_MS, _LONGEST_RR_MS = 200, 3000  # 300 and 20 beats a minute
_FEWEST_RR, _MOST_RR = 2, 5000  # one difference; an hour of a resting heart


class SleepSchema(StrictSchema):
    """Last night."""

    entity = Sleep

    hours = Fact("sleep_hours")
    quality = Fact("sleep_quality")
    naps_hours = Number(
        0,
        MOST_NAPS_HOURS,
        metadata={"description": "Naps over the last 24 h, beside last night. Unit: h."},
    )


class LastTrainedSchema(StrictSchema):
    """When a muscle group was last trained, and what for."""

    entity = LastTrained

    at = AwareTime(required=True)
    goal = Word.out_of("goals", required=True)


class PainSchema(StrictSchema):
    """Pain somewhere; without muscle groups it counts for every part of the plan."""

    entity = Pain

    where = Text(required=True, at_most=_WHERE_CHARACTERS, metadata={"examples": ["left knee"]})
    kind = Word.out_of("pain_kinds", required=True)
    muscle_groups = WordList("muscle_groups")
    place = Word.out_of(
        "pain_places",
        metadata={
            "description": "It says which muscle groups the pain counts for if none is named."
        },
    )
    side = Word.out_of("sides")
    onset = Word.out_of("onsets")
    severity = Number(0, MOST_SEVERITY, metadata={"description": "0 none to 10 the worst."})
    after = Word.out_of("pain_after", metadata={"description": "What it came after."})
    warm = YesOrNo()
    swollen = YesOrNo()
    numbness = YesOrNo(metadata={"description": "Numbness or tingling with it."})


class BlockSchema(StrictSchema):
    """One piece of training. It names muscle groups or a movement pattern, or neither when the
    modality says enough."""

    entity = Block

    goal = Word.out_of("goals", required=True)
    muscle_groups = WordList("muscle_groups")
    pattern = Word.out_of("patterns")
    modality = Word.out_of("modalities")
    starts_at = AwareTime()
    minutes = Fact("planned_minutes")
    sets = Fact("planned_sets")
    reps = Fact("planned_reps")
    rest_seconds = Fact("planned_rest_seconds")
    effort = Fact("planned_effort")
    reps_in_reserve = WholeNumber(
        0, MOST_REPS_IN_RESERVE, metadata={"description": "Left in reserve at the end of a set."}
    )
    to_failure = YesOrNo(metadata={"description": "Sets to failure."})
    new_exercise = YesOrNo(metadata={"description": "An exercise that is new to the athlete."})
    action = Word.out_of("actions", metadata={"description": "What the muscle does."})
    contacts = Fact("planned_contacts", metadata={"description": "Landings of jumps."})
    sprint_metres = Number(
        0, MOST_SPRINT_METRES, metadata={"description": "Metres of sprints. Unit: m."}
    )
    kilometres = Number(0, MOST_KILOMETRES, metadata={"description": "Unit: km."})
    contact = YesOrNo(metadata={"description": "Contact with others, or a risk of a knock."})
    indoors = YesOrNo(metadata={"description": "Indoors or in the cool."})
    competition = YesOrNo(metadata={"description": "The competition itself."})

    @validates_schema
    def _muscle_groups_or_pattern(self, data: dict[str, Any], **_: Any) -> None:
        if data.get("muscle_groups") and data.get("pattern"):
            raise ValidationError(lazy("field.groups_and_pattern"), "pattern")


def refuse_longer_than_a_day(plan: Sequence[Block]) -> None:
    """Raises ``ValidationError`` when the minutes of a plan's blocks do not fit into a day."""
    minutes = sum(block.minutes or 0 for block in plan)
    if minutes > greatest("planned_growth_minutes"):
        raise ValidationError(lazy("field.longer_than_a_day", minutes=lazy_number(minutes)))


class BarSpeedSchema(StrictSchema):
    """Mean bar speed of a set at a load, for a movement pattern or for muscle groups."""

    entity = BarSpeed

    pattern = Word.out_of("patterns")
    muscle_groups = WordList("muscle_groups")
    load_kg = Number(0, MOST_LOAD_KG, required=True, metadata={"description": "Unit: kg."})
    metres_per_second = Number(
        LEAST_BAR_SPEED, MOST_BAR_SPEED, required=True, metadata={"description": "Unit: m/s."}
    )

    @validates_schema
    def _of_one_movement(self, data: dict[str, Any], **_: Any) -> None:
        if bool(data.get("muscle_groups")) is bool(data.get("pattern")):
            raise ValidationError(lazy("field.one_movement"), "pattern")


class JourneySchema(StrictSchema):
    """A journey across time zones."""

    entity = Journey

    time_zones_crossed = Fact("time_zones_crossed", required=True)
    arrived_on = CalendarDate(required=True, metadata={"description": "Where the athlete lives."})


class HeatSchema(StrictSchema):
    """Heat expected at the session: WBGT, or air temperature and humidity."""

    entity = Heat

    wbgt_c = Fact("wbgt_c")
    temperature_c = Number(
        LEAST_AIR_C, MOST_AIR_C, metadata={"description": "Of the air. Unit: °C."}
    )
    humidity_percent = Number(0, 100, metadata={"description": "Relative humidity. Unit: %."})
    acclimatised = Fact("heat_acclimatised")

    @validates_schema
    def _wbgt_or_both(self, data: dict[str, Any], **_: Any) -> None:
        if "wbgt_c" in data and "temperature_c" in data:
            raise ValidationError(lazy("field.wbgt_or_air"), "temperature_c")
        if ("temperature_c" in data) is not ("humidity_percent" in data):
            missing = "humidity_percent" if "temperature_c" in data else "temperature_c"
            raise ValidationError(lazy("field.air_and_humidity"), missing)


class TakesSchema(StrictSchema):
    """What is taken before the session. It gives cautions and no verdict."""

    entity = Takes

    caffeine_mg = Number(0, MOST_CAFFEINE_MG, metadata={"description": "Unit: mg."})
    bicarbonate_g = Number(0, MOST_BICARBONATE_G, metadata={"description": "Unit: g."})
    creatine_g = Number(0, MOST_CREATINE_G, metadata={"description": "Unit: g."})
    other = Text(at_most=_WHERE_CHARACTERS)


class CheckInSchema(StrictSchema):
    """What one athlete reports for one local date. What is left out was not reported; an empty
    list says that there is none."""

    entity = CheckIn

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
    temperature_c = Fact("temperature_c")
    fever_medicine = Fact("fever_medicine")
    jump_height_cm = NumberOrTrials(
        LEAST_JUMP_CM,
        MOST_JUMP_CM,
        MOST_JUMPS,
        metadata={"description": "Height of a jump, or of several trials: their mean. Unit: cm."},
    )
    grip_kg = Number(
        LEAST_GRIP_KG,
        MOST_GRIP_KG,
        metadata={"description": "Grip strength. It is shown and decides nothing. Unit: kg."},
    )
    bar_speed = ListOf(Object(BarSpeedSchema), at_most=lambda: MOST_BAR_SPEEDS)
    journey = Object(JourneySchema)
    heat = Object(HeatSchema)
    takes = Object(TakesSchema)
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

        fields: ClassVar[tuple[str, ...]] = ("athlete_id", "date", "plan", "posted_at", "posted_by")

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

    @post_dump(pass_original=True)
    def _in_stored_form(self, data: dict[str, Any], planned: Any, **_: Any) -> dict[str, Any]:
        """Write the blocks as a check-in has them, without what they do not say."""
        return {**data, "plan": [to_json(block) for block in planned.blocks]}
