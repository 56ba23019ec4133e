"""Weeks that are laid out."""

from __future__ import annotations

from typing import TYPE_CHECKING

from dawnrule.application.targets import Targets, read_targets
from dawnrule.model.weeks import WeekOrder
from dawnrule.schemas.week import WEEK_ORDER, TargetsSchema, WeeksSchema
from dawnrule.web.context import context
from dawnrule.web.http.locale import LANG, language_header, texts
from dawnrule.web.http.requests import ATHLETE_ID, Blueprint

if TYPE_CHECKING:
    from dawnrule.week.report import WeekReport

weeks = Blueprint(
    "weeks", __name__, url_prefix="/v1", description="Weeks that the rules let through."
)

EXAMPLE = {
    "athlete_id": "a-03",
    "from": "2026-03-09",
    "windows": [
        {"weekdays": ["monday", "wednesday", "friday"], "begins": "17:00", "ends": "19:00"}
    ],
    "wishes": [
        {
            "name": "Legs",
            "times": 2,
            "minutes": 60,
            "blocks": [{"goal": "hypertrophy", "muscle_groups": ["quadriceps"], "sets": 5}],
        }
    ],
}

KEPT = [{"name": "Legs", "starts_at": "2026-03-09T17:00:00+01:00"}]


@weeks.route("/weeks", methods=["POST"], parameters=[LANG])
@weeks.arguments(WEEK_ORDER, example=EXAMPLE)
@weeks.response(200, WeeksSchema)
@weeks.alt_response(404, "NOT_FOUND")
def post_week(order: WeekOrder) -> tuple[dict[str, list[WeekReport]], dict[str, str]]:
    """Lay out a week for an athlete, or for a group that shares a room.

    A solver proposes, and the rules that decide each morning decide every session on the history
    and all that is placed before it: only sessions that come out train-as-planned are shown. What
    has no place is named with the rule and the least change that would place it. Nothing is
    stored: a coach who takes the week sets it as plans. The same request gives the same week.
    """
    ctx, said, now = context(), texts(), context().clock()
    situations = ctx.store.read(lambda transaction: ctx.weeks.situations(transaction, order, now))
    return {"weeks": ctx.weeks.lay_out(situations, order, said, now)}, language_header()


@weeks.route("/weeks/check", methods=["POST"], parameters=[LANG])
@weeks.arguments(WEEK_ORDER, example=EXAMPLE | {"keep": KEPT})
@weeks.response(200, WeeksSchema)
@weeks.alt_response(404, "NOT_FOUND")
def post_week_check(order: WeekOrder) -> tuple[dict[str, list[WeekReport]], dict[str, str]]:
    """Judge a week that is moved by hand: the sessions in ``keep``, where they stand.

    Each session is decided as for a layout, on the history and all that is before it. ``sessions``
    has those that are let through, and ``no_longer_holds`` the others, with the rule or limit of
    the house. Nothing is moved, added or stored. Windows, room, free days and the sets of the week
    are not looked at.
    """
    ctx, said, now = context(), texts(), context().clock()
    situations = ctx.store.read(lambda transaction: ctx.weeks.situations(transaction, order, now))
    return {"weeks": ctx.weeks.check(situations, order, said, now)}, language_header()


@weeks.route("/athletes/<athlete_id>/targets", parameters=[ATHLETE_ID, LANG])
@weeks.response(200, TargetsSchema)
@weeks.alt_response(404, "NOT_FOUND")
def get_targets(athlete_id: str) -> tuple[Targets, dict[str, str]]:
    """Targets of the weeks up to the next main competition: build, deload and taper.

    Each is a share of the usual week, with its source. They are no rule: each morning the rules
    decide.
    """
    now, said = context().clock(), texts()
    found = context().store.read(
        lambda transaction: read_targets(transaction, athlete_id, said, now)
    )
    return found, language_header()
