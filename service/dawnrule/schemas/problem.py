"""How is an error told? As problem details (RFC 9457)."""

from __future__ import annotations

from marshmallow import fields

from dawnrule.schemas.strict import Object, StrictSchema


class FieldErrorSchema(StrictSchema):
    """One wrong field."""

    pointer = fields.String(
        required=True,
        metadata={"description": "Where it stands in what was sent: a JSON Pointer (RFC 6901)."},
    )
    value = fields.Raw(required=True, metadata={"description": "What came, when it is short."})
    detail = fields.String(required=True, metadata={"description": "What would be accepted."})


class ProblemSchema(StrictSchema):
    """What went wrong, why, and what to do."""

    type = fields.String(
        required=True, metadata={"description": "Address of a page about this kind of problem."}
    )
    title = fields.String(required=True)
    status = fields.Integer(required=True)
    detail = fields.String(required=True)
    instance = fields.String(required=True, metadata={"description": "The address asked for."})
    errors = fields.List(Object(FieldErrorSchema), required=True)
    request_id = fields.String(
        required=True, metadata={"description": "To be named when asking for help."}
    )
