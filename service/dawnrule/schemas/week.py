"""Weeks that are laid out, in JSON."""

from __future__ import annotations

import re
from collections.abc import Mapping
from datetime import time
from typing import Any

from marshmallow import ValidationError, fields, validates, validates_schema

from dawnrule.i18n.lazy import lazy
from dawnrule.model.entities import Block
from dawnrule.model.weeks import WEEKDAYS, Fixed, Kept, SharedRoom, Travel, WeekOrder, Window, Wish
from dawnrule.schemas.advice import AlternativeSchema, RuleNameSchema
from dawnrule.schemas.base import Entity, ListOf, Object, StrictField, StrictSchema, Timestamp
from dawnrule.schemas.check_in import BlockSchema
from dawnrule.schemas.fields import (
    AthleteId,
    AwareTime,
    CalendarDate,
    Fact,
    Number,
    Text,
    WholeNumber,
    Word,
    YesOrNo,
)

_NAME_CHARACTERS = 60
_MOST_MINUTES = 24 * 60
_MOST_BLOCKS, _MOST_WISHES, _MOST_WINDOWS, _MOST_FIXED, _MOST_ROOMS = 10, 15, 20, 30, 20
_MOST_DAYS = 7
_CLOCK = re.compile(r"([01][0-9]|2[0-3]):[0-5][0-9]")


class ClockTime(StrictField[time]):
    """A time of day, without a zone."""

    @property
    def accepted(self) -> str:
        """Describe what is accepted, in words."""
        return lazy("field.clock_time")

    def json_schema(self) -> dict[str, Any]:
        """Describe what is accepted, in JSON Schema."""
        return {"type": "string", "pattern": f"^{_CLOCK.pattern}$", "examples": ["18:00"]}

    def _deserialize(
        self, value: Any, attr: str | None, data: Mapping[str, Any] | None, **_: Any
    ) -> time:
        if not isinstance(value, str) or not _CLOCK.fullmatch(value):
            raise self.make_error("invalid")
        return time.fromisoformat(value)


def _weekdays(**options: Any) -> ListOf:
    return ListOf(Word(lambda: WEEKDAYS), at_most=lambda: len(WEEKDAYS), **options)


def _blocks() -> ListOf:
    return ListOf(Entity(BlockSchema), at_least=1, at_most=lambda: _MOST_BLOCKS, required=True)


class WindowSchema(StrictSchema):
    """Times of day, where the athlete lives, at which training is possible."""

    entity = Window

    weekdays = _weekdays(at_least=1, required=True)
    begins = ClockTime(required=True)
    ends = ClockTime(required=True)

    @validates_schema
    def _in_order(self, data: dict[str, Any], **_: Any) -> None:
        if data["ends"] <= data["begins"]:
            raise ValidationError(lazy("field.ends_before_begins"), "ends")


class WishSchema(StrictSchema):
    """A session that is wanted so many times in the week."""

    entity = Wish

    name = Text(required=True, at_most=_NAME_CHARACTERS, metadata={"examples": ["Legs"]})
    times = WholeNumber(1, _MOST_DAYS, required=True)
    minutes = Number(1, _MOST_MINUTES, required=True, metadata={"description": "Unit: min."})
    blocks = _blocks()
    preferred_weekdays = _weekdays()
    room = Text(
        at_most=_NAME_CHARACTERS,
        metadata={"description": "What it needs of what a group shares.", "examples": ["rack"]},
    )

    @validates("blocks")
    def _without_start(self, blocks: tuple[Block, ...], **_: Any) -> None:
        if any(block.starts_at is not None for block in blocks):
            raise ValidationError(lazy("field.wish_without_start"))


class FixedSchema(StrictSchema):
    """A session that takes place whatever the rules say: a match, team practice."""

    entity = Fixed

    name = Text(required=True, at_most=_NAME_CHARACTERS, metadata={"examples": ["Match"]})
    starts_at = AwareTime(required=True)
    minutes = Number(1, _MOST_MINUTES, required=True, metadata={"description": "Unit: min."})
    blocks = _blocks()


class TravelSchema(StrictSchema):
    """A time on the way, in which nothing is placed."""

    entity = Travel

    leaves_at = AwareTime(required=True)
    arrives_at = AwareTime(required=True)
    time_zones_crossed = Fact("time_zones_crossed", load_default=0)

    @validates_schema
    def _in_order(self, data: dict[str, Any], **_: Any) -> None:
        if data["arrives_at"] <= data["leaves_at"]:
            raise ValidationError(lazy("field.ends_before_begins"), "arrives_at")


class KeptSchema(StrictSchema):
    """A session of an earlier layout, which is best left where it is."""

    entity = Kept

    name = Text(required=True, at_most=_NAME_CHARACTERS)
    starts_at = AwareTime(required=True)


class RoomSchema(StrictSchema):
    """What a group shares, and how many sessions fit in at a time."""

    entity = SharedRoom

    name = Text(required=True, at_most=_NAME_CHARACTERS, metadata={"examples": ["rack"]})
    places = WholeNumber(1, 1000, required=True)


class WeekOrderSchema(StrictSchema):
    """A week for an athlete or a group."""

    entity = WeekOrder

    athlete_id = AthleteId(metadata={"description": "Either this or a group."})
    group = AthleteId(metadata={"description": "The id of a group."})
    first = CalendarDate(
        data_key="from", required=True, metadata={"description": "The first local date."}
    )
    days = WholeNumber(1, _MOST_DAYS, load_default=_MOST_DAYS)
    windows = ListOf(Entity(WindowSchema), at_least=1, at_most=lambda: _MOST_WINDOWS, required=True)
    wishes = ListOf(Entity(WishSchema), at_least=1, at_most=lambda: _MOST_WISHES, required=True)
    fixed = ListOf(Entity(FixedSchema), at_most=lambda: _MOST_FIXED)
    travel = ListOf(Entity(TravelSchema), at_most=lambda: _MOST_FIXED)
    keep = ListOf(
        Entity(KeptSchema),
        at_most=lambda: _MOST_WISHES * _MOST_DAYS,
        metadata={"description": "The sessions of an earlier layout. As few as can be are moved."},
    )
    room = ListOf(Entity(RoomSchema), at_most=lambda: _MOST_ROOMS)
    repeats = YesOrNo(
        metadata={
            "description": "Whether the week has to be let through when it comes again right after "
            "itself; yes unless it says otherwise."
        }
    )

    @validates_schema
    def _one_of_two(self, data: dict[str, Any], **_: Any) -> None:
        if ("athlete_id" in data) == ("group" in data):
            raise ValidationError(lazy("field.one_of_two"), "athlete_id")

    @validates("wishes")
    def _named_apart(self, wishes: tuple[Wish, ...], **_: Any) -> None:
        names = [wish.name for wish in wishes]
        for name in names:
            if names.count(name) > 1:
                raise ValidationError(lazy("field.wish_twice", name=repr(name)))


class MarginSchema(StrictSchema):
    """Hours since growth work of the muscle group with the least to spare, and how many of them
    are over what a rule asks for."""

    muscle_group = fields.String(required=True)
    hours = fields.Float(required=True)
    over_hours = fields.Float(required=True)


class LikelySchema(StrictSchema):
    """How likely soreness of a muscle group is low by then."""

    muscle_group = fields.String(required=True)
    in_ten = fields.Integer(required=True, metadata={"minimum": 0, "maximum": 9})


class FallbackSchema(StrictSchema):
    """What to do in place of a session if its morning says no."""

    sessions = fields.List(
        Entity(AlternativeSchema),
        required=True,
        metadata={
            "description": "One for each block that would be refused; none is a day of rest."
        },
    )
    text = fields.String(required=True)


class WeekSessionSchema(StrictSchema):
    """A session of the week."""

    name = fields.String(required=True)
    starts_at = Timestamp(required=True)
    minutes = fields.Float(required=True)
    blocks = fields.List(Entity(BlockSchema), required=True)
    fixed = fields.Boolean(required=True)
    margin = fields.Nested(MarginSchema, required=True, allow_none=True)
    likely = fields.Nested(LikelySchema, required=True, allow_none=True)
    text = fields.String(required=True)
    fallback = fields.Nested(
        FallbackSchema,
        required=True,
        allow_none=True,
        metadata={"description": "By the rules, with its muscles too sore; null if it is fixed."},
    )


class UnplacedSchema(StrictSchema):
    """What could not be placed, why, and what would help."""

    name = fields.String(required=True)
    times = fields.Integer(required=True, metadata={"minimum": 1})
    rule = fields.Nested(
        RuleNameSchema,
        required=True,
        allow_none=True,
        metadata={"description": "The rule that keeps it out; null for a limit of the house."},
    )
    least_change = fields.String(
        required=True,
        allow_none=True,
        metadata={"enum": ["other-times", "other-days", "fewer-of-another", "one-week-only", None]},
    )
    text = fields.String(required=True)


class NoLongerHoldsSchema(StrictSchema):
    """A session that was to be kept and that a rule refuses where it stood."""

    name = fields.String(required=True)
    starts_at = Timestamp(required=True)
    rule = fields.Nested(RuleNameSchema, required=True, allow_none=True)
    text = fields.String(required=True)


class GroupSetsSchema(StrictSchema):
    """Sets of a muscle group in the week."""

    muscle_group = fields.String(required=True)
    sets = fields.Float(required=True)


class WeekSchema(StrictSchema):
    """The week of one athlete."""

    athlete_id = AthleteId(required=True)
    sessions = fields.List(Object(WeekSessionSchema), required=True)
    unplaced = fields.List(Object(UnplacedSchema), required=True)
    no_longer_holds = fields.List(Object(NoLongerHoldsSchema), required=True)
    sets = fields.List(Object(GroupSetsSchema), required=True)
    landing_minutes = fields.Float(required=True)
    complete = fields.Boolean(
        required=True,
        metadata={"description": "No better week is possible; else the best that was found."},
    )


class WeeksSchema(StrictSchema):
    """The weeks that were laid out, by athlete."""

    weeks = fields.List(Object(WeekSchema), required=True)


class UsualWeekSchema(StrictSchema):
    """What the athlete usually does in a week: the mean of the trained weeks of the last four."""

    sets = fields.Float(required=True, metadata={"description": "Hard sets of lifting."})
    landing_minutes = fields.Float(required=True)
    minutes = fields.Float(required=True)


class WeekTargetSchema(StrictSchema):
    """The target of one week before a competition."""

    first = Timestamp(data_key="from", required=True)
    last = Timestamp(
        data_key="to",
        required=True,
        metadata={"description": "The last day, of the weekday of the competition."},
    )
    weeks_to_go = fields.Integer(
        required=True,
        metadata={"minimum": 1, "description": "1 is the week that ends with the competition."},
    )
    phase = fields.String(required=True, metadata={"enum": ["build", "deload", "taper"]})
    percent = fields.Integer(
        required=True, metadata={"minimum": 0, "description": "Of the usual week."}
    )
    sets = fields.Integer(required=True, allow_none=True)
    landing_minutes = fields.Integer(required=True, allow_none=True)
    minutes = fields.Integer(required=True, allow_none=True)
    source = fields.String(required=True)


class TargetsSchema(StrictSchema):
    """The weeks up to the athlete's next main competition."""

    athlete_id = AthleteId(required=True)
    competition = Timestamp(required=True, allow_none=True)
    usual = fields.Nested(UsualWeekSchema, required=True, allow_none=True)
    weeks = fields.List(fields.Nested(WeekTargetSchema), required=True)
    note = fields.String(
        required=True,
        allow_none=True,
        metadata={
            "description": "Why there are no weeks, and how to add a competition, in words; null "
            "where there is one."
        },
    )


WEEK_ORDER = WeekOrderSchema()
WEEKS = WeeksSchema()
TARGETS = TargetsSchema()
