"""The page of athletes: who there is; add one or many, change and erase."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from typing import Any

from flask import redirect, render_template, request, url_for

from dawnrule.application.athletes import erase, next_athlete_id, put_athlete, require_athlete
from dawnrule.application.groups import put_group
from dawnrule.errors import Conflict, DawnruleError, FieldError, InvalidInput, MalformedInput
from dawnrule.facts.plausibility import implausible_athlete
from dawnrule.i18n.catalog import Texts, languages
from dawnrule.i18n.lazy import lazy
from dawnrule.model import Vocabulary
from dawnrule.model.entities import Athlete, Competition
from dawnrule.model.serialization import to_json
from dawnrule.model.time_zones import time_zone_names, zone_named, zone_of_city
from dawnrule.schemas.athlete import load_athlete
from dawnrule.schemas.errors import invalid_input
from dawnrule.sheet.birth_dates import birth_dates, is_like_a_date
from dawnrule.sheet.roster import MOST_ATHLETES, Roster, read_roster
from dawnrule.store import Group, Transaction
from dawnrule.web.coach.forms import (
    SEE_OTHER,
    UNPROCESSABLE,
    by_name,
    date_or_text,
    faults_of,
    filled,
    number_or_text,
    numbered,
)
from dawnrule.web.coach.layout import coach
from dawnrule.web.context import context
from dawnrule.web.http.authorization import caller
from dawnrule.web.http.locale import dated, say
from dawnrule.web.private.form import Answers, local_moment

ROWS = "rows"
"""The section of the rows in the form for many."""

_PLAIN = ("name", "time_zone", "date_of_birth", "training_status", "language")
_OF_A_ROW = (*_PLAIN, "athlete_id", "body_mass_kg")
_BLANK_ROWS = 2


@dataclass(frozen=True, slots=True)
class Line:
    """An athlete in the list, with the groups and the next competition."""

    athlete: Athlete
    age: int | None
    groups: tuple[str, ...]
    competition: Competition | None


@coach.get("/athletes")
def athletes() -> str:
    """Show the squad, and the form to add one."""
    return _squad_page(Answers({}), {})


@coach.post("/athletes")
def add_athlete() -> Any:
    """Add an athlete; with faults the form is shown again."""
    answers = Answers.of_form(request.form)
    by, now = caller().id, context().clock()

    def add(transaction: Transaction) -> Athlete:
        athlete = _read(answers, answers.one("athlete_id") or next_athlete_id(transaction), now)
        _refuse_known(transaction, athlete)
        put_athlete(transaction, athlete, by=by, at=now)
        _put_into_groups(transaction, athlete.id, answers.many("groups"), by, now)
        return athlete

    try:
        added = context().store.write(add)
    except (InvalidInput, Conflict) as refused:
        return _squad_page(answers, faults_of(refused)), UNPROCESSABLE
    return redirect(url_for("coach.athletes", added=[added.id]), SEE_OTHER)


@coach.get("/athletes/<athlete_id>/change")
def change_athlete(athlete_id: str) -> str:
    """Show what is known of an athlete, to be changed."""
    return _change_page(athlete_id, None, {})


@coach.post("/athletes/<athlete_id>/change")
def save_athlete(athlete_id: str) -> Any:
    """Replace what is known of an athlete; with faults the form is shown again."""
    answers, by, now = Answers.of_form(request.form), caller().id, context().clock()

    def change(transaction: Transaction) -> None:
        require_athlete(transaction, athlete_id)
        put_athlete(transaction, _read(answers, athlete_id, now), by=by, at=now)
        _put_into_groups(transaction, athlete_id, answers.many("groups"), by, now)

    try:
        context().store.write(change)
    except (InvalidInput, Conflict) as refused:
        return _change_page(athlete_id, answers, faults_of(refused)), UNPROCESSABLE
    return redirect(url_for("coach.athletes", changed=[athlete_id]), SEE_OTHER)


@coach.post("/athletes/<athlete_id>/erase")
def erase_athlete(athlete_id: str) -> Any:
    """Erase an athlete, once the coach has confirmed it."""
    if request.form.get("sure") != "yes":
        faults = {"sure": say("coach_athletes.not_sure")}
        return _change_page(athlete_id, None, faults), UNPROCESSABLE
    ctx = context()
    erase(ctx.store, athlete_id, by=caller().id, at=ctx.clock())
    ctx.backups.list_erased()
    return redirect(url_for("coach.athletes", erased="yes"), SEE_OTHER)


@coach.get("/add-athletes")
def list_of_athletes() -> str:
    """Show where a list of athletes can be pasted or uploaded."""
    return _list_page(Answers({}), {})


@coach.post("/add-athletes")
def add_athletes() -> Any:
    """Show what a list says, to be looked over; or add the athletes that were looked over."""
    answers = Answers.of_form(request.form)
    if answers.one("step") != "add":
        return _look_over(answers)
    by, now = caller().id, context().clock()

    def add(transaction: Transaction) -> list[Athlete]:
        return _add_rows(transaction, answers, by, now)

    try:
        added = context().store.write(add)
    except InvalidInput as refused:
        return _rows_page(answers, faults_of(refused), Roster(())), UNPROCESSABLE
    return redirect(url_for("coach.athletes", added=[one.id for one in added]), SEE_OTHER)


def free_rows(answers: Answers, section: str) -> list[int]:
    """List the rows of a section that a form shows: those filled in, and a few more."""
    used = [int(row) for row in numbered(answers, section)]
    first = max(used, default=-1) + 1
    return [*used, *range(first, first + _BLANK_ROWS)]


def answers_of(athlete: Athlete, groups: Iterable[Group] = ()) -> Answers:
    """Fill the form in with what is known of an athlete."""
    plain = to_json(athlete)
    given: dict[str, tuple[str, ...]] = {
        name: (str(plain[name]),) for name in (*_PLAIN, "body_mass_kg") if name in plain
    }
    for row, one in enumerate(athlete.competitions or ()):
        start = one.starts_at and one.starts_at.astimezone(zone_named(athlete.time_zone))
        clock = start.strftime("%H:%M") if start else ""
        parts = {"date": one.date, "rank": one.rank, "name": one.name or "", "starts_at": clock}
        given |= {f"competitions/{row}/{part}": (str(said),) for part, said in parts.items()}
    for row, phase in enumerate(athlete.phases or ()):
        spans = {"from": phase.first, "until": phase.last, "phase": phase.phase}
        given |= {f"phases/{row}/{part}": (str(said),) for part, said in spans.items()}
    given["groups"] = tuple(group.id for group in groups if athlete.id in group.athletes)
    return Answers(given)


def _read(answers: Answers, athlete_id: str, now: datetime) -> Athlete:
    """Read an athlete of a form. Raises ``InvalidInput`` with every fault."""
    zone = zone_of_city(answers.one("time_zone"))
    body = {name: answers.one(name) for name in _PLAIN} | {
        "time_zone": zone,
        "athlete_id": athlete_id,
        "date_of_birth": _birth_text(answers.one("date_of_birth"), now.date()),
        "body_mass_kg": number_or_text(answers.one("body_mass_kg").removesuffix("kg").rstrip()),
        "competitions": [
            _competition(answers, row, zone) for row in numbered(answers, "competitions")
        ],
        "phases": [
            filled({part: answers.one(f"phases/{row}/{part}") for part in _OF_A_PHASE})
            for row in numbered(answers, "phases")
        ],
    }
    try:
        athlete = load_athlete(filled(body))
    except InvalidInput as refused:
        raise invalid_input([_asked(fault, now.date()) for fault in refused.errors]) from None
    if faults := list(implausible_athlete(athlete, now)):
        raise invalid_input(faults)
    return athlete


def _birth_text(text: str, today: date) -> str:
    """Write a date of birth as the form has it where it means one day; else it stays."""
    days = birth_dates(text, today)
    return days[0].isoformat() if len(days) == 1 else text


def _asked(fault: FieldError, today: date) -> FieldError:
    """Say what is asked of a coach where a list has words or dates of its own."""
    if fault.pointer == "/training_status":
        known = Vocabulary.bundled().values_of("training_statuses")
        words = "; ".join(say(f"training_statuses.{one}") for one in known)
        sentence = say("coach_athletes.wrong_status", text=fault.value, words=words)
        return replace(fault, detail=sentence)
    if fault.pointer != "/date_of_birth" or not is_like_a_date(str(fault.value)):
        return fault
    match birth_dates(str(fault.value), today):
        case [first, *_, last]:
            days = {"first": dated(first), "last": dated(last)}
            written = {"first_written": first.isoformat(), "last_written": last.isoformat()}
            return replace(fault, detail=say("coach_athletes.which_day", **days, **written))
        case []:
            return replace(fault, detail=say("coach_athletes.no_such_day", text=fault.value))
        case _:
            return fault


_OF_A_PHASE = ("from", "until", "phase")


def _competition(answers: Answers, row: int, zone: str) -> dict[str, Any]:
    at = f"competitions/{row}"
    body = filled({part: answers.one(f"{at}/{part}") for part in ("date", "rank", "name")})
    clock, on = answers.one(f"{at}/starts_at"), date_or_text(answers.one(f"{at}/date"))
    if clock and isinstance(on, date) and zone in time_zone_names():
        body["starts_at"] = local_moment(on, clock, zone)
    return body


def _refuse_known(transaction: Transaction, athlete: Athlete) -> None:
    """Raise ``Conflict`` for the id of somebody else: to add must not replace."""
    if transaction.athletes.get(athlete.id) is not None:
        detail = lazy("field.id_taken", id=athlete.id)
        raise Conflict(detail, [FieldError("/athlete_id", athlete.id, detail)])


def _put_into_groups(
    transaction: Transaction, athlete_id: str, wanted: Sequence[str], by: str, now: datetime
) -> None:
    """Put an athlete into these groups, and into no other."""
    for group in transaction.groups.all():
        others = [one for one in group.athletes if one != athlete_id]
        members = (*others, athlete_id) if group.id in wanted else tuple(others)
        put_group(transaction, replace(group, athletes=members), by=by, at=now)


def _look_over(answers: Answers) -> Any:
    """Show what a list says, each athlete in a row to be corrected. Nothing is stored."""
    upload = request.files.get("file")
    data = (upload.read() if upload else b"") or answers.one("list").encode()
    try:
        roster = read_roster(data)
    except (MalformedInput, InvalidInput) as refused:
        return _list_page(answers, faults_of(refused, "list")), UNPROCESSABLE
    if not roster.athletes:
        return _list_page(answers, {"list": say("coach_athletes.list_empty")}), UNPROCESSABLE
    now = context().clock()

    def check(transaction: Transaction) -> tuple[Answers, list[FieldError]]:
        squad = transaction.athletes.all()
        rows = _answers_of_rows(roster, squad, now.date())
        return rows, _checked(transaction, rows, now)[1]

    rows, faults = context().store.read(check)
    said = faults_of(invalid_input(faults)) if faults else {}
    return _rows_page(rows, said, roster)


def _answers_of_rows(roster: Roster, squad: Sequence[Athlete], today: date) -> Answers:
    """Fill the rows in with a list; who has the name of somebody there is left out at first."""
    names, zone = {one.name.casefold() for one in squad}, usual_zone(squad)
    given: dict[str, tuple[str, ...]] = {}
    for row, person in enumerate(roster.athletes):
        texts = {"time_zone": zone, **person}
        texts["date_of_birth"] = _birth_text(texts.get("date_of_birth", ""), today)
        given |= {f"{ROWS}/{row}/{part}": (texts.get(part, ""),) for part in _OF_A_ROW}
        if person.get("name", "").casefold() in names:
            given[f"{ROWS}/{row}/leave_out"] = ("yes",)
    return Answers(given)


def usual_zone(squad: Iterable[Athlete]) -> str:
    """Return the time zone that most of the squad have; empty for none."""
    zones = Counter(athlete.time_zone for athlete in squad)
    return zones.most_common(1)[0][0] if zones else ""


def _checked(
    transaction: Transaction, answers: Answers, now: datetime
) -> tuple[list[tuple[int, Athlete]], list[FieldError]]:
    """Read the athletes of the rows that are not left out, and everything that is wrong. Those
    without an id get one when they are added."""
    found: list[tuple[int, Athlete]] = []
    faults: list[FieldError] = []
    ids: set[str] = set()
    for row in numbered(answers, ROWS):
        if answers.one(f"{ROWS}/{row}/leave_out"):
            continue
        own = Answers({part: (answers.one(f"{ROWS}/{row}/{part}"),) for part in _OF_A_ROW})
        athlete_id = own.one("athlete_id")
        try:
            athlete = _read(own, athlete_id or _NO_ID_YET, now)
            _refuse_known(transaction, athlete)
            if athlete_id and athlete_id in ids:
                detail = lazy("field.id_taken", id=athlete_id)
                raise Conflict(detail, [FieldError("/athlete_id", athlete_id, detail)])
        except (InvalidInput, Conflict) as refused:
            faults += _in_row(refused, row)
            continue
        ids.add(athlete_id)
        found.append((row, athlete))
    return found, faults


_NO_ID_YET = "not-yet"


def _in_row(error: DawnruleError, row: int) -> Iterator[FieldError]:
    for fault in error.errors:
        yield replace(fault, pointer=f"/{ROWS}/{row}{fault.pointer}")


def _add_rows(transaction: Transaction, answers: Answers, by: str, now: datetime) -> list[Athlete]:
    """Add the athletes of all rows that are not left out, or none. Raises ``InvalidInput`` with
    every fault."""
    found, faults = _checked(transaction, answers, now)
    added = []
    for row, athlete in found if not faults else ():
        if athlete.id == _NO_ID_YET:
            athlete = replace(athlete, id=next_athlete_id(transaction))
        try:
            put_athlete(transaction, athlete, by=by, at=now)
        except Conflict as refused:
            faults += _in_row(refused, row)
        added.append(athlete)
    if faults:
        raise invalid_input(faults)
    if group := transaction.groups.get(answers.one("group")):
        members = (*group.athletes, *(one.id for one in added))
        put_group(transaction, replace(group, athletes=members), by=by, at=now)
    return added


def _squad_page(answers: Answers, faults: Mapping[str, str]) -> str:
    now = context().clock()

    def read(transaction: Transaction) -> tuple[list[Athlete], list[Group]]:
        return sorted(transaction.athletes.all(), key=by_name), transaction.groups.all()

    squad, groups = context().store.read(read)
    if not answers.given:
        answers = Answers({"time_zone": (usual_zone(squad),)})
    named = {athlete.id: athlete.name for athlete in squad}
    return render_template(
        "coach/athletes.html",
        lines=[_line(athlete, groups, now) for athlete in squad],
        added=[named[one] for one in request.args.getlist("added") if one in named],
        changed=[named[one] for one in request.args.getlist("changed") if one in named],
        erased="erased" in request.args,
        **_of_the_form(answers, faults, groups),
    )


def _line(athlete: Athlete, groups: Iterable[Group], now: datetime) -> Line:
    today = athlete.today_or_utc(now)
    ahead = [one for one in athlete.competitions or () if one.date >= today]
    return Line(
        athlete,
        athlete.age_years(today),
        tuple(group.name for group in groups if athlete.id in group.athletes),
        min(ahead, key=lambda one: one.date, default=None),
    )


def _change_page(athlete_id: str, answers: Answers | None, faults: Mapping[str, str]) -> str:
    def read(transaction: Transaction) -> tuple[Athlete, list[Group]]:
        return require_athlete(transaction, athlete_id), transaction.groups.all()

    athlete, groups = context().store.read(read)
    shown = answers_of(athlete, groups) if answers is None else answers
    return render_template(
        "coach/change_athlete.html", athlete=athlete, **_of_the_form(shown, faults, groups)
    )


def _of_the_form(
    answers: Answers, faults: Mapping[str, str], groups: Sequence[Group]
) -> dict[str, Any]:
    words = Vocabulary.bundled()
    return {
        "answers": answers,
        "faults": faults,
        "groups": groups,
        "zones": sorted(time_zone_names()),
        "statuses": words.values_of("training_statuses"),
        "ranks": words.values_of("competition_ranks"),
        "phases": words.values_of("phases"),
        "languages": [(one, Texts.bundled(one).say("language_name")) for one in languages()],
        "calendar_is_wrong": any(name.startswith(("competitions", "phases")) for name in faults),
        "rows_of": free_rows,
    }


def _list_page(answers: Answers, faults: Mapping[str, str]) -> str:
    return render_template("coach/add_athletes.html", answers=answers, faults=faults)


def _rows_page(answers: Answers, faults: Mapping[str, str], roster: Roster) -> str:
    groups = context().store.read(lambda transaction: transaction.groups.all())
    return render_template(
        "coach/look_over_athletes.html",
        section=ROWS,
        rows=list(numbered(answers, ROWS)),
        roster=roster,
        most=MOST_ATHLETES,
        **_of_the_form(answers, faults, groups),
    )
