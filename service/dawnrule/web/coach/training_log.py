"""The page of the training log: log a session for those who were there, and take one back."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, time, timedelta
from typing import Any

from flask import redirect, render_template, request, url_for

from dawnrule.application.batches import do_all_or_none
from dawnrule.application.plan_weeks import DailySession
from dawnrule.application.sessions import Logged, remove_session
from dawnrule.errors import Conflict, DawnruleError, FieldError, InvalidInput
from dawnrule.facts.last_trained import CUT_SHORT, DROPPED, HELD
from dawnrule.model import Verdict, Vocabulary
from dawnrule.model.advice import Advice
from dawnrule.model.entities import Athlete, Block, Session
from dawnrule.model.serialization import to_json
from dawnrule.model.time_zones import zone_or_utc
from dawnrule.schemas.errors import invalid_input
from dawnrule.schemas.session import load_session
from dawnrule.store import StoredPlan, Transaction
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
    said_of,
)
from dawnrule.web.coach.layout import coach
from dawnrule.web.coach.plan import in_controls, session_of, session_text
from dawnrule.web.context import context
from dawnrule.web.http.authorization import caller
from dawnrule.web.http.locale import read_localized, say, texts
from dawnrule.web.private.form import Answers, local_moment

PLANNED, DESCRIBED = "plan", "session"
"""What was done: what was planned for each, or the session that the form describes."""

SKIP = "skip"
"""Those who have a session with that start in the log keep it, and get no second one."""

_OUTPUTS = (HELD, CUT_SHORT, DROPPED)
_OWN = {"/rpe": "rpe", "/output": "output", "/output_drop_percent": "drop"}
"""The controls of each athlete, by their places in a session."""

_OF_ALL = {"/starts_at": "clock", "/minutes": "minutes"}
_ONE_DAY = timedelta(days=1)


@dataclass(frozen=True, slots=True)
class Person:
    """An athlete in the form, with what was planned, None where nothing was, and whether the advice
    of the day is to rest."""

    athlete: Athlete
    plan: StoredPlan | None
    rests: bool = False

    @property
    def planned(self) -> list[DailySession]:
        """What was planned, by the clock where the athlete lives."""
        if self.plan is None:
            return []
        day = self.plan.date
        return [DailySession.of(block, self.athlete, day) for block in self.plan.blocks]


@dataclass(frozen=True, slots=True)
class LoggedLine:
    """A session in the log of the day, and whose it is."""

    session_id: str
    session: Session
    athlete: Athlete

    @property
    def done(self) -> list[DailySession]:
        """What was done, by the clock where the athlete lives."""
        at = self.session.starts_at.astimezone(zone_or_utc(self.athlete.time_zone))
        first, *rest = (
            DailySession.of(block, self.athlete, at.date()) for block in self.session.blocks
        )
        return [replace(first, clock=first.clock or at.time().replace(tzinfo=None)), *rest]


@dataclass(frozen=True, slots=True)
class LogDay:
    """A day of those who are chosen: what was planned, and what is logged."""

    offered: Sequence[Chosen]
    chosen: Chosen
    people: Sequence[Person]
    logged: Sequence[LoggedLine]

    @property
    def is_planned(self) -> bool:
        """Whether anything was planned for anybody."""
        return any(person.planned for person in self.people)


@coach.get("/log")
def log() -> tuple[str, int]:
    """Show what is logged on a day, and the form to log a session."""
    return _page(None, {})


@coach.post("/log")
def log_for_group() -> Any:
    """Log a session for all who were there, or for nobody where something is wrong."""
    answers, ctx, by = Answers.of_form(request.form), context(), caller().id
    day = _day(answers.one("day"))
    there = _read(answers.one("who"), day)
    present = [one for one in there.people if one.athlete.id in answers.many("there")]
    if not present:
        return _page(answers, {"there": say("coach_log.nobody")})
    try:
        sessions = _sessions(answers, present, day)
        known = _starts(there.logged)
        again = [one for one in sessions if (one.athlete_id, one.starts_at) in known]
        if again and answers.one("again") != SKIP:
            return _page(answers, {"there": _already(again, present)}, again=True)
        new = [one for one in sessions if one not in again]
        begun = [ctx.log_for(by)(one) for one in new]
    except (InvalidInput, Conflict) as refused:
        return _page(answers, faults_of(refused))

    try:
        logged: list[Logged] = do_all_or_none(ctx.store, begun)
    except InvalidInput as refused:
        return _page(answers, faults_of(_placed(refused, present[0].athlete)))
    advice = [one.today.advice.advice_id for one in logged if one.today]
    return _shown(answers, day, logged=sum(one.is_new for one in logged), advice=advice)


@coach.post("/log/<session_id>/remove")
def take_from_log(session_id: str) -> Any:
    """Take a session out of the log; today's advice is decided again."""
    answers, check_ins = Answers.of_form(request.form), context().check_ins
    submission = check_ins.submission(caller().id)
    done = context().store.write(
        lambda transaction: remove_session(transaction, check_ins, session_id, submission)
    )
    advice = [done.today.advice.advice_id] if done.today else []
    return _shown(answers, _day(answers.one("day")), removed="yes", advice=advice)


def _starts(lines: Iterable[LoggedLine]) -> set[tuple[str, datetime]]:
    """Who has a session in the log, and when it began."""
    return {(line.athlete.id, line.session.starts_at) for line in lines}


def _already(sessions: Iterable[Session], people: Iterable[Person]) -> str:
    """Say for whom a session with that start is in the log."""
    names = {one.athlete.id: one.athlete.name for one in people}
    listed = texts().listing([names[one.athlete_id] for one in sessions])
    return say("coach_log.already", names=listed)


def _shown(answers: Answers, day: date, **said: Any) -> Any:
    who = answers.one("who") or None
    return redirect(url_for("coach.log", who=who, day=day.isoformat(), **said), SEE_OTHER)


def _day(text: str) -> date:
    """Return the day that an address or a form names, else today."""
    day = date_or_text(text)
    return day if isinstance(day, date) else context().clock().date()


def _sessions(answers: Answers, present: Iterable[Person], day: date) -> list[Session]:
    """Build the session of each who was there. Raises ``InvalidInput`` with every fault."""
    described = None
    if answers.one("source") != PLANNED:
        try:
            described = session_of(answers.replaced({"effort": ()})).block
        except InvalidInput as refused:
            places = in_controls(refused).items()
            raise invalid_input([FieldError(f"/{n}", None, said) for n, said in places]) from None
    sessions: list[Session] = []
    faults: list[FieldError] = []
    for person in present:
        try:
            sessions.append(_session(answers, person, described, day))
        except InvalidInput as refused:
            faults += _placed(refused, person.athlete).errors
    if faults:
        raise invalid_input(faults)
    return sessions


def _session(answers: Answers, person: Person, described: Block | None, day: date) -> Session:
    athlete = person.athlete
    blocks = [described] if described else list(person.plan.blocks if person.plan else ())
    if not blocks:
        fault = FieldError("/there", athlete.id, say("coach_log.not_planned", name=athlete.name))
        raise invalid_input([fault])
    clock = answers.one("clock")
    planned = next((block.starts_at for block in blocks if block.starts_at), None)
    start = local_moment(day, clock, athlete.time_zone) if clock else planned
    all_minutes = sum(block.minutes or 0 for block in blocks)
    sent = [to_json(block) for block in blocks]
    for block in sent if clock else ():
        block.pop("starts_at", None)
    own = {part: answers.one(f"{part}/{athlete.id}") for part in _OWN.values()}
    body = {
        "athlete_id": athlete.id,
        "starts_at": start.isoformat() if isinstance(start, datetime) else start,
        "minutes": number_or_text(answers.one("minutes")) or all_minutes,
        "blocks": sent,
        "rpe": number_or_text(own["rpe"] or answers.one("effort")),
        "output": own["output"],
        "output_drop_percent": number_or_text(own["drop"].removesuffix("%").rstrip()),
    }
    return load_session(filled(body))


def _placed(refused: DawnruleError, athlete: Athlete) -> InvalidInput:
    """Put faults of an athlete's session at their controls."""
    return invalid_input(
        [
            FieldError(f"/{_control(fault.pointer, athlete.id)}", fault.value, fault.detail)
            for fault in refused.errors
        ]
    )


def _control(pointer: str, athlete_id: str) -> str:
    if pointer in _OWN:
        return f"{_OWN[pointer]}/{athlete_id}"
    return _OF_ALL.get(pointer, pointer.rpartition("/")[2])


def _read(who: str, day: date) -> LogDay:
    everybody = say("coach_forms.everybody")

    def read(transaction: Transaction) -> LogDay:
        offered = choices(transaction, everybody)
        chosen = chosen_of(offered, who)
        advice = {one.athlete_id: one.verdict for one in transaction.advice.for_date(day)}
        people = [
            Person(one, transaction.plans.get(one.id, day), advice.get(one.id) == Verdict.REST)
            for one in chosen.athletes
        ]
        return LogDay(offered, chosen, people, list(_logged(transaction, chosen.athletes, day)))

    return context().store.read(read)


def _logged(
    transaction: Transaction, athletes: Iterable[Athlete], day: date
) -> Iterator[LoggedLine]:
    for athlete in athletes:
        midnight = datetime.combine(day, time.min, zone_or_utc(athlete.time_zone))
        for session_id, session in transaction.sessions.window(
            athlete.id, midnight, midnight + _ONE_DAY
        ):
            yield LoggedLine(session_id, session, athlete)


def _page(
    answers: Answers | None, faults: Mapping[str, str], *, again: bool = False
) -> tuple[str, int]:
    day = _day(request.values.get("day", ""))
    shown = _read(request.values.get("who", ""), day)
    page = render_template(
        "coach/training_log.html",
        day=day,
        log=shown,
        became=_became(request.args.getlist("advice"), shown.chosen.athletes),
        logged=request.args.get("logged", ""),
        removed="removed" in request.args,
        answers=_at_first(shown) if answers is None else answers,
        faults=faults,
        skip=SKIP if again else "",
        said=said_of("coach_log", faults) | _said_of_people(faults, shown.people),
        words=Vocabulary.bundled(),
        outputs=[(one, say(f"coach_log.output_{one}")) for one in _OUTPUTS],
        session_text=session_text,
        planned=PLANNED,
        described=DESCRIBED,
    )
    return page, UNPROCESSABLE if faults else OK


def _at_first(shown: LogDay) -> Answers:
    """Tick those for whom something was planned, or all where nothing was; but nobody who was to
    rest, and nobody whose planned start is in the log."""
    known = _starts(shown.logged)
    expected = [
        one
        for one in shown.people
        if (not shown.is_planned or one.planned) and not one.rests and not _is_logged(one, known)
    ]
    source = PLANNED if shown.is_planned else DESCRIBED
    return Answers({"source": (source,), "there": tuple(one.athlete.id for one in expected)})


def _is_logged(person: Person, known: set[tuple[str, datetime]]) -> bool:
    """Whether the planned session of a person is in the log; without a planned start, whether any
    session is."""
    blocks = person.plan.blocks if person.plan else ()
    starts = {block.starts_at for block in blocks if block.starts_at}
    logged = {start for athlete_id, start in known if athlete_id == person.athlete.id}
    return bool(starts & logged if starts else logged)


def _said_of_people(faults: Iterable[str], people: Iterable[Person]) -> dict[str, str]:
    """Name the faulty controls that each athlete has, with whose they are."""
    names = {
        f"{control}/{person.athlete.id}": f"{say(f'coach_log.{control}')}, {person.athlete.name}"
        for control in _OWN.values()
        for person in people
    }
    return {name: names[name] for name in faults if name in names}


def _became(advice_ids: Iterable[str], athletes: Iterable[Athlete]) -> list[tuple[str, Advice]]:
    """Read what today's advice became, with whose it is."""
    names = {athlete.id: athlete.name for athlete in athletes}
    ids = list(advice_ids)
    found = context().store.read(lambda transaction: [transaction.advice.get(one) for one in ids])
    return [
        (names[stored.athlete_id], read_localized(stored))
        for stored in found
        if stored is not None and stored.athlete_id in names
    ]
