"""Schemas of concerns, their events and clearances."""

from __future__ import annotations

from typing import Any

from marshmallow import ValidationError, fields, post_load, validates_schema

from dawnrule.i18n.lazy import lazy
from dawnrule.model.concern_transitions import ClearanceTerms, Opening
from dawnrule.model.concerns import (
    NO_RESTRICTIONS,
    ConcernKind,
    ConcernRules,
    EventKind,
    PainSite,
    Restriction,
    Restrictions,
)
from dawnrule.schemas.base import Entity, ListOf, Object, StrictSchema, Timestamp
from dawnrule.schemas.fields import (
    AthleteId,
    CalendarDate,
    Number,
    Text,
    Word,
    WordList,
    YesOrNo,
)

_NAME_CHARACTERS = 100
_WHERE_CHARACTERS = 100
_MOST_EFFORT = 10  # the end of the CR10 scale
_MOST_MINUTES = 24 * 60
_MOST_SEVERITY = 10


class RestrictionsSchema(StrictSchema):
    """What the athlete may not do; what is left out is not limited."""

    entity = Restrictions

    rests_everything = YesOrNo(metadata={"description": "No training at all."})
    muscle_groups_rest = WordList("muscle_groups")
    goals_not = WordList("goals")
    modalities_not = WordList("modalities")
    effort_at_most = Number(0, _MOST_EFFORT, metadata={"description": "Session RPE (CR10)."})
    minutes_at_most = Number(0, _MOST_MINUTES, metadata={"description": "Of one block."})
    no_contact = YesOrNo()
    no_maximal = YesOrNo(metadata={"description": "No maximal lifts."})


class RestrictionSchema(StrictSchema):
    """A restriction that a coach or clinician orders."""

    entity = Restriction

    reason = Word.out_of("restriction_reasons", required=True)
    restrictions = Entity(RestrictionsSchema, required=True)
    until = CalendarDate(metadata={"description": "The last date on which it counts."})


class PainSiteSchema(StrictSchema):
    """Pain of one kind at one place."""

    entity = PainSite

    kind = Word.out_of("pain_kinds", required=True)
    where = Text(at_most=_WHERE_CHARACTERS, metadata={"examples": ["left knee"]})
    muscle_groups = WordList("muscle_groups")
    place = Word.out_of("pain_places")
    side = Word.out_of("sides")
    severity = Number(0, _MOST_SEVERITY, metadata={"description": "0 none to 10 the worst."})


class NewConcernSchema(StrictSchema):
    """What a coach or clinician opens: pain, an illness or a restriction says what it is about;
    a warning sign may name the signs."""

    kind = Word.out_of("concern_kinds", required=True)
    signs = WordList("concern_signs")
    illness = Word(
        lambda: ConcernRules.bundled().illnesses,
        metadata={"description": "One that opens a concern."},
    )
    pain = Entity(PainSiteSchema)
    restriction = Entity(RestrictionSchema)
    name = Text(
        at_most=_NAME_CHARACTERS, metadata={"description": "Who says so, to be shown with it."}
    )

    @validates_schema
    def _says_what_it_is_about(self, data: dict[str, Any], **_: Any) -> None:
        for member in ("pain", "illness", "restriction"):
            if (data.get("kind") == member) is not (member in data) and "kind" in data:
                raise ValidationError(lazy("field.concern_member", member=member), member)

    @validates_schema
    def _limits_something(self, data: dict[str, Any], **_: Any) -> None:
        restriction = data.get("restriction")
        if restriction is not None and restriction.restrictions == NO_RESTRICTIONS:
            fault = lazy("field.no_restriction")
            raise ValidationError({"restriction": {"restrictions": [fault]}})

    @post_load
    def _opening(self, data: dict[str, Any], **_: Any) -> tuple[Opening, str | None]:
        name = data.pop("name", None)
        return Opening(**(data | {"kind": ConcernKind(data["kind"])})), name


class NewClearanceSchema(StrictSchema):
    """What a clearance says; the key says who gives it."""

    restrictions = Entity(RestrictionsSchema)
    severity_at_most = Number(
        0,
        _MOST_SEVERITY,
        metadata={"description": "Up to which severity pain may be trained with."},
    )
    until = CalendarDate(
        metadata={"description": "The last date on which it counts; then the concern is open."}
    )
    name = Text(
        at_most=_NAME_CHARACTERS, metadata={"description": "Who gives it, to be shown with it."}
    )

    @post_load
    def _terms(self, data: dict[str, Any], **_: Any) -> tuple[ClearanceTerms, str | None]:
        name = data.pop("name", None)
        return ClearanceTerms(**data), name


class AdvanceSchema(StrictSchema):
    """In which direction a staged return goes."""

    back = YesOrNo(metadata={"description": "One stage back; before the first, open again."})
    name = Text(at_most=_NAME_CHARACTERS)


class ConfirmationSchema(StrictSchema):
    """Who confirms a correction."""

    name = Text(at_most=_NAME_CHARACTERS)


class ClearanceSchema(StrictSchema):
    """A clearance as it is recorded."""

    id = fields.String(required=True)
    given_by = Word(lambda: ("coach", "clinician"), required=True)
    given_on = CalendarDate(required=True)
    name = fields.String()
    restrictions = Entity(RestrictionsSchema)
    severity_at_most = fields.Float()
    until = CalendarDate()


class ConcernEventSchema(StrictSchema):
    """One event; what does not belong to its kind is left out."""

    kind = Word(lambda: [kind.value for kind in EventKind], required=True)
    on = CalendarDate(required=True, metadata={"description": "Where the athlete lives."})
    at = Timestamp(required=True, metadata={"format": "date-time"})
    by = Word(lambda: ("athlete", "coach", "clinician", "service"), required=True)
    name = fields.String()
    check_in_id = fields.String()
    signs = ListOf(Word.out_of("concern_signs"))
    suspected = fields.Boolean()
    illness = Word.out_of("illnesses")
    fever = fields.Boolean()
    medicine = fields.Boolean()
    pain = Entity(PainSiteSchema)
    restriction = Entity(RestrictionSchema)
    clearance = Entity(ClearanceSchema)
    clearance_id = fields.String()
    staged_return = fields.String()
    stage = fields.Integer()


class ConcernSchema(StrictSchema):
    """A concern: what is open about an athlete until somebody lifts it, with its history."""

    concern_id = fields.String(attribute="id", required=True)
    athlete_id = AthleteId(required=True)
    kind = Word.out_of("concern_kinds", required=True)
    state = Word.out_of("concern_states", required=True)
    lifted_by = Word(
        lambda: ("clearance", "answered-none", "coach-or-clinician"),
        required=True,
        metadata={
            "description": "What can end it: a clearance alone, an answered none on a later date, "
            "or a coach or clinician."
        },
    )
    began_on = CalendarDate(required=True)
    last_reported_on = CalendarDate(required=True)
    signs = ListOf(Word.out_of("concern_signs"), required=True)
    suspected = fields.Boolean(
        required=True,
        metadata={"description": "Pain that may be a warning sign; nobody has answered it yet."},
    )
    illness = Word.out_of("illnesses", required=True, allow_none=True)
    pain = Entity(PainSiteSchema, required=True, allow_none=True)
    restriction = Entity(RestrictionSchema, required=True, allow_none=True)
    clearance = Entity(
        ClearanceSchema,
        required=True,
        allow_none=True,
        metadata={"description": "The one in force."},
    )
    staged_return = fields.String(
        required=True, allow_none=True, metadata={"description": "The return, as name@version."}
    )
    stage = fields.Integer(required=True, allow_none=True)
    unconfirmed_correction_on = CalendarDate(
        attribute="correction_on",
        required=True,
        allow_none=True,
        metadata={
            "description": "A report of this date was withdrawn on the same date. It counts until "
            "a coach or clinician confirms that it was a typing error."
        },
    )
    closed_on = CalendarDate(required=True, allow_none=True)
    was_typing_error = fields.Boolean(attribute="is_void", required=True)
    events = fields.List(Entity(ConcernEventSchema), required=True)


class ConcernsSchema(StrictSchema):
    """Some concerns."""

    concerns = fields.List(Object(ConcernSchema), required=True)


NEW_CONCERN = NewConcernSchema()
NEW_CLEARANCE = NewClearanceSchema()

NEW_CONCERN_EXAMPLE = {
    "kind": "restriction",
    "restriction": {
        "reason": "injury",
        "restrictions": {"muscle_groups_rest": ["hamstrings"], "no_maximal": True},
        "until": "2026-03-30",
    },
    "name": "Dr. Adler",
}
NEW_CLEARANCE_EXAMPLE = {
    "restrictions": {"no_contact": True, "effort_at_most": 5},
    "until": "2026-04-30",
    "name": "Dr. Adler",
}
