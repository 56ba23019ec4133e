"""Schemas of groups of athletes."""

from __future__ import annotations

from typing import Any

from marshmallow import ValidationError, fields, validates

from dawnrule.i18n.lazy import lazy
from dawnrule.schemas.base import ListOf, Object, StrictSchema
from dawnrule.schemas.fields import AthleteId, Text

MOST_MEMBERS = 1000
_NAME_CHARACTERS = 60

GROUP_ID = AthleteId()
"""A group's id is written as an athlete's is."""


class NewGroupSchema(StrictSchema):
    """What a group is called and who is in it."""

    name = Text(
        required=True,
        at_most=_NAME_CHARACTERS,
        metadata={"description": "Of no other group.", "examples": ["Legs first"]},
    )
    athletes = ListOf(
        AthleteId(),
        at_most=lambda: MOST_MEMBERS,
        required=True,
        metadata={"description": "The ids of its members; an athlete may be in several groups."},
    )

    @validates("athletes")
    def _each_once(self, athletes: tuple[str, ...], **_: Any) -> None:
        if len(set(athletes)) < len(athletes):
            raise ValidationError(lazy("field.word_twice"))


class GroupSchema(StrictSchema):
    """Athletes who are seen, planned for and logged together."""

    group_id = fields.String(attribute="id", required=True)
    name = fields.String(required=True)
    athletes = fields.List(
        fields.String(), required=True, metadata={"description": "Their ids, in order."}
    )


class GroupsSchema(StrictSchema):
    """All groups, in the order of their names."""

    groups = fields.List(Object(GroupSchema), required=True)


NEW_GROUP = NewGroupSchema()
