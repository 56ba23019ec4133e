"""The page of the week: laid out by the rules, moved by hand, and taken as plans."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime, timedelta
from functools import partial
from typing import TYPE_CHECKING, Any

from flask import redirect, render_template, request, url_for

from dawnrule.analytics.squad import squad_mornings
from dawnrule.application.batches import do_all_or_none
from dawnrule.application.plan_weeks import DAYS, Planner, monday_of
from dawnrule.application.weeks import sessions_of
from dawnrule.errors import Conflict, InvalidInput
from dawnrule.i18n.dates import moment_text
from dawnrule.model import Vocabulary
from dawnrule.model.entities import Athlete
from dawnrule.model.time_zones import zone_or_utc
from dawnrule.model.weeks import WEEKDAYS, WeekOrder
from dawnrule.store import Transaction
from dawnrule.web.coach.forms import (
    OK,
    SEE_OTHER,
    UNPROCESSABLE,
    Chosen,
    choices,
    chosen_of,
    date_or_text,
)
from dawnrule.web.coach.layout import coach
from dawnrule.web.coach.rest_of_week import (
    BrokenWeeks,
    broken_weeks,
    days_left,
    order_that_keeps,
    rest_of,
)
from dawnrule.web.coach.week_form import (
    DEFAULTS,
    Standing,
    changed_since,
    in_controls,
    kept,
    order_of,
    rows_of,
    standing_in,
)
from dawnrule.web.context import context
from dawnrule.web.http.authorization import caller
from dawnrule.web.http.locale import say, texts
from dawnrule.web.private.form import Answers

if TYPE_CHECKING:
    from dawnrule.week.report import NoLongerHolds, ToldSession, WeekReport


@dataclass(frozen=True, slots=True)
class Line:
    """A session of the table: what lets it through or refuses it, and where else it may stand, as
    pairs of value and text. A fixed session has no number and stays."""

    number: int | None
    name: str
    starts_at: datetime
    minutes: float
    because: str
    is_refused: bool
    fallback: str
    starts: tuple[tuple[str, str], ...]

    @property
    def value(self) -> str:
        """Its start in the form."""
        return self.starts_at.isoformat()


@dataclass(frozen=True, slots=True)
class AthleteWeek:
    """The week of one athlete as it stands."""

    athlete: Athlete
    lines: tuple[Line, ...]
    moved: tuple[str, ...]
    report: WeekReport


@dataclass(frozen=True, slots=True)
class Page:
    """What the page shows beside the form. ``reports`` come with the order that they answer."""

    answers: Answers
    faults: dict[str, str] = field(default_factory=dict)
    reports: tuple[tuple[WeekOrder, WeekReport], ...] = ()
    stood: tuple[Standing, ...] = ()
    note: str = ""
    broken: BrokenWeeks | None = None


_LOOKS_SECONDS = 10
"""How long the page looks at weeks that have changed; it is opened for that."""


@coach.get("/week")
def week() -> tuple[str, int]:
    """Show the form, empty, and whose rest of the week no longer holds."""
    now = context().clock()
    mornings = context().store.read(lambda transaction: squad_mornings(transaction, now))
    broken = broken_weeks(mornings, _LOOKS_SECONDS)
    return _page(Page(Answers(DEFAULTS), broken=broken))


@coach.post("/week")
def change_week() -> Any:
    """Lay the week out, judge it as it was moved by hand, or take it; nothing else is stored."""
    answers, act = Answers.of_form(request.form), request.form.get("act", "")
    athletes = _chosen(answers.one("who"))[1].athletes
    if not athletes:
        return _page(Page(answers, {"who": say("coach_week.nobody")}))
    if act == "rest":
        return _rest(answers, athletes)
    try:
        order = order_of(answers, athletes)
        if act not in ("check", "take"):
            return _page(Page(answers, reports=_laid_out(order, athletes)))
        standing = standing_in(answers)
        is_for = [one.id for one in athletes] == answers.one("laid_for").split()
        nothing_left = bool(answers.one("rest")) and not standing and is_for
        if not nothing_left and (changed := changed_since(order, athletes, standing)):
            return _page(Page(answers, {changed: say("coach_week.lay_again")}))
        orders = [kept(order, athlete, standing) for athlete in athletes]
        if act == "take":
            return _taken(answers, orders, athletes)
        return _page(Page(answers, reports=_checked(orders)))
    except (InvalidInput, Conflict) as refused:
        faults = in_controls(refused, answers) if isinstance(refused, InvalidInput) else {}
        return _page(Page(answers, faults or {"": say("coach_forms.not_saved")}))


def _laid_out(
    order: WeekOrder, athletes: Sequence[Athlete]
) -> tuple[tuple[WeekOrder, WeekReport], ...]:
    ctx, now, layout = context(), context().clock(), context().weeks
    orders = [replace(order, athlete_id=athlete.id) for athlete in athletes]
    situations = ctx.store.read(
        lambda transaction: [
            found for one in orders for found in layout.situations(transaction, one, now)
        ]
    )
    reports = layout.lay_out(situations, order, texts(), now)
    return tuple((order, report) for report in reports)


def _checked(orders: Sequence[WeekOrder]) -> tuple[tuple[WeekOrder, WeekReport], ...]:
    ctx, now, layout = context(), context().clock(), context().weeks
    situations = ctx.store.read(
        lambda transaction: [layout.situations(transaction, order, now) for order in orders]
    )
    return tuple(
        (order, report)
        for order, known in zip(orders, situations, strict=True)
        for report in layout.check(known, order, texts(), now)
    )


def _rest(answers: Answers, athletes: Sequence[Athlete]) -> tuple[str, int]:
    """Lay out the rest of one athlete's week anew with the fewest moves."""
    if len(athletes) > 1:
        return _page(Page(answers, {"who": say("coach_week.one_athlete")}))
    ctx, now = context(), context().clock()
    [athlete] = athletes
    plans = ctx.store.read(
        lambda transaction: {
            day: plan.blocks
            for day in days_left(athlete, now)
            if (plan := transaction.plans.get(athlete.id, day))
        }
    )
    answers, standing = rest_of(answers, athlete, plans, now)
    if not standing:
        return _page(Page(answers, note=say("coach_week.nothing_planned")))
    try:
        order = order_that_keeps(answers, athlete, standing)
        reports = _laid_out(order, athletes)
    except InvalidInput as refused:
        return _page(Page(answers, in_controls(refused, answers)))
    return _page(Page(answers, reports=reports, stood=tuple(standing)))


def _taken(answers: Answers, orders: Sequence[WeekOrder], athletes: Sequence[Athlete]) -> Any:
    """Make the sessions plans of their dates; each keeps what has no start or has begun."""
    ctx, rest = context(), bool(answers.one("rest"))
    planners = Planner(ctx.check_ins, athletes, caller().id).for_each()

    def take(planner: Planner, order: WeekOrder, transaction: Transaction) -> bool:
        first = order.first
        days = [first + timedelta(days=n) for n in range(order.days)]
        planner.take_week(transaction, days, sessions_of(order), replacing=rest)
        return True

    do_all_or_none(ctx.store, [partial(take, *both) for both in zip(planners, orders, strict=True)])
    monday = monday_of(orders[0].first)
    return redirect(url_for("coach.plan", who=answers.one("who"), week=monday), SEE_OTHER)


def _chosen(who: str) -> tuple[list[Chosen], Chosen]:
    """List the groups and athletes to choose from; the first athlete where none was chosen."""
    everybody = say("coach_forms.everybody")
    offered = context().store.read(lambda transaction: choices(transaction, everybody))
    first = next((one.value for one in offered if one.value.startswith("athlete:")), "")
    return offered, chosen_of(offered, who or first)


def _page(page: Page) -> tuple[str, int]:
    answers = page.answers
    offered, chosen = _chosen(answers.one("who") or request.args.get("who", ""))
    now = context().clock()
    if not isinstance(date_or_text(answers.one("from")), date):
        monday = monday_of(now.date()) + timedelta(days=DAYS)
        if not answers.one("from"):
            answers = answers.replaced({"from": (monday.isoformat(),)})
    weeks = list(_athlete_weeks(page, chosen.athletes, now))
    said = render_template(
        "coach/week.html",
        offered=offered,
        chosen=chosen,
        answers=answers,
        faults=page.faults,
        note=page.note,
        broken=page.broken,
        weeks=weeks,
        words=Vocabulary.bundled(),
        rows=partial(rows_of, answers),
        weekdays=[(day, say(f"dates.weekdays.{n + 1}")) for n, day in enumerate(WEEKDAYS)],
    )
    return said, UNPROCESSABLE if page.faults else OK


def _athlete_weeks(page: Page, athletes: Sequence[Athlete], now: datetime) -> Iterator[AthleteWeek]:
    known, number = {athlete.id: athlete for athlete in athletes}, 0
    for order, report in page.reports:
        athlete = known[report.athlete_id]
        refused = () if page.stood else report.no_longer_holds  # else it has its new place
        told: list[ToldSession | NoLongerHolds] = [*report.sessions, *refused]
        lines = []
        for one in sorted(told, key=lambda session: (session.starts_at, session.name)):
            is_fixed = bool(getattr(one, "fixed", False))
            lines.append(_line(one, None if is_fixed else number, order, athlete, now))
            number += not is_fixed
        moved = tuple(_moved(page.stood, report, athlete, now))
        yield AthleteWeek(athlete, tuple(lines), moved, report)


def _line(
    one: ToldSession | NoLongerHolds,
    number: int | None,
    order: WeekOrder,
    athlete: Athlete,
    now: datetime,
) -> Line:
    refused = not hasattr(one, "fixed")
    told = getattr(one, "fallback", None)
    fallback = "" if told is None else told.text
    starts = () if number is None else tuple(_starts(one, order, athlete, now))
    return Line(
        number, one.name, one.starts_at, one.minutes, one.because, refused, fallback, starts
    )


def _starts(
    one: ToldSession | NoLongerHolds, order: WeekOrder, athlete: Athlete, now: datetime
) -> Iterator[tuple[str, str]]:
    """Yield the starts that a session may be moved to, and where it stands."""
    from dawnrule.week.request import WeekRequest

    asked = WeekRequest(athlete, order.first, order.days, order.windows, order.wishes)
    zone, today = zone_or_utc(athlete.time_zone), athlete.today_or_utc(now)
    wish = next(wish for wish in order.wishes if wish.name == one.name)
    starts = {start.astimezone(zone) for start in asked.starts(wish, now)} | {one.starts_at}
    for start in sorted(starts):
        yield start.isoformat(), moment_text(start, texts(), today)


def _moved(
    stood: Sequence[Standing], report: WeekReport, athlete: Athlete, now: datetime
) -> Iterator[str]:
    """Say which of the sessions that stood would move, and to where."""
    zone, today = zone_or_utc(athlete.time_zone), athlete.today_or_utc(now)
    at = {(one.name, one.starts_at) for one in report.sessions}
    was = {(one.name, one.starts_at.astimezone(zone)) for one in stood}
    free = sorted(at - was, key=lambda one: one[1])
    for name, before in sorted(was - at, key=lambda one: one[1]):
        to = next((one for one in free if one[0] == name), None)
        if to is None:
            continue
        free.remove(to)
        yield say(
            "coach_week.moves",
            name=name,
            before=moment_text(before, texts(), today),
            after=moment_text(to[1], texts(), today),
        )
