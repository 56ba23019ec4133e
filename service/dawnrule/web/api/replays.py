"""Replays: past mornings under another rule set."""

from __future__ import annotations

from datetime import date

from flask import Response

from dawnrule.model.serialization import to_json
from dawnrule.schemas.replay import (
    REPLAY,
    AskReplaySchema,
    ReplayedSchema,
    ReplaySchema,
    ReplaysSchema,
)
from dawnrule.store import StoredReplay
from dawnrule.web.context import context
from dawnrule.web.http.authorization import caller
from dawnrule.web.http.requests import Blueprint
from dawnrule.web.http.responses import json_answer

replays = Blueprint(
    "replays", __name__, url_prefix="/v1", description="Past mornings under other rules."
)

_LOCATION = {"Location": {"description": "The replay.", "schema": {"type": "string"}}}


@replays.route("/replays", methods=["POST"])
@replays.arguments(AskReplaySchema(), as_kwargs=True)
@replays.response(202, ReplaySchema, description="It waits to be run.", headers=_LOCATION)
@replays.alt_response(404, "NOT_FOUND")
def post_replay(
    rule_set: str, first: date | None, last: date | None
) -> tuple[StoredReplay, dict[str, str]]:
    """Decide past mornings again under another rule set, on the facts of then.

    It runs by itself; ask for it until it is done. No advice is changed.
    """
    ctx = context()
    replay_id = ctx.replays.start(ctx.rule_set_named(rule_set), first, last, caller().id)
    headers = {"Location": f"/v1/replays/{replay_id}"}
    return ctx.replays.status(replay_id), headers


@replays.route("/replays")
@replays.response(200, ReplaysSchema)
def list_replays() -> dict[str, list[StoredReplay]]:
    """The replays that are kept, the newest first."""
    return {"replays": context().replays.newest()}


@replays.route("/replays/<replay_id>")
@replays.response(200, ReplayedSchema)
@replays.alt_response(404, "NOT_FOUND")
def get_replay(replay_id: str) -> Response:
    """Where a replay stands, and what it has found so far."""
    ctx = context().replays
    state = REPLAY.dump(ctx.status(replay_id))
    return json_answer(state | to_json(ctx.result(replay_id)))


@replays.route("/replays/<replay_id>", methods=["DELETE"])
@replays.response(200, ReplaySchema)
@replays.alt_response(404, "NOT_FOUND")
def cancel_replay(replay_id: str) -> StoredReplay:
    """Stop a replay; what it has found stays."""
    return context().replays.cancel(replay_id)


@replays.route("/replays/<replay_id>/resume", methods=["POST"])
@replays.response(202, ReplaySchema)
@replays.alt_response(404, "NOT_FOUND")
def resume_replay(replay_id: str) -> StoredReplay:
    """Go on with a replay that was stopped, failed, or left behind; one that is done is not done
    again (409)."""
    return context().replays.resume(replay_id)
