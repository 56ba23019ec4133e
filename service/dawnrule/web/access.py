"""Who may call what? One table, and the check that runs before every view."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TypeAlias

from flask import Flask, g, request

from dawnrule.errors import Forbidden, NotFound, Unauthorized
from dawnrule.store import Key, Role, hash_key
from dawnrule.web.service import service

Access: TypeAlias = frozenset[Role] | None
"""The roles that may call a route; None where no key is needed."""

_PUBLIC: Access = None
_COACH: Access = frozenset({Role.COACH})
_COACH_AND_ATHLETE: Access = frozenset({Role.COACH, Role.ATHLETE})
_COACH_AND_POSTER: Access = frozenset({Role.COACH, Role.POSTER})
_EVERY_KEY: Access = frozenset(Role)

ACCESS: Mapping[str, Access] = {
    "athletes.list_athletes": _COACH,
    "athletes.put_athlete": _COACH,
    "athletes.get_athlete": _COACH_AND_ATHLETE,
    "athletes.erase_athlete": _COACH,
    "check-ins.post_check_in": _EVERY_KEY,
    "batches.post_check_ins": _COACH_AND_POSTER,
    "sessions.post_session": _EVERY_KEY,
    "sessions.list_sessions": _COACH_AND_ATHLETE,
    "sessions.get_session": _COACH_AND_ATHLETE,
    "sessions.put_session": _COACH_AND_ATHLETE,
    "sessions.delete_session": _COACH_AND_ATHLETE,
    "batches.post_sessions": _COACH_AND_POSTER,
    "outlooks.get_outlook": _COACH_AND_ATHLETE,
    "advice.get_advice": _EVERY_KEY,
    "advice.get_squad_advice": _COACH,
    "advice.get_advice_record": _EVERY_KEY,
    "evaluations.evaluate": _COACH,
    "rule-sets.list_rule_sets": _COACH,
    "rule-sets.get_rule_set": _COACH,
    "rule-sets.get_findings": _COACH,
    "rule-sets.get_scorecard": _COACH,
    "rule-sets.get_difference": _COACH,
    "publishing.publish_rule_set": _COACH,
    "publishing.get_active": _COACH,
    "publishing.activate_rule_set": _COACH,
    "publishing.roll_back": _COACH,
    "publishing.get_assignment": _COACH,
    "publishing.assign_rule_set": _COACH,
    "publishing.get_shadow": _COACH,
    "publishing.put_shadow": _COACH,
    "publishing.delete_shadow": _COACH,
    "replays.post_replay": _COACH,
    "replays.list_replays": _COACH,
    "replays.get_replay": _COACH,
    "replays.cancel_replay": _COACH,
    "replays.resume_replay": _COACH,
    "operations.get_health": _PUBLIC,
    "operations.get_readiness": _PUBLIC,
    "operations.get_openapi": _PUBLIC,
    "pages.home": _PUBLIC,
    "pages.docs": _PUBLIC,
    "pages.problem": _PUBLIC,
    "static": _PUBLIC,
}


def refuse_open_routes(app: Flask) -> None:
    """Raises ``RuntimeError`` when a route does not stand in the table."""
    missing = {rule.endpoint for rule in app.url_map.iter_rules()} - ACCESS.keys()
    if missing:
        raise RuntimeError(f"who may call these is not said: {', '.join(sorted(missing))}")


def check_access() -> None:
    """Let a request through, or raise ``Unauthorized``, ``Forbidden`` or ``NotFound``.

    OPTIONS tells nothing but methods, and spreadsheet programs and browsers send it without a
    key. An athlete's key may not even learn which other athletes there are.
    """
    if request.endpoint is None or request.method == "OPTIONS":
        return
    roles = ACCESS[request.endpoint]
    if roles is None:
        return
    g.key = key = _key_of_request()
    if key.role not in roles:
        raise Forbidden(f"A key of the role {key.role} may not do this.")
    refuse_foreign((request.view_args or {}).get("athlete_id"))


def caller() -> Key:
    """The key that a request came with."""
    key: Key = g.key
    return key


def refuse_foreign(athlete_id: str | None) -> None:
    """Raises ``NotFound``, as for one who does not exist, when the caller is another athlete."""
    if athlete_id is not None and not may_see(athlete_id):
        raise NotFound(f"There is no athlete {athlete_id!r}.")


def may_see(athlete_id: str) -> bool:
    """Whether the caller may know of an athlete."""
    return caller().role is not Role.ATHLETE or caller().athlete_id == athlete_id


def _key_of_request() -> Key:
    given = request.authorization
    if given is None or given.type != "bearer" or not given.token:
        raise Unauthorized("Send a key in the header Authorization, as Bearer and the key.")
    hashed = hash_key(given.token)
    key = service().store.read(lambda books: books.keys.by_hash(hashed))
    if key is None:
        raise Unauthorized("This key is not known, or it has been revoked.")
    return key
