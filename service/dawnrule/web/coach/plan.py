"""The page of plans: a week of a group, one athlete or everybody, day by day."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from functools import partial
from typing import Any

from flask import redirect, render_template, request, url_for

from dawnrule.application.batches import do_all_or_none
from dawnrule.application.plan_weeks import DailySession, Planner, monday_of, week_from
from dawnrule.application.plans import plan_changed_at
from dawnrule.errors import Conflict, DawnruleError, InvalidInput
from dawnrule.model import Vocabulary
from dawnrule.model.advice import Advice
from dawnrule.model.entities import Athlete, Block
from dawnrule.model.serialization import from_json, to_json
from dawnrule.model.time_zones import zone_or_utc
from dawnrule.schemas.check_in import PlanSchema
from dawnrule.schemas.errors import load
from dawnrule.store import StoredAdvice, Transaction
from dawnrule.web.coach.forms import (
    OK,
    SEE_OTHER,
    UNPROCESSABLE,
    Chosen,
    choices,
    chosen_of,
    date_or_text,
    faults_of,
    filled,
    number_or_text,
)
from dawnrule.web.coach.layout import coach
from dawnrule.web.context import context
from dawnrule.web.http.authorization import caller
from dawnrule.web.http.locale import label, read_localized, say, texts
from dawnrule.web.private.form import Answers

_PLAN = PlanSchema()
_WORDS = ("goal", "pattern", "modality")
_NUMBERS = ("minutes", "sets", "effort")
_FIRST_BLOCK = "plan/0/"

Done = Callable[[Transaction, Planner], object]


@dataclass(frozen=True, slots=True)
class PlannedSession:
    """A session of a day, what names it in a form, and who has it; ``names`` is empty where
    everybody chosen has it."""

    session: DailySession
    key: str
    names: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class PlannedDay:
    """A day: its sessions, whose day off it is, and for whom nothing is planned. ``is_off`` and
    ``is_empty`` say that it is so for everybody."""

    date: date
    sessions: tuple[PlannedSession, ...]
    off: tuple[str, ...]
    without: tuple[str, ...]
    is_off: bool
    is_empty: bool
    is_today: bool


@dataclass(frozen=True, slots=True)
class Became:
    """What today's advice became since a coach changed the plan."""

    athlete: Athlete
    advice: Advice
    changed_at: datetime


@dataclass(frozen=True, slots=True)
class Week:
    """A week of plans for those who are chosen."""

    offered: Sequence[Chosen]
    chosen: Chosen
    days: Sequence[PlannedDay]
    became: Sequence[tuple[Athlete, StoredAdvice, datetime]]
    last_week_is_planned: bool

    @property
    def monday(self) -> date:
        """The first day."""
        return self.days[0].date

    @property
    def before(self) -> date:
        """The Monday of the week before."""
        return self.monday - timedelta(days=7)

    @property
    def after(self) -> date:
        """The Monday of the week after."""
        return self.monday + timedelta(days=7)


@coach.get("/plan")
def plan() -> tuple[str, int]:
    """Show the plans of a week, and the forms to change them."""
    return _page(Answers({}), {})


@coach.post("/plan")
def add_to_plan() -> Any:
    """Add a session to the chosen days; with faults the form is shown again."""
    answers = Answers.of_form(request.form)
    days = _days(answers)
    if not days:
        return _page(answers, {"days": say("coach_plan.no_day")})
    try:
        session = session_of(answers)
    except InvalidInput as refused:
        return _page(answers, in_controls(refused))
    return _done(answers, lambda transaction, planner: planner.add(transaction, days, session))


@coach.post("/plan/day")
def change_plan() -> Any:
    """Take a session back, make days a day off, or clear them."""
    answers = Answers.of_form(request.form)
    days, act = _days(answers), answers.one("act")
    session = session_named(answers.one("session"))
    if act == "take" and session is None:
        return _page(answers, {"": say("coach_plan.gone")})

    def change(transaction: Transaction, planner: Planner) -> None:
        if act == "take" and session is not None:
            for day in days:
                planner.take(transaction, day, session)
        elif act == "off":
            planner.rest(transaction, days)
        else:
            planner.clear(transaction, days)

    return _done(answers, change)


@coach.post("/plan/copy")
def copy_week() -> Any:
    """Plan the week as the one before."""
    answers = Answers.of_form(request.form)
    monday, replacing = _monday(answers.one("week")), bool(answers.one("replacing"))
    return _done(
        answers,
        lambda transaction, planner: planner.copy_week(transaction, monday, replacing=replacing),
    )


def session_of(answers: Answers) -> DailySession:
    """Read a session of a form. Raises ``InvalidInput`` with every fault."""
    body = filled(
        {name: answers.one(name) for name in _WORDS}
        | {name: number_or_text(answers.one(name)) for name in _NUMBERS}
        | {"muscle_groups": list(answers.many("muscle_groups"))}
    )
    clock = _clock(answers.one("clock"))
    if isinstance(clock, str):
        body["starts_at"] = clock  # for the schema to refuse
    [block] = load(_PLAN, {"plan": [body]})["plan"]
    return DailySession(block, None if isinstance(clock, str) else clock)


def in_controls(refused: DawnruleError) -> dict[str, str]:
    """Say what is wrong with a session by control."""
    faults = {n.removeprefix(_FIRST_BLOCK): said for n, said in faults_of(refused).items()}
    if "starts_at" in faults:
        del faults["starts_at"]
        faults["clock"] = say("coach_plan.wrong_clock")
    return {("minutes" if name == "plan" else name): said for name, said in faults.items()}


def session_named(key: str) -> DailySession | None:
    """Read the session that a form names; None for what is none."""
    try:
        block, clock, days = json.loads(key)
        at = time.fromisoformat(clock) if clock else None
        return DailySession(from_json(Block, block), at, max(-1, min(int(days), 1)))
    except (ValueError, TypeError, KeyError):
        return None


def name_of(session: DailySession) -> str:
    """Name a session in a form."""
    clock = session.clock.isoformat() if session.clock else None
    return json.dumps([to_json(session.block), clock, session.days_later])


def session_text(session: DailySession) -> str:
    """Describe a session: ``18:00 growth work, quadriceps, free weights, 60 min, 4 sets``."""
    block, said = session.block, texts()
    trained = [block.pattern] if block.pattern else block.muscle_groups
    parts = [
        label(block.goal),
        said.listing([label(group) for group in trained]),
        label(block.modality) if block.modality else "",
        say("coach_plan.minutes_of", minutes=said.number(f"{block.minutes:g}"))
        if block.minutes
        else "",
        say("coach_plan.sets_of", sets=block.sets) if block.sets else "",
        say("phone.plan_effort", effort=said.number(f"{block.effort:g}"))
        if block.effort is not None
        else "",
    ]
    clock = f"{session.clock:%H:%M} " if session.clock else ""
    return clock + ", ".join(filter(None, parts))


def _clock(text: str) -> time | str | None:
    if not text:
        return None
    try:
        at = time.fromisoformat(text)
    except ValueError:
        return text
    return text if at.tzinfo else at.replace(second=0, microsecond=0)


def _days(answers: Answers) -> list[date]:
    found = (date_or_text(text) for text in answers.many("days"))
    return sorted({day for day in found if isinstance(day, date)})


def _monday(text: str) -> date:
    """Return the Monday of the week that an address or a form names, else of this week."""
    day = date_or_text(text)
    return monday_of(day if isinstance(day, date) else context().clock().date())


def _done(answers: Answers, change: Done) -> Any:
    """Change plans, and show the page again; with faults nothing is changed."""
    ctx, everybody = context(), say("coach_forms.everybody")
    who, week = answers.one("who"), answers.one("week")
    offered = ctx.store.read(lambda transaction: choices(transaction, everybody))
    planners = Planner(ctx.check_ins, chosen_of(offered, who).athletes, caller().id).for_each()
    try:
        do_all_or_none(ctx.store, [partial(_changed, change, planner) for planner in planners])
    except (InvalidInput, Conflict) as refused:
        return _page(answers, in_controls(refused))
    return redirect(url_for("coach.plan", who=who or None, week=week or None), SEE_OTHER)


def _changed(change: Done, planner: Planner, transaction: Transaction) -> bool:
    change(transaction, planner)
    return True


def _page(answers: Answers, faults: Mapping[str, str]) -> tuple[str, int]:
    now, everybody = context().clock(), say("coach_forms.everybody")
    who, monday = request.values.get("who", ""), _monday(request.values.get("week", ""))

    def read(transaction: Transaction) -> Week:
        offered = choices(transaction, everybody)
        chosen = chosen_of(offered, who)
        last = week_from(monday - timedelta(days=7))
        return Week(
            offered,
            chosen,
            [_planned_day(transaction, chosen.athletes, day, now) for day in week_from(monday)],
            list(_became(transaction, chosen.athletes, monday, now)),
            any(
                transaction.plans.get(athlete.id, day)
                for athlete in chosen.athletes
                for day in last
            ),
        )

    week = context().store.read(read)
    page = render_template(
        "coach/plan.html",
        week=week,
        became=[Became(one, read_localized(given), at) for one, given, at in week.became],
        answers=answers,
        faults=faults,
        words=Vocabulary.bundled(),
        session_text=session_text,
    )
    return page, UNPROCESSABLE if faults else OK


def _planned_day(
    transaction: Transaction, athletes: Sequence[Athlete], day: date, now: datetime
) -> PlannedDay:
    having: dict[str, list[Athlete]] = {}
    off, without = [], []
    for athlete in athletes:
        plan = transaction.plans.get(athlete.id, day)
        if plan is None:
            without.append(athlete.name)
        elif not plan.blocks:
            off.append(athlete.name)
        for block in plan.blocks if plan else ():
            having.setdefault(name_of(DailySession.of(block, athlete, day)), []).append(athlete)
    count = len(athletes)
    return PlannedDay(
        day,
        tuple(_planned_sessions(having, count)),
        tuple(off),
        tuple(without),
        is_off=bool(count) and len(off) == count,
        is_empty=len(without) == count,
        is_today=any(athlete.today_or_utc(now) == day for athlete in athletes),
    )


def _planned_sessions(having: Mapping[str, list[Athlete]], count: int) -> Iterator[PlannedSession]:
    """Yield the sessions of a day in the order of their times; those who do one twice count
    once."""
    found = ((key, session_named(key), who) for key, who in having.items())
    known = [(key, session, who) for key, session, who in found if session is not None]
    for key, session, who in sorted(known, key=lambda one: one[1].clock or time.min):
        names = tuple(dict.fromkeys(athlete.name for athlete in who))
        yield PlannedSession(session, key, () if len(names) == count else names)


def _became(
    transaction: Transaction, athletes: Iterable[Athlete], monday: date, now: datetime
) -> Iterator[tuple[Athlete, StoredAdvice, datetime]]:
    """Yield whose advice of today is on a plan that came after the check-in, and since when by
    the athlete's clock."""
    for athlete in athletes:
        today = athlete.today_or_utc(now)
        if monday_of(today) != monday:
            continue
        stored = transaction.check_ins.latest(athlete.id, today)
        changed = plan_changed_at(transaction, stored)
        given = transaction.advice.latest(athlete.id, today)
        if changed and given:
            yield athlete, given, changed.astimezone(zone_or_utc(athlete.time_zone))
