"""Replays on the coach's pages: start, follow, read.

The page of an unfinished replay asks the browser to reload it; ``follow=no`` in the address ends
that.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import astuple, dataclass
from typing import Any

from flask import Response, make_response, redirect, render_template, request, url_for

from dawnrule.advice.composer import Composer
from dawnrule.analytics.replay import (
    AthleteRow,
    Replayed,
    RuleRow,
    VerdictRow,
    athlete_rows,
    rule_rows,
    verdict_rows,
)
from dawnrule.errors import InvalidInput
from dawnrule.rules.columnar import ChangedMorning
from dawnrule.schemas.errors import load
from dawnrule.schemas.replay import AskReplaySchema
from dawnrule.store import ReplayState, StoredReplay
from dawnrule.web.coach.inputs import local_time
from dawnrule.web.coach.layout import coach
from dawnrule.web.context import context
from dawnrule.web.http.authorization import caller
from dawnrule.web.http.locale import composer

CHANGES_SHOWN = 100
"""How many mornings a page lists; its counts are of all."""

GOING_ON = (ReplayState.WAITING, ReplayState.RUNNING)
"""The states of a replay that will change by itself."""


@dataclass(frozen=True, slots=True)
class Outcome:
    """Findings of a replay so far; ``athletes`` stand behind their names, ``changed`` are the
    newest mornings with a different result, and ``changed_in_all`` is their number."""

    mornings: int
    decisions: int
    verdicts: tuple[VerdictRow, ...]
    rules: tuple[RuleRow, ...]
    athletes: tuple[tuple[str, AthleteRow], ...]
    changed: tuple[ChangedMorning, ...]
    changed_in_all: int


def outcome(result: Replayed, names: Mapping[str, str]) -> Outcome:
    """Tabulate a result; ``names`` are those of the athletes by id."""
    newest = sorted(result.changed, key=lambda one: (one.date, one.athlete_id), reverse=True)
    return Outcome(
        result.mornings,
        result.decisions,
        verdict_rows(result),
        tuple(row for row in rule_rows(result) if any(astuple(row)[1:])),
        tuple((names.get(row.athlete_id, row.athlete_id), row) for row in athlete_rows(result)),
        tuple(newest[:CHANGES_SHOWN]),
        len(newest),
    )


def progress_text(replay: StoredReplay, composer: Composer) -> str:
    """Say how far a replay is."""
    say = composer.texts.say
    state = say(f"coach_rules.state_{replay.state.value}")
    if replay.mornings is None:
        return state
    done = say("coach_rules.done_of", done=replay.mornings_done, of=replay.mornings)
    return f"{state} {done}"


REFRESH_SECONDS = 3
"""How often a page of a replay that goes on is loaded again."""

_SEE_OTHER = 303
_UTC = "UTC"
_LAST = "to"
_FIELDS = ("rule_set", "from", _LAST)


@coach.get("/replays")
def replays() -> str:
    """Show the replays that are kept, newest first, and the form to start one."""
    return _list(request.args)


@coach.post("/replays")
def start_replay() -> Any:
    """Start a replay and go to its page, or show the errors by field."""
    filled = {name: request.form[name] for name in _FIELDS if request.form.get(name)}
    ctx = context()
    try:
        asked = load(AskReplaySchema(), filled)
        rule_set = ctx.rule_set_named(asked["rule_set"])
        replay_id = ctx.replays.start(rule_set, asked["first"], asked["last"], caller().id)
    except InvalidInput as invalid:
        wrong = [error.pointer.removeprefix("/") for error in invalid.errors]
        return _list(request.form, wrong or [_LAST]), invalid.status
    return redirect(url_for("coach.replay", replay_id=replay_id), _SEE_OTHER)


@coach.get("/replays/<replay_id>")
def replay(replay_id: str) -> Response:
    """Show how far a replay is, and its findings so far."""
    ctx, localized = context(), composer()
    stands = ctx.replays.status(replay_id)
    athletes = ctx.store.read(lambda transaction: transaction.athletes.all())
    names = {athlete.id: athlete.name for athlete in athletes}
    goes_on = stands.state in GOING_ON
    follows = goes_on and request.args.get("follow") != "no"
    page = render_template(
        "coach/replay.html",
        replay=stands,
        goes_on=goes_on,
        follows=follows,
        seconds=REFRESH_SECONDS,
        progress=progress_text(stands, localized),
        found=outcome(ctx.replays.result(replay_id), names),
        names=names,
        asked_at=local_time(stands.asked_at, _UTC),
    )
    response = make_response(page)
    if follows:
        response.headers["Refresh"] = str(REFRESH_SECONDS)
    return response


@coach.post("/replays/<replay_id>/cancel")
def stop_replay(replay_id: str) -> Any:
    """Stop a replay; its findings stay."""
    context().replays.cancel(replay_id)
    return redirect(url_for("coach.replay", replay_id=replay_id), _SEE_OTHER)


@coach.post("/replays/<replay_id>/resume")
def resume_replay(replay_id: str) -> Any:
    """Resume a replay that was stopped, failed, or lost its process."""
    context().replays.resume(replay_id)
    return redirect(url_for("coach.replay", replay_id=replay_id), _SEE_OTHER)


def _list(filled: Any, wrong: Sequence[str] = ()) -> str:
    ctx, localized = context(), composer()
    return render_template(
        "coach/replays.html",
        replays=[(one, progress_text(one, localized)) for one in ctx.replays.newest()],
        rule_sets=ctx.rule_set_names(),
        filled={name: filled.get(name, "") for name in _FIELDS},
        errors={name: localized.texts.say(f"coach_rules.wrong_replay.{name}") for name in wrong},
        at=lambda moment: local_time(moment, _UTC),
    )
