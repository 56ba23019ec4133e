"""Own recovery in JSON."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from marshmallow import fields

from dawnrule.schemas.base import StrictSchema, Timestamp
from dawnrule.schemas.fields import AthleteId, AwareTime, Word
from dawnrule.schemas.query import Language

KINDS = ("growth", "force")
USUAL_KIND = KINDS[0]
BASES = ("own", "squad", "published")

_HOURS = {"minimum": 0}


@dataclass(frozen=True, slots=True)
class RecoveryQuery:
    """For which kind of goal, and at which time (aware) besides the usual ones."""

    kind: str
    at: datetime | None = None
    lang: str | None = None

    @property
    def times(self) -> Sequence[datetime]:
        """The times whose chances are asked for."""
        return () if self.at is None else (self.at,)


class RecoveryQuerySchema(StrictSchema):
    """For which kind of goal, and at which time."""

    entity = RecoveryQuery

    kind = Word(
        lambda: KINDS,
        data_key="for",
        load_default=USUAL_KIND,
        metadata={"description": "Growth work, or strength, power and speed."},
    )
    at = AwareTime(
        metadata={"description": "The time whose chance is asked for, instead of those to come."}
    )
    lang = Language()


class ChanceSchema(StrictSchema):
    """How likely soreness is low at a time."""

    at = Timestamp(required=True)
    in_ten = fields.Integer(
        required=True,
        metadata={
            "minimum": 0,
            "maximum": 9,
            "description": "In at least so many of ten cases. A forecast is never certain.",
        },
    )


class OwnForecastSchema(StrictSchema):
    """When a muscle group is ready again by the athlete's own course."""

    muscle_group = fields.String(required=True)
    usual_hours = fields.Integer(required=True, metadata=_HOURS)
    half_from_hours = fields.Integer(required=True, metadata=_HOURS)
    half_to_hours = fields.Integer(required=True, metadata=_HOURS)
    likely_at = Timestamp(required=True, allow_none=True)
    chance = fields.Nested(
        ChanceSchema,
        required=True,
        allow_none=True,
        metadata={"description": "The first of the coming mornings and evenings at its best."},
    )
    text = fields.String(required=True)


class UnderWaySchema(StrictSchema):
    """Work after which the muscle group is not known to be ready again."""

    began_at = Timestamp(required=True)
    sore_hours = fields.Float(
        required=True,
        metadata=_HOURS | {"description": "Hours after which it was still sore; 0 if never."},
    )
    likely_at = Timestamp(
        required=True,
        allow_none=True,
        metadata={"description": "From when on it is 8 in 10; null while too little was seen."},
    )
    chances = fields.List(fields.Nested(ChanceSchema), required=True)


class _UsualSoreness(fields.Float):
    """The own usual that counted as low."""

    def __init__(self) -> None:
        super().__init__(
            required=True,
            allow_none=True,
            metadata={
                "minimum": 0,
                "maximum": 10,
                "description": "The highest own usual (0 to 10) that counted as low; null where "
                "soreness was under the limit each time that its end was seen.",
            },
        )


class GroupRecoverySchema(StrictSchema):
    """The recovery of one muscle group after the athlete's usual work."""

    muscle_group = Word.out_of("muscle_groups", required=True)
    times_seen = fields.Integer(
        required=True, metadata=_HOURS | {"description": "How often the end was seen."}
    )
    basis = fields.String(
        required=True,
        metadata={
            "enum": list(BASES),
            "description": "Whose episodes it rests on: the athlete's own, the squad's, or those "
            "of published studies.",
        },
    )
    usual_hours = fields.Integer(required=True, metadata=_HOURS)
    half_from_hours = fields.Integer(
        required=True, metadata=_HOURS | {"description": "Half of the time it takes this long…"}
    )
    half_to_hours = fields.Integer(
        required=True, metadata=_HOURS | {"description": "…to this long."}
    )
    usual_soreness = _UsualSoreness()
    under_way = fields.Nested(UnderWaySchema, required=True, allow_none=True)
    text = fields.String(required=True, metadata={"description": "The same in words."})


class AgainstSquadSchema(StrictSchema):
    """The athlete's hours divided by the squad's after the same work; 1 is as long as others."""

    factor = fields.Float(required=True)
    low = fields.Float(required=True, metadata={"description": "8 times in 10 from this…"})
    high = fields.Float(required=True, metadata={"description": "…to this."})


class RecoverySchema(StrictSchema):
    """How long soreness lasts for one athlete, and when it is likely low."""

    athlete_id = AthleteId(required=True)
    as_of = Timestamp(required=True)
    kind = fields.String(required=True, data_key="for", metadata={"enum": list(KINDS)})
    low_under = fields.Float(
        required=True, metadata={"description": "Soreness counts as low under this, of 10."}
    )
    muscle_groups = fields.List(fields.Nested(GroupRecoverySchema), required=True)
    against_squad = fields.Nested(AgainstSquadSchema, required=True, allow_none=True)
    note = fields.String(required=True)


class SquadMemberSchema(StrictSchema):
    """An athlete beside the squad."""

    athlete_id = AthleteId(required=True)
    times_seen = fields.Integer(required=True, metadata=_HOURS)
    against_squad = fields.Nested(AgainstSquadSchema, required=True, allow_none=True)
    is_slower = fields.Boolean(
        required=True,
        metadata={"description": "It takes longer than for the squad, 9 times in 10."},
    )


class SquadRecoverySchema(StrictSchema):
    """Everybody beside the squad, the slowest first."""

    athletes = fields.List(fields.Nested(SquadMemberSchema), required=True)


class OwnHoursSchema(StrictSchema):
    """The hours that a muscle group is proposed to wait, and the evidence for them."""

    muscle_group = fields.String(required=True)
    hours = fields.Integer(required=True, metadata=_HOURS)
    times_seen = fields.Integer(required=True, metadata=_HOURS)
    half_from_hours = fields.Integer(required=True, metadata=_HOURS)
    half_to_hours = fields.Integer(required=True, metadata=_HOURS)
    usual_soreness = _UsualSoreness()


class ProposedRulesSchema(StrictSchema):
    """A rule set of one athlete's own, as a proposal."""

    athlete_id = AthleteId(required=True)
    rule_file = fields.String(
        required=True,
        allow_none=True,
        metadata={
            "description": "To be checked and published by a coach, or not at all; null "
            "where nothing is proposed."
        },
    )
    evidence = fields.List(fields.Nested(OwnHoursSchema), required=True)


class SquadRecoveryQuerySchema(StrictSchema):
    """For which kind of goal."""

    kind = Word(lambda: KINDS, data_key="for", load_default=USUAL_KIND)


RECOVERY = RecoverySchema()
