"""What would other rules have said on past mornings? Start a replay, follow it, read what it found.

A page of a replay that goes on asks the browser to load it again; ``follow=no`` in the address
ends that.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from flask import Response, make_response, redirect, render_template, request, url_for

from dawnrule.errors import InvalidInput
from dawnrule.schemas.field_errors import load
from dawnrule.schemas.replay import AskReplaySchema
from dawnrule.web.access import caller
from dawnrule.web.coach.frame import coach
from dawnrule.web.coach.replays_page import GOING_ON, outcome, progress_told
from dawnrule.web.coach.rule_sets_known import names_of_rule_sets
from dawnrule.web.coach.why_page import local_time
from dawnrule.web.language import composer
from dawnrule.web.service import service

REFRESH_SECONDS = 3
"""How often a page of a replay that goes on is loaded again."""

_SEE_OTHER = 303
_UTC = "UTC"
_LAST = "to"
_FIELDS = ("rule_set", "from", _LAST)


@coach.get("/replays")
def replays() -> str:
    """The replays that are kept, the newest first, and the form to start one."""
    return _list(request.args)


@coach.post("/replays")
def start_replay() -> Any:
    """Start a replay, and go to its page; with errors by field."""
    filled = {name: request.form[name] for name in _FIELDS if request.form.get(name)}
    its = service()
    try:
        asked = load(AskReplaySchema(), filled)
        rule_set = its.rule_set_named(asked["rule_set"])
        replay_id = its.replays.start(rule_set, asked["first"], asked["last"], caller().id)
    except InvalidInput as invalid:
        wrong = [error.pointer.removeprefix("/") for error in invalid.errors]
        return _list(request.form, wrong or [_LAST]), invalid.status
    return redirect(url_for("coach.replay", replay_id=replay_id), _SEE_OTHER)


@coach.get("/replays/<replay_id>")
def replay(replay_id: str) -> Response:
    """How far a replay is, and what it has found so far."""
    its, speaks = service(), composer()
    stands = its.replays.status(replay_id)
    athletes = its.store.read(lambda books: books.athletes.all())
    names = {athlete.id: athlete.name for athlete in athletes}
    goes_on = stands.state in GOING_ON
    follows = goes_on and request.args.get("follow") != "no"
    page = render_template(
        "coach/replay.html",
        replay=stands,
        goes_on=goes_on,
        follows=follows,
        seconds=REFRESH_SECONDS,
        progress=progress_told(stands, speaks),
        found=outcome(its.replays.result(replay_id), names),
        names=names,
        asked_at=local_time(stands.asked_at, _UTC),
    )
    response = make_response(page)
    if follows:
        response.headers["Refresh"] = str(REFRESH_SECONDS)
    return response


@coach.post("/replays/<replay_id>/cancel")
def stop_replay(replay_id: str) -> Any:
    """Stop a replay; what it has found stays."""
    service().replays.cancel(replay_id)
    return redirect(url_for("coach.replay", replay_id=replay_id), _SEE_OTHER)


@coach.post("/replays/<replay_id>/resume")
def resume_replay(replay_id: str) -> Any:
    """Go on with a replay that was stopped, failed, or was left behind."""
    service().replays.resume(replay_id)
    return redirect(url_for("coach.replay", replay_id=replay_id), _SEE_OTHER)


def _list(filled: Any, wrong: Sequence[str] = ()) -> str:
    its, speaks = service(), composer()
    return render_template(
        "coach/replays.html",
        replays=[(one, progress_told(one, speaks)) for one in its.replays.newest()],
        rule_sets=its.store.read(names_of_rule_sets),
        filled={name: filled.get(name, "") for name in _FIELDS},
        errors={name: speaks.texts.say(f"coach_rules.wrong_replay.{name}") for name in wrong},
        at=lambda moment: local_time(moment, _UTC),
    )
