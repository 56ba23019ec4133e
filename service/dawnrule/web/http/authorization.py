"""Authorization: the access table, and the check that runs before every view."""

from __future__ import annotations

from collections.abc import Mapping
from enum import Enum
from typing import TypeAlias

from flask import Flask, g, redirect, request, url_for
from werkzeug.wrappers import Response

from dawnrule.application.athletes import unknown_athlete
from dawnrule.errors import Forbidden, Unauthorized
from dawnrule.store import Key, Role, hash_key
from dawnrule.web.context import context
from dawnrule.web.http.login import key_of_session
from dawnrule.web.http.rate_limits import limit_key, wrong_guess


class Session(Enum):
    """Access in a browser that is signed in; keys are not accepted there."""

    COACH = "signed-in coach"


Access: TypeAlias = frozenset[Role] | Session | None
"""The roles that may call a route, or who must be signed in; None where no key is needed."""

_PUBLIC: Access = None
_COACH: Access = frozenset({Role.COACH})
_COACH_AND_ATHLETE: Access = frozenset({Role.COACH, Role.ATHLETE})
_COACH_AND_POSTER: Access = frozenset({Role.COACH, Role.POSTER})
_COACH_AND_CLINICIAN: Access = frozenset({Role.COACH, Role.CLINICIAN})
_COACH_CLINICIAN_AND_ATHLETE: Access = frozenset({Role.COACH, Role.CLINICIAN, Role.ATHLETE})
_EVERY_KEY: Access = frozenset(Role) - {Role.CLINICIAN}  # who sees concerns and nothing else

ACCESS: Mapping[str, Access] = {
    "athletes.list_athletes": _COACH,
    "athletes.put_athlete": _COACH,
    "athletes.get_athlete": _COACH_AND_ATHLETE,
    "athletes.erase_athlete": _COACH,
    "groups.list_groups": _COACH,
    "groups.put_group": _COACH,
    "groups.get_group": _COACH,
    "groups.delete_group": _COACH,
    "sheets.post_columns": _COACH,
    "sheets.list_sheets": _COACH,
    "sheets.introduce": _COACH,
    "sheets.delete_sheet": _COACH,
    "coach.sheets": Session.COACH,
    "coach.look_at_sheet": Session.COACH,
    "coach.introduce_sheet": Session.COACH,
    "coach.forget_sheet": Session.COACH,
    "check-ins.post_check_in": _EVERY_KEY,
    "check-ins.patch_check_in": _EVERY_KEY,
    "batches.post_check_ins": _COACH_AND_POSTER,
    "sessions.post_session": _EVERY_KEY,
    "sessions.list_sessions": _COACH_AND_ATHLETE,
    "sessions.get_session": _COACH_AND_ATHLETE,
    "sessions.put_session": _COACH_AND_ATHLETE,
    "sessions.delete_session": _COACH_AND_ATHLETE,
    "batches.post_sessions": _COACH_AND_POSTER,
    "outlooks.get_outlook": _COACH_AND_ATHLETE,
    "recovery.get_recovery": _COACH_AND_ATHLETE,
    "recovery.get_squad_recovery": _COACH,
    "recovery.get_proposed_rules": _COACH,
    "weeks.post_week": _COACH,
    "weeks.post_week_check": _COACH,
    "weeks.get_targets": _COACH_AND_ATHLETE,
    "advice.get_advice": _EVERY_KEY,
    "advice.get_squad_advice": _COACH,
    "advice.get_advice_record": _EVERY_KEY,
    "mornings.get_morning": _COACH,
    "drifts.get_drifts": _COACH,
    "done.get_done": _COACH_AND_ATHLETE,
    "concerns.list_open_concerns": _COACH_AND_CLINICIAN,
    "concerns.list_concerns": _COACH_CLINICIAN_AND_ATHLETE,
    "concerns.post_concern": _COACH_AND_CLINICIAN,
    "concerns.post_clearance": _COACH_AND_CLINICIAN,
    "concerns.delete_clearance": _COACH_AND_CLINICIAN,
    "concerns.post_confirmation": _COACH_AND_CLINICIAN,
    "concerns.post_advance": _COACH_AND_CLINICIAN,
    "plans.put_plan": _COACH_AND_POSTER,
    "plans.get_plan": _COACH_AND_ATHLETE,
    "plans.delete_plan": _COACH_AND_POSTER,
    "addresses.give_private_address": _COACH,
    "addresses.list_private_addresses": _COACH,
    "addresses.revoke_private_address": _COACH,
    "addresses.rotate_private_address": _COACH,
    "feeds.get_today_text": _PUBLIC,  # the token in a private address is its key
    "feeds.get_today": _PUBLIC,
    "feeds.get_outlook_calendar": _PUBLIC,
    "private.show_page": _PUBLIC,
    "private.send": _PUBLIC,
    "evaluations.evaluate": _COACH,
    "rule-sets.list_rule_sets": _COACH,
    "rule-sets.get_rule_set": _COACH,
    "rule-sets.get_findings": _COACH,
    "rule-sets.get_scorecard": _COACH,
    "rule-sets.get_difference": _COACH,
    "publishing.publish_rule_set": _COACH,
    "publishing.get_active": _COACH,
    "publishing.get_deciding": _COACH,
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
    "ledger.get_head": _COACH,
    "ledger.get_proof": _EVERY_KEY,
    "acts.list_acts": _COACH,
    "export.get_export": _COACH_AND_ATHLETE,
    "operations.get_health": _PUBLIC,
    "operations.get_readiness": _PUBLIC,
    "operations.get_metrics": _COACH_AND_POSTER,
    "operations.get_openapi": _PUBLIC,
    "coach.ask_for_key": _PUBLIC,
    "coach.sign_in": _PUBLIC,
    "coach.sign_out": Session.COACH,
    "coach.morning": Session.COACH,
    "coach.morning_sheet": Session.COACH,
    "coach.athletes": Session.COACH,
    "coach.add_athlete": Session.COACH,
    "coach.change_athlete": Session.COACH,
    "coach.save_athlete": Session.COACH,
    "coach.erase_athlete": Session.COACH,
    "coach.list_of_athletes": Session.COACH,
    "coach.add_athletes": Session.COACH,
    "coach.athlete": Session.COACH,
    "coach.check_in_for": Session.COACH,
    "coach.send_check_in_for": Session.COACH,
    "coach.plan": Session.COACH,
    "coach.add_to_plan": Session.COACH,
    "coach.change_plan": Session.COACH,
    "coach.copy_week": Session.COACH,
    "coach.week": Session.COACH,
    "coach.change_week": Session.COACH,
    "coach.log": Session.COACH,
    "coach.log_for_group": Session.COACH,
    "coach.take_from_log": Session.COACH,
    "coach.addresses": Session.COACH,
    "coach.hand_out": Session.COACH,
    "coach.end_address": Session.COACH,
    "coach.groups": Session.COACH,
    "coach.add_group": Session.COACH,
    "coach.group": Session.COACH,
    "coach.save_group": Session.COACH,
    "coach.drop_group": Session.COACH,
    "coach.drifts": Session.COACH,
    "coach.concerns": Session.COACH,
    "coach.start_concern": Session.COACH,
    "coach.clear_one": Session.COACH,
    "coach.withdraw_one": Session.COACH,
    "coach.confirm_one": Session.COACH,
    "coach.advance_one": Session.COACH,
    "coach.why_advice": Session.COACH,
    "coach.why_morning": Session.COACH,
    "coach.rule_sets": Session.COACH,
    "coach.rule_set_form": Session.COACH,
    "coach.publish_rule_set": Session.COACH,
    "coach.deciding": Session.COACH,
    "coach.activate_rule_set": Session.COACH,
    "coach.take_back_activation": Session.COACH,
    "coach.try_in_parallel": Session.COACH,
    "coach.rule_set": Session.COACH,
    "coach.rule_set_scorecard": Session.COACH,
    "coach.try_rule_set": Session.COACH,
    "coach.replays": Session.COACH,
    "coach.start_replay": Session.COACH,
    "coach.replay": Session.COACH,
    "coach.stop_replay": Session.COACH,
    "coach.resume_replay": Session.COACH,
    "coach.no_such_page": Session.COACH,
    "pages.home": _PUBLIC,
    "pages.docs": _PUBLIC,
    "pages.problem": _PUBLIC,
    "static": _PUBLIC,
}


def require_declared_access(app: Flask) -> None:
    """Raise ``RuntimeError`` for a route that is missing in the table."""
    missing = {rule.endpoint for rule in app.url_map.iter_rules()} - ACCESS.keys()
    if missing:
        raise RuntimeError(f"no access is declared for: {', '.join(sorted(missing))}")


def check_access() -> Response | None:
    """Admit a request, or raise ``Unauthorized``, ``Forbidden`` or ``NotFound``; redirect a browser
    that is not signed in.

    OPTIONS reveals methods only, and spreadsheet programs and browsers send it without a key. An
    athlete's key may not even learn which other athletes exist.
    """
    if request.endpoint is None or request.method == "OPTIONS":
        return None
    access = ACCESS[request.endpoint]
    if isinstance(access, Session):
        return _check_session()
    if access is not None and not _is_open_metrics():
        _check_key(access)
    return None


def _is_open_metrics() -> bool:
    return request.endpoint == "operations.get_metrics" and context().settings.metrics_open


def _check_key(roles: frozenset[Role]) -> None:
    g.key = key = _key_of_request()
    limit_key(key.id)
    if key.role not in roles:
        raise Forbidden(f"A key of the role {key.role} may not do this.")
    refuse_foreign((request.view_args or {}).get("athlete_id"))


def _check_session() -> Response | None:
    g.key = key_of_session()
    if g.key is not None:
        return None
    page = request.full_path.rstrip("?") if request.method == "GET" else None
    return redirect(url_for("coach.ask_for_key", next=page))


def caller() -> Key:
    """Return the key of this request or of the sign-in of its browser."""
    key: Key = g.key
    return key


def refuse_foreign(athlete_id: str | None) -> None:
    """Raise ``NotFound``, as for an unknown one, if the caller is another athlete."""
    if athlete_id is not None and not may_see(athlete_id):
        raise unknown_athlete(athlete_id)


def may_see(athlete_id: str) -> bool:
    """Return whether the caller may know of an athlete."""
    return caller().role is not Role.ATHLETE or caller().athlete_id == athlete_id


def _key_of_request() -> Key:
    given = request.authorization
    if given is None or given.type != "bearer" or not given.token:
        raise Unauthorized("Send a key in the header Authorization, as Bearer and the key.")
    hashed = hash_key(given.token)
    key = context().store.ask(lambda transaction: transaction.keys.by_hash(hashed))
    if key is None:
        wrong_guess()
        raise Unauthorized("This key is not known, or it has been revoked.")
    return key
