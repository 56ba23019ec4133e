"""Schemas of rule sets, their publication and their activation."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from marshmallow import fields

from dawnrule.model import Verdict
from dawnrule.schemas.advice import RuleSetNameSchema
from dawnrule.schemas.base import ListOf, Object, StrictField, StrictSchema
from dawnrule.schemas.errors import ProblemSchema
from dawnrule.schemas.fields import AthleteId, CalendarDate, Text, YesOrNo

MOST_ATHLETES_AT_ONCE = 1_000

_NAME_CHARACTERS = 100
_FACTS = {"type": "object", "description": "Fact by name; one that is absent was not reported."}
_AS_NAME = {"description": "As name@version.", "examples": ["baseline@2.0.0"]}


class RuleText(StrictField[str]):
    """The text of a rule file, of any number of lines."""

    @property
    def accepted(self) -> str:
        """Describe what is accepted, in words."""
        return "the text of a rule file, in YAML"

    def json_schema(self) -> dict[str, Any]:
        """Describe what is accepted, in JSON Schema."""
        return {"type": "string"}

    def _deserialize(
        self, value: Any, attr: str | None, data: Mapping[str, Any] | None, **_: Any
    ) -> str:
        if not isinstance(value, str):
            raise self.make_error("invalid")
        return value


def rule_set_name(**options: Any) -> Text:
    """Build the field of a rule set's name and version."""
    return Text(at_most=_NAME_CHARACTERS, metadata=_AS_NAME, **options)


class RuleSetTextSchema(StrictSchema):
    """A rule file inside JSON."""

    text = RuleText(required=True)


class FindingSchema(StrictSchema):
    """What was found in a rule file: where, what mends it, and facts that show it, worse ones
    last."""

    code = fields.String(required=True)
    severity = fields.String(required=True, metadata={"enum": ["error", "warning"]})
    file = fields.String(required=True)
    line = fields.Integer(required=True)
    rule = fields.String(required=True, allow_none=True)
    message = fields.String(required=True)
    mend = fields.String(required=True)
    inputs = fields.List(fields.Raw(metadata=_FACTS), required=True)


class FindingsSchema(StrictSchema):
    """What was found in a rule set when it was published: warnings, as one with errors is not."""

    findings = fields.List(Object(FindingSchema), required=True)


class PublishedSchema(RuleSetNameSchema):
    """A rule set that is published."""

    findings = fields.List(Object(FindingSchema), required=True)


class RuleSetProblemSchema(ProblemSchema):
    """Why a rule set was refused."""

    findings = fields.List(Object(FindingSchema))


class AgainSchema(StrictSchema):
    """Whether today's advice is decided again."""

    again = YesOrNo(
        load_default=False,
        metadata={
            "description": "Decide again, at once, today's advice that is by other rules than "
            "decide now. Otherwise it stays until the check-in is sent again."
        },
    )


class WhomSchema(AgainSchema):
    """For whom something holds."""

    athlete_ids = ListOf(
        AthleteId(),
        at_least=1,
        at_most=lambda: MOST_ATHLETES_AT_ONCE,
        allow_none=True,
        load_default=None,
        metadata={"description": "Null or left out: for all who have none of their own."},
    )


class ActivateSchema(WhomSchema):
    """Which rule set is to hold, from when, and for whom."""

    rule_set = rule_set_name(required=True)
    from_date = CalendarDate(
        data_key="from",
        load_default=None,
        metadata={"description": "The first date that it decides; left out: every date, at once."},
    )


class AssignSchema(AgainSchema):
    """Which rule set an athlete is to have, and from when."""

    rule_set = rule_set_name(required=True, allow_none=True)
    from_date = CalendarDate(data_key="from", load_default=None)


class CandidateSchema(StrictSchema):
    """Which rule set is to run in the shadow."""

    rule_set = rule_set_name(required=True)


class RuleSetToldSchema(StrictSchema):
    """A rule set by its name@version, null if it is not known here any more, and fingerprint."""

    full_name = fields.String(required=True, allow_none=True)
    digest = fields.String(required=True)


class ActivationSchema(StrictSchema):
    """That a rule set holds from a date on (null: every date) for an athlete or for all (null). A
    rule set of null lets the athlete go with all again."""

    activation = fields.Integer(attribute="number", required=True)
    rule_set = Object(RuleSetToldSchema, required=True, allow_none=True)
    from_date = fields.Date(data_key="from", required=True, allow_none=True)
    athlete_id = fields.String(required=True, allow_none=True)
    at = fields.AwareDateTime(required=True)
    by = fields.String(required=True, allow_none=True, metadata={"description": "The id of a key."})
    taken_back_at = fields.AwareDateTime(required=True, allow_none=True)
    taken_back_by = fields.String(required=True, allow_none=True)


class InForceSchema(StrictSchema):
    """The rule set that decides today for an athlete, or for all who have none of their own (null),
    and the activations that were ever made, the newest first."""

    athlete_id = fields.String(required=True, allow_none=True)
    rule_set = Object(RuleSetNameSchema, required=True)
    activations = fields.List(Object(ActivationSchema), required=True)


class HoldingSchema(StrictSchema):
    """A rule set that decides from a date on."""

    from_date = CalendarDate(
        data_key="from",
        required=True,
        allow_none=True,
        metadata={"description": "Null for what decides already."},
    )
    rule_set = rule_set_name(required=True)


class DecidingForSchema(StrictSchema):
    """What decides for an athlete, or for all who have none of their own (null)."""

    athlete_id = fields.String(required=True, allow_none=True)
    holds = fields.List(
        Object(HoldingSchema),
        required=True,
        metadata={"description": "Now, and then from each date on which that changes."},
    )
    after_take_back = fields.List(
        Object(HoldingSchema),
        required=True,
        metadata={
            "description": "What would hold once the newest activation is taken back; empty where "
            "there is none."
        },
    )


class DecidingSchema(StrictSchema):
    """What decides for all, and then for each athlete who ever got a rule set of their own."""

    deciding = fields.List(Object(DecidingForSchema), required=True)


class NowInForceSchema(InForceSchema):
    """What decides after a change, and of how many athletes, among those whom it was for, the
    advice for today is by other rules and stays, or was decided again."""

    advice_stays = fields.Integer(attribute="counts.stays", required=True)
    advice_decided_again = fields.Integer(attribute="counts.decided_again", required=True)


class ShadowCountSchema(StrictSchema):
    """On how many mornings one verdict was given and the candidate said another, or the same."""

    verdict = fields.Enum(Verdict, by_value=True, required=True)
    shadow_verdict = fields.Enum(Verdict, by_value=True, required=True, allow_none=True)
    count = fields.Integer(required=True)


class ShadowDifferenceSchema(StrictSchema):
    """A morning on which the candidate would have said otherwise; null where it failed, or where
    no rule decided."""

    advice_id = fields.String(required=True)
    athlete_id = fields.String(required=True)
    date = fields.Date(required=True)
    verdict = fields.Enum(Verdict, by_value=True, required=True)
    rule_id = fields.String(required=True, allow_none=True)
    shadow_verdict = fields.Enum(Verdict, by_value=True, required=True, allow_none=True)
    shadow_rule_id = fields.String(required=True, allow_none=True)


class ShadowSchema(StrictSchema):
    """The candidate in the shadow beside the advice that holds. ``differences`` are the newest."""

    rule_set = Object(RuleSetNameSchema, required=True)
    since = fields.AwareDateTime(attribute="candidate.since", required=True)
    by = fields.String(attribute="candidate.by", required=True, allow_none=True)
    mornings = fields.Integer(required=True)
    counts = fields.List(Object(ShadowCountSchema), required=True)
    differences = fields.List(Object(ShadowDifferenceSchema), required=True)


class TwoRuleSetsSchema(StrictSchema):
    """Which rule set to compare with which."""

    before = rule_set_name(data_key="from", required=True)
    after = rule_set_name(data_key="to", required=True)


class FieldChangeSchema(StrictSchema):
    """One field of a rule, before and after."""

    field = fields.String(required=True)
    before = fields.Raw(required=True)
    after = fields.Raw(required=True)


class RuleChangeSchema(StrictSchema):
    """What is different about a rule that both have."""

    rule = fields.String(required=True)
    # ``fields`` is marshmallow's own name in a schema's class body.
    changed = fields.List(
        Object(FieldChangeSchema), attribute="fields", data_key="fields", required=True
    )


class VerdictChangeSchema(StrictSchema):
    """One way in which verdicts can change, with the smallest example; facts of null say that it is
    proved that there is none."""

    scope = fields.String(required=True, metadata={"enum": ["day", "part"]})
    before = fields.Enum(Verdict, by_value=True, required=True)
    after = fields.Enum(Verdict, by_value=True, required=True)
    facts = fields.Raw(required=True, allow_none=True, metadata={"type": "object"})
    rule_before = fields.String(required=True, allow_none=True)
    rule_after = fields.String(required=True, allow_none=True)


class DifferenceSchema(StrictSchema):
    """How one rule set differs from another, rule by rule and in what they decide."""

    flattened = ("difference",)

    before = fields.String(required=True)
    after = fields.String(required=True)
    added = fields.List(fields.String(), required=True)
    removed = fields.List(fields.String(), required=True)
    changed = fields.List(Object(RuleChangeSchema), required=True)
    moved = fields.List(fields.String(), required=True)
    verdicts = fields.List(Object(VerdictChangeSchema), required=True)


_CONDITION = {
    "type": "object",
    "description": "A condition in the words of the rule files.",
    "additionalProperties": True,
}


class BasisSchema(StrictSchema):
    """Where a rule comes from."""

    kind = fields.String(
        required=True, metadata={"enum": ["published", "common-practice", "house"]}
    )
    source = fields.String(required=True)
    note = fields.String(required=True, allow_none=True)


class ExampleSchema(StrictSchema):
    """A worked example: with these facts and no others, the rule applies (fires) or it does not."""

    facts = fields.Raw(required=True, metadata={"type": "object"})
    fires = fields.Boolean(required=True)


class _VerdictOrNote(fields.String):
    def _serialize(self, value: Any, attr: str | None, obj: Any, **_: Any) -> str:
        return str(value or "note")


class RuleHeadSchema(StrictSchema):
    """What a rule is, besides its condition."""

    id = fields.String(required=True)
    title = fields.String(required=True)
    scope = fields.String(required=True, metadata={"enum": ["day", "part"]})
    verdict = _VerdictOrNote(
        required=True,
        metadata={"enum": ["train-as-planned", "swap-to-low-damage", "rest", "note"]},
    )
    caution = fields.String(required=True)
    basis = Object(BasisSchema, required=True)
    wrong_when = fields.String(
        required=True, metadata={"description": "The honest case in which the rule misleads."}
    )


class RuleSchema(RuleHeadSchema):
    """A rule in full; ``reason`` is a template."""

    reason = fields.String(required=True)
    when = fields.Raw(required=True, metadata=_CONDITION)
    examples = fields.List(Object(ExampleSchema), required=True)
    limits = fields.Raw(
        metadata={
            "type": "object",
            "additionalProperties": True,
            "description": "How much of the plan may be done where the rule applies; left out "
            "where it limits nothing.",
        }
    )
    told_when = fields.String(
        metadata={
            "enum": ["trains"],
            "description": "`trains`: a note that is given only where something is trained.",
        }
    )
    tell_again = fields.String(
        metadata={
            "enum": ["always", "when-changed"],
            "description": "Whether a note of the last seven days is given in full again.",
        }
    )


class RuleSetSummarySchema(RuleSetNameSchema):
    """A rule set in short."""

    summary = fields.String(required=True)
    active = fields.Boolean(
        required=True,
        metadata={"description": "Whether it decides today for all who have none of their own."},
    )
    published_at = fields.AwareDateTime(
        required=True, allow_none=True, metadata={"description": "Null for one that ships."}
    )
    published_by = fields.String(
        required=True, allow_none=True, metadata={"description": "The id of a key."}
    )


class RosterEntrySchema(RuleSetSummarySchema):
    """A rule set in short, with its activations, newest first."""

    activations = fields.List(Object(ActivationSchema), required=True)


class RuleSetsSchema(StrictSchema):
    """Every rule set there is."""

    rule_sets = fields.List(Object(RuleSetSummarySchema), required=True)


class ChangedSchema(StrictSchema):
    """A test of one rule that an extension gave another value."""

    rule = fields.String(required=True)
    before = fields.Raw(required=True, metadata=_CONDITION)
    after = fields.Raw(required=True, metadata=_CONDITION)
    because = fields.String(required=True)


class SwitchedOffSchema(StrictSchema):
    """A rule that an extension leaves out."""

    rule = fields.String(required=True)
    because = fields.String(required=True)


class RuleSetSchema(RuleSetSummarySchema):
    """A rule set in full. ``signals`` are conditions that rules call by name; ``came_from`` are the
    rule sets that it extends, the nearest first, and ``changed`` and ``off`` what it made of the
    nearest, besides adding rules; ``activations`` are its own, the newest first."""

    came_from = fields.List(Object(RuleSetNameSchema), required=True)
    changed = fields.List(Object(ChangedSchema), required=True)
    off = fields.List(Object(SwitchedOffSchema), required=True)
    signals = fields.Dict(fields.String(), fields.Raw(metadata=_CONDITION), required=True)
    rules = fields.List(Object(RuleSchema), required=True)
    activations = fields.List(Object(ActivationSchema), required=True)
