"""Groups: list, read, make, fill and remove."""

from __future__ import annotations

from flask import Response

from dawnrule.application.groups import put_group as put
from dawnrule.application.groups import remove_group, require_group
from dawnrule.schemas.errors import load_value
from dawnrule.schemas.group import GROUP_ID, NEW_GROUP, GroupSchema, GroupsSchema
from dawnrule.store import Group
from dawnrule.web.context import context
from dawnrule.web.http.authorization import caller
from dawnrule.web.http.requests import Blueprint

groups = Blueprint(
    "groups",
    __name__,
    url_prefix="/v1",
    description="Athletes who are seen, planned for and logged together.",
)

_GROUP_ID = {
    "name": "group_id",
    "in": "path",
    "schema": GROUP_ID.json_schema() | {"examples": ["legs-first"]},
}


@groups.route("/groups")
@groups.response(200, GroupsSchema)
def list_groups() -> dict[str, list[Group]]:
    """All groups with their members, in the order of their names."""
    return {"groups": context().store.read(lambda transaction: transaction.groups.all())}


@groups.route("/groups/<group_id>", methods=["PUT"], parameters=[_GROUP_ID])
@groups.arguments(NEW_GROUP, as_kwargs=True)
@groups.response(200, GroupSchema, description="Replaced.")
@groups.alt_response(201, schema=GroupSchema, description="Created.")
def put_group(group_id: str, name: str, athletes: tuple[str, ...]) -> tuple[Group, int]:
    """Make a group, or give it this name and these members. Advice does not depend on groups."""
    load_value(GROUP_ID, group_id, "group_id")
    group, by, at = Group(group_id, name, tuple(sorted(athletes))), caller().id, context().clock()
    created = context().store.write(lambda transaction: put(transaction, group, by=by, at=at))
    return group, 201 if created else 200


@groups.route("/groups/<group_id>", parameters=[_GROUP_ID])
@groups.response(200, GroupSchema)
@groups.alt_response(404, "NOT_FOUND")
def get_group(group_id: str) -> Group:
    """One group."""
    return context().store.read(lambda transaction: require_group(transaction, group_id))


@groups.route("/groups/<group_id>", methods=["DELETE"], parameters=[_GROUP_ID])
@groups.response(204)
@groups.alt_response(404, "NOT_FOUND")
def delete_group(group_id: str) -> Response:
    """Remove a group. Its athletes stay."""
    by, at = caller().id, context().clock()
    context().store.write(lambda transaction: remove_group(transaction, group_id, by=by, at=at))
    return Response(status=204)
