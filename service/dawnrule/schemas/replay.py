"""Schemas of replays and scorecards."""

from __future__ import annotations

from typing import Any

from marshmallow import fields

from dawnrule.model import Verdict
from dawnrule.schemas.advice import RuleSetNameSchema
from dawnrule.schemas.base import Object, StrictSchema
from dawnrule.schemas.fields import CalendarDate
from dawnrule.schemas.rule_set import RuleSetToldSchema, rule_set_name


class DatesSchema(StrictSchema):
    """From one date to another, both included; an end that is left out has no limit."""

    first = CalendarDate(data_key="from", load_default=None)
    last = CalendarDate(data_key="to", load_default=None)


class AskReplaySchema(DatesSchema):
    """By which rule set past mornings are to be decided again, and which."""

    rule_set = rule_set_name(required=True)


class _NamedRuleSet(Object):
    def _serialize(self, *args: Any, **_: Any) -> dict[str, str]:
        replay = args[-1]
        return {"full_name": replay.rule_set, "digest": replay.rule_set_digest}


class _MorningsInAll(fields.Integer):
    def get_value(self, obj: Any, attr: str, *_: Any, **__: Any) -> Any:
        return obj.mornings  # a result has mornings of its own, so this is no attribute


class ReplaySchema(StrictSchema):
    """Where a replay stands. ``mornings_in_all`` is null until they have been counted."""

    replay_id = fields.String(attribute="id", required=True)
    rule_set = _NamedRuleSet(RuleSetToldSchema, required=True)
    first = fields.Date(data_key="from", required=True, allow_none=True)
    last = fields.Date(data_key="to", required=True, allow_none=True)
    state = fields.String(
        required=True, metadata={"enum": ["waiting", "running", "stopped", "failed", "done"]}
    )
    problem = fields.String(required=True, allow_none=True)
    mornings_in_all = _MorningsInAll(required=True, allow_none=True)
    mornings_done = fields.Integer(required=True)
    done_through = fields.Date(required=True, allow_none=True)
    asked_at = fields.AwareDateTime(required=True)
    changed_at = fields.AwareDateTime(required=True)
    asked_by = fields.String(
        required=True, allow_none=True, metadata={"description": "The id of a key."}
    )


REPLAY = ReplaySchema()


class ReplaysSchema(StrictSchema):
    """The replays that are kept, the newest first."""

    replays = fields.List(Object(ReplaySchema), required=True)


class VerdictCountSchema(StrictSchema):
    """How often one verdict was given and another would be."""

    before = fields.Enum(Verdict, by_value=True, required=True)
    after = fields.Enum(Verdict, by_value=True, required=True)
    count = fields.Integer(required=True)


class RuleCountSchema(StrictSchema):
    """How often a rule is meant; null stands for no rule."""

    rule = fields.String(required=True, allow_none=True)
    count = fields.Integer(required=True)


class AthleteCountSchema(StrictSchema):
    """On how many days an athlete would be less, as much or more protected."""

    athlete_id = fields.String(required=True)
    protected = fields.String(required=True, metadata={"enum": ["less", "same", "more"]})
    count = fields.Integer(required=True)


class ChangedMorningSchema(StrictSchema):
    """A morning that comes out otherwise, for the day or for any of its parts."""

    athlete_id = fields.String(required=True)
    date = fields.Date(required=True)
    before = fields.Enum(Verdict, by_value=True, required=True)
    after = fields.Enum(Verdict, by_value=True, required=True)
    rule_before = fields.String(required=True, allow_none=True)
    rule_after = fields.String(required=True, allow_none=True)
    parts_changed = fields.Integer(required=True)


class ReplayedSchema(ReplaySchema):
    """Where a replay stands, and what it has found so far."""

    mornings = fields.Integer(required=True)
    decisions = fields.Integer(required=True)
    days = fields.List(Object(VerdictCountSchema), required=True)
    parts = fields.List(Object(VerdictCountSchema), required=True)
    fired = fields.List(Object(RuleCountSchema), required=True)
    decided_before = fields.List(Object(RuleCountSchema), required=True)
    decided_now = fields.List(Object(RuleCountSchema), required=True)
    athletes = fields.List(Object(AthleteCountSchema), required=True)
    changed = fields.List(Object(ChangedMorningSchema), required=True)


class ShareSchema(StrictSchema):
    """How many mornings of how many, and what may be said of it: the share and the ends of its
    interval, or why nothing may."""

    count = fields.Integer(required=True)
    of = fields.Integer(required=True)
    share = fields.Float(required=True, allow_none=True)
    low = fields.Float(required=True, allow_none=True)
    high = fields.Float(required=True, allow_none=True)
    why_none = fields.String(required=True, allow_none=True)


class ScoreSchema(StrictSchema):
    """What is known to have followed some mornings: by outcome, and by what it was."""

    mornings = fields.Integer(required=True)
    outcomes = fields.Dict(
        fields.String(), fields.Dict(fields.String(), Object(ShareSchema)), required=True
    )


class RuleScoreSchema(StrictSchema):
    """How often a rule applied and decided, and what followed where it did."""

    rule = fields.String(required=True)
    title = fields.String(required=True)
    fired = Object(ShareSchema, required=True)
    decided = Object(ShareSchema, required=True)
    after = Object(ScoreSchema, required=True)


class ScorecardSchema(StrictSchema):
    """How a rule set did on the mornings it decided; shares with 95 % intervals (Wilson)."""

    rule_set = Object(RuleSetNameSchema, required=True)
    first = fields.Date(data_key="from", required=True, allow_none=True)
    last = fields.Date(data_key="to", required=True, allow_none=True)
    confidence = fields.Float(required=True)
    all_mornings = Object(ScoreSchema, required=True)
    rules = fields.List(Object(RuleScoreSchema), required=True)


SCORECARD = ScorecardSchema()
