"""Schemas of athletes, in and out."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from typing import Any

from marshmallow import (
    ValidationError,
    fields,
    post_dump,
    post_load,
    validates,
    validates_schema,
)

from dawnrule.errors import FieldError
from dawnrule.i18n.catalog import languages
from dawnrule.i18n.lazy import lazy
from dawnrule.model.entities import Athlete, Competition, PlanPhase
from dawnrule.model.training import ONE_DAY
from dawnrule.schemas.base import Entity, ListOf, Object, StrictSchema
from dawnrule.schemas.errors import invalid_input, load, load_value
from dawnrule.schemas.fields import (
    AthleteId,
    AwareTime,
    CalendarDate,
    Number,
    Text,
    TimeZone,
    Word,
)

_NAME_CHARACTERS = 100
_NO_ID_YET = ""
LEAST_BODY_KG, MOST_BODY_KG = 20, 300
MOST_COMPETITIONS, MOST_PHASES = 200, 100


class CompetitionSchema(StrictSchema):
    """A competition in an athlete's calendar."""

    entity = Competition

    date = CalendarDate(required=True, metadata={"description": "Where the athlete lives."})
    starts_at = AwareTime()
    rank = Word.out_of("competition_ranks", required=True)
    name = Text(at_most=_NAME_CHARACTERS)

    @validates_schema
    def _starts_on_its_date(self, data: dict[str, Any], **_: Any) -> None:
        start, day = data.get("starts_at"), data.get("date")
        if start and day and abs(start.date() - day) > ONE_DAY:
            raise ValidationError(lazy("field.competition_elsewhere", date=day), "starts_at")


class PlanPhaseSchema(StrictSchema):
    """A phase of an athlete's plan; both dates are included."""

    entity = PlanPhase

    first = CalendarDate(data_key="from", required=True)
    last = CalendarDate(data_key="until", required=True)
    phase = Word.out_of("phases", required=True)

    @validates_schema
    def _ends_after_it_begins(self, data: dict[str, Any], **_: Any) -> None:
        if data.get("first") and data.get("last") and data["last"] < data["first"]:
            raise ValidationError(lazy("field.phase_backwards"), "until")


class AthleteTraitsSchema(StrictSchema):
    """What of a person bears on advice."""

    time_zone = TimeZone(
        required=True, metadata={"description": "IANA name; it decides which date today is."}
    )
    date_of_birth = CalendarDate(metadata={"examples": ["2001-05-17"]})
    training_status = Word.out_of("training_statuses")
    body_mass_kg = Number(LEAST_BODY_KG, MOST_BODY_KG, metadata={"description": "Unit: kg."})
    competitions = ListOf(Entity(CompetitionSchema), at_most=lambda: MOST_COMPETITIONS)
    phases = ListOf(Entity(PlanPhaseSchema), at_most=lambda: MOST_PHASES)

    @validates("phases")
    def _do_not_overlap(self, phases: tuple[PlanPhase, ...], **_: Any) -> None:
        in_order = sorted(phases, key=lambda phase: phase.first)
        if any(later.first <= earlier.last for earlier, later in pairwise(in_order)):
            raise ValidationError(lazy("field.other_phase"))

    @post_load
    def _athlete(self, data: dict[str, Any], **_: Any) -> Athlete:
        return Athlete(**({"id": _NO_ID_YET, "name": ""} | data))


class AthleteSchema(AthleteTraitsSchema):
    """A person who trains. The id may be left out where the address says it."""

    class Meta(AthleteTraitsSchema.Meta):
        """The order in which a person reads it."""

        fields = (
            "athlete_id",
            "name",
            "time_zone",
            "date_of_birth",
            "training_status",
            "language",
            "body_mass_kg",
            "competitions",
            "phases",
        )

    @post_dump
    def _leave_out_unknown(self, data: dict[str, Any], **_: Any) -> dict[str, Any]:
        return {name: value for name, value in data.items() if value is not None}

    athlete_id = AthleteId(attribute="id")
    name = Text(required=True, at_most=_NAME_CHARACTERS)
    language = Word(languages, metadata={"description": "The language of the advice."})


class SquadSchema(StrictSchema):
    """Everybody, in the order of their ids."""

    athletes = fields.List(Object(AthleteSchema), required=True)


class ErasedSchema(StrictSchema):
    """What was erased with a person: how many of each."""

    athletes = fields.Integer(attribute="removed.athletes", required=True)
    check_ins = fields.Integer(attribute="removed.check_ins", required=True)
    advice = fields.Integer(attribute="removed.advice", required=True)
    shadow_verdicts = fields.Integer(attribute="removed.shadow_verdicts", required=True)
    replays = fields.Integer(
        attribute="removed.replays",
        required=True,
        metadata={"description": "All there were, as each may tell of anybody."},
    )
    concerns = fields.Integer(attribute="removed.concerns", required=True)
    sessions = fields.Integer(attribute="removed.sessions", required=True)
    keys = fields.Integer(attribute="removed.keys", required=True)
    private_addresses = fields.Integer(attribute="removed.private_addresses", required=True)
    groups = fields.Integer(
        attribute="removed.group_members",
        required=True,
        metadata={"description": "That they were in; the groups stay."},
    )
    plans = fields.Integer(attribute="removed.plans", required=True)
    activations = fields.Integer(
        attribute="removed.activations",
        required=True,
        metadata={"description": "Of rule sets for them alone, and taken back."},
    )
    position = fields.Integer(
        required=True, metadata={"description": "Of the act in the logbook that says so."}
    )
    wiped = fields.Boolean(
        attribute="is_wiped",
        required=True,
        metadata={
            "description": "Whether no byte of it is left in the files. False when others would "
            "not let go of them: then the service tries again each minute."
        },
    )


ATHLETE = AthleteSchema()


def load_athlete(plain: Any) -> Athlete:
    """Load an athlete from plain JSON values. Raises ``InvalidInput`` with every fault."""
    athlete: Athlete = load(ATHLETE, plain)
    return identified(athlete, athlete.id)


def identified(athlete: Athlete, athlete_id: str) -> Athlete:
    """Return the athlete under the id of an address. Raises ``InvalidInput`` for an impossible id,
    and when the body has another."""
    load_value(ATHLETE.fields["athlete_id"], athlete_id, "athlete_id")
    if athlete.id not in (_NO_ID_YET, athlete_id):
        detail = f"must be that of the address, {athlete_id}"
        raise invalid_input([FieldError("/athlete_id", athlete.id, detail)])
    return replace(athlete, id=athlete_id)
