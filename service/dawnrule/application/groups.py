"""Groups of athletes: make, rename, fill and remove; who is in one.

Advice does not hang on a group: it is for choosing several athletes at once.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime
from zoneinfo import ZoneInfo

from dawnrule.errors import Conflict, FieldError, InvalidInput, NotFound
from dawnrule.i18n.lazy import lazy, lazy_list
from dawnrule.model.entities import Athlete
from dawnrule.model.time_zones import zone_or_utc
from dawnrule.store import Group, Transaction
from dawnrule.store.activity_log import record_act


def put_group(transaction: Transaction, group: Group, *, by: str, at: datetime) -> bool:
    """Create a group, or give it this name and these members, and log who did; return True if
    created. To be run inside one transaction; without a change nothing is logged.

    Raises ``InvalidInput`` for an unknown athlete, ``Conflict`` for the name of another group.
    The act names what was changed, not who is in the group.
    """
    group = replace(group, athletes=tuple(sorted(set(group.athletes))))
    before = transaction.groups.get(group.id)
    if before == group:
        return False
    _refuse_unknown(transaction, group)
    _refuse_taken(transaction, group)
    transaction.groups.put(group)
    about = {"group": group.id}
    if before is None:
        record_act(transaction, "group-added", by=by, at=at, about=about)
        return True
    names = ("name", "athletes")
    changed = [name for name in names if getattr(before, name) != getattr(group, name)]
    edited = about | {"changed": ", ".join(changed)}
    record_act(transaction, "group-edited", by=by, at=at, about=edited)
    return False


def remove_group(transaction: Transaction, group_id: str, *, by: str, at: datetime) -> None:
    """Delete a group, not its athletes, and log who did. Raises ``NotFound``."""
    require_group(transaction, group_id)
    transaction.groups.delete(group_id)
    record_act(transaction, "group-removed", by=by, at=at, about={"group": group_id})


def require_group(transaction: Transaction, group_id: str) -> Group:
    """Find a group. Raises ``NotFound``."""
    group = transaction.groups.get(group_id)
    if group is None:
        raise NotFound(lazy("field.no_group", group=repr(group_id)))
    return group


def members(transaction: Transaction, group_id: str) -> list[Athlete]:
    """List the athletes of a group in the order of their ids. Raises ``NotFound``."""
    among = set(require_group(transaction, group_id).athletes)
    return [athlete for athlete in transaction.athletes.all() if athlete.id in among]


def common_zone(athletes: Sequence[Athlete]) -> ZoneInfo:
    """Return the time zone in which athletes live. Raises ``InvalidInput`` with who lives in
    another than the first: one time of the clock would be several moments, and which is meant
    nobody can tell."""
    zone = athletes[0].time_zone
    if elsewhere := [one for one in athletes if one.time_zone != zone]:
        named = lazy_list([f"{one.name} ({one.time_zone})" for one in elsewhere])
        detail = lazy("field.zones_differ", zone=zone, athletes=named)
        raise InvalidInput(detail, [FieldError("/fixed", None, detail)])
    return zone_or_utc(zone)


def _refuse_unknown(transaction: Transaction, group: Group) -> None:
    known = {athlete.id for athlete in transaction.athletes.all()}
    faults = [
        FieldError(
            f"/athletes/{index}", athlete_id, lazy("field.no_athlete", athlete=repr(athlete_id))
        )
        for index, athlete_id in enumerate(group.athletes)
        if athlete_id not in known
    ]
    if faults:
        raise InvalidInput(faults[0].detail, faults)


def _refuse_taken(transaction: Transaction, group: Group) -> None:
    """People tell groups apart by their names, and addresses by ids in small letters."""
    for other in transaction.groups.all():
        if other.id != group.id and other.name.casefold() == group.name.casefold():
            detail = lazy("field.group_taken", name=group.name)
            raise Conflict(detail, [FieldError("/name", group.name, detail)])
