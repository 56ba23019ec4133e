"""The form of the week page: what is asked for, and the sessions that stand in it.

Nothing is stored until a coach takes the week, so all of it travels in the controls. They have the
names of their places in the JSON of ``POST /v1/weeks``; a session that stands is named by
``placed/<number>/…``.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from dawnrule.application.groups import common_zone
from dawnrule.application.plan_weeks import DAYS
from dawnrule.errors import InvalidInput
from dawnrule.model.entities import Athlete, Block
from dawnrule.model.serialization import to_json
from dawnrule.model.time_zones import zone_or_utc
from dawnrule.model.weeks import WEEKDAYS, Kept, WeekOrder, Window
from dawnrule.schemas.errors import load
from dawnrule.schemas.week import WEEK_ORDER
from dawnrule.web.coach.forms import (
    date_or_text,
    faults_of,
    filled,
    number_or_text,
    numbered,
)
from dawnrule.web.http.locale import label, texts
from dawnrule.web.private.form import Answers, local_moment

DEFAULTS: dict[str, tuple[str, ...]] = {
    "windows/0/weekdays": WEEKDAYS[:5],
    "windows/0/begins": ("16:00",),
    "windows/0/ends": ("20:00",),
    "repeats": ("yes",),
}
_BLOCK = "blocks/0/"
_IN_FORM = {"goal", "muscle_groups", "sets", "modality", "minutes", "starts_at", "competition"}
_USUAL_MINUTES = 60
_SECTIONS = ("windows", "wishes", "fixed", "travel", "room")
_CONTROLS = {
    "starts_at": "clock",
    "blocks": f"{_BLOCK}goal",
    "leaves_at": "leaves/clock",
    "arrives_at": "arrives/clock",
}
"""The controls of what does not stand in one by its own name."""
_FIRST_CONTROLS = {
    "windows": "windows/0/weekdays",
    "wishes": "wishes/0/name",
    "fixed": "fixed/0/clock",
}


@dataclass(frozen=True, slots=True)
class Standing:
    """A session that stands in the week of an athlete (aware)."""

    athlete_id: str
    name: str
    starts_at: datetime


def order_of(answers: Answers, athletes: Sequence[Athlete]) -> WeekOrder:
    """Read what is asked for; it names the first athlete. Windows are on the clock of each. Raises
    ``InvalidInput`` with every fault, and for what is fixed by the clock of athletes who live in
    several time zones."""
    is_by_clock = any(list(numbered(answers, section)) for section in ("fixed", "travel"))
    zone = common_zone(athletes).key if is_by_clock else athletes[0].time_zone
    body = {
        "athlete_id": athletes[0].id,
        "from": answers.one("from"),
        "days": number_or_text(answers.one("days") or str(DAYS)),
        "windows": [_window(answers, row) for row in numbered(answers, "windows")],
        "wishes": [_wish(answers, row) for row in numbered(answers, "wishes")],
        "fixed": [_fixed(answers, row, zone) for row in numbered(answers, "fixed")],
        "travel": [_travel(answers, row, zone) for row in numbered(answers, "travel")],
        "room": [_room(answers, row) for row in numbered(answers, "room")],
        "repeats": bool(answers.one("repeats")),
    }
    order: WeekOrder = load(WEEK_ORDER, body)
    return order


def in_controls(refused: InvalidInput, answers: Answers) -> dict[str, str]:
    """Say what is wrong by control; rows that were left empty count on the page only."""
    rows = {name: list(numbered(answers, name)) for name in _SECTIONS}
    found = {}
    for name, said in faults_of(refused).items():
        section, _, rest = name.partition("/")
        number, _, control = rest.partition("/")
        if number.isdigit() and int(number) < len(rows.get(section, ())):
            control = _CONTROLS.get(control, control)
            name = f"{section}/{rows[section][int(number)]}/{control}"
        elif section in _FIRST_CONTROLS:
            name = _FIRST_CONTROLS[section]
        found[name] = said
    return found


def standing_in(answers: Answers) -> list[Standing]:
    """Read the sessions that stand; what is no session is left out."""
    found = []
    for row in numbered(answers, "placed"):
        given = {part: answers.one(f"placed/{row}/{part}") for part in ("athlete", "name", "start")}
        try:
            starts_at = datetime.fromisoformat(given["start"])
        except ValueError:
            continue
        if starts_at.tzinfo is not None:
            found.append(Standing(given["athlete"], given["name"], starts_at))
    return found


def changed_since(
    order: WeekOrder, athletes: Sequence[Athlete], standing: Sequence[Standing]
) -> str:
    """Return the control that was changed since the week was laid out, so that sessions would be
    lost; empty where none was."""
    zones = {athlete.id: zone_or_utc(athlete.time_zone) for athlete in athletes}
    names = {wish.name for wish in order.wishes}
    last = order.first + timedelta(days=order.days - 1)
    if not standing or any(one.athlete_id not in zones for one in standing):
        return "who"
    if any(one.name not in names for one in standing):
        return "wishes/0/name"
    dates = (one.starts_at.astimezone(zones[one.athlete_id]).date() for one in standing)
    return "" if all(order.first <= on <= last for on in dates) else "from"


def kept(order: WeekOrder, athlete: Athlete, standing: Iterable[Standing]) -> WeekOrder:
    """Return the order of one athlete that keeps the sessions that stand."""
    own = (Kept(one.name, one.starts_at) for one in standing if one.athlete_id == athlete.id)
    return replace(order, athlete_id=athlete.id, group=None, keep=tuple(own))


def with_own_times(order: WeekOrder, athlete: Athlete) -> WeekOrder:
    """Add the times of the sessions that are kept to those that are possible."""
    minutes = {wish.name: wish.minutes for wish in order.wishes}
    zone, windows = zone_or_utc(athlete.time_zone), list(order.windows)
    for one in order.keep:
        if one.name in minutes:
            begins = one.starts_at.astimezone(zone)
            ends = begins + timedelta(minutes=minutes[one.name])
            if ends.date() == begins.date():
                day = WEEKDAYS[begins.weekday()]
                windows.append(Window((day,), begins.time(), ends.time()))
    return replace(order, windows=tuple(windows))


def answers_of_plans(
    athlete: Athlete, plans: Mapping[date, Sequence[Block]], now: datetime
) -> tuple[Answers, list[Standing]]:
    """Fill the form in with the sessions planned from now on that have a start; sessions of one
    kind are one wish."""
    zone = zone_or_utc(athlete.time_zone)
    given: dict[str, tuple[str, ...]] = dict(DEFAULTS)
    standing: list[Standing] = []
    del given["repeats"]
    sessions = [
        (on, block)
        for on, blocks in plans.items()
        for block in blocks
        if block.starts_at is not None and block.starts_at >= now
    ]
    fixed = [(on, block) for on, block in sessions if block.competition]
    for row, (on, block) in enumerate(fixed):
        own = f"fixed/{row}/"
        given |= _given_block(own, block, label(block.goal))
        given |= {f"{own}date": (on.isoformat(),), f"{own}clock": (_clock(block, zone),)}
    wishes: dict[Block, list[datetime]] = {}
    for _, block in sessions:
        if block.starts_at is not None and not block.competition:
            wishes.setdefault(replace(block, starts_at=None), []).append(block.starts_at)
    names: list[str] = []
    for row, (block, starts) in enumerate(wishes.items()):
        names.append(_name(block, names))
        given |= _given_block(f"wishes/{row}/", block, names[-1])
        given[f"wishes/{row}/times"] = (str(len(starts)),)
        standing += [Standing(athlete.id, names[-1], at) for at in starts]
    return Answers(given), standing


def _clock(block: Block, zone: ZoneInfo) -> str:
    return f"{block.starts_at.astimezone(zone):%H:%M}" if block.starts_at else ""


def _name(block: Block, taken: Sequence[str]) -> str:
    trained = [block.pattern] if block.pattern else block.muscle_groups
    words = texts().listing([label(one) for one in trained])
    name = ", ".join(filter(None, (label(block.goal), words)))[:50]
    alike = sum(one == name or one.startswith(f"{name} (") for one in taken)
    return f"{name} ({alike + 1})" if alike else name


def _given_block(row: str, block: Block, name: str) -> dict[str, tuple[str, ...]]:
    other = {part: value for part, value in to_json(block).items() if part not in _IN_FORM}
    return {
        f"{row}name": (name,),
        f"{row}minutes": (f"{block.minutes or _USUAL_MINUTES:g}",),
        f"{row}{_BLOCK}goal": (block.goal,),
        f"{row}{_BLOCK}muscle_groups": tuple(block.muscle_groups),
        f"{row}{_BLOCK}sets": (str(block.sets or ""),),
        f"{row}{_BLOCK}modality": (block.modality or "",),
        f"{row}{_BLOCK}competition": ("yes",) if block.competition else (),
        f"{row}{_BLOCK}other": (json.dumps(filled(other)),),
    }


def _window(answers: Answers, row: int) -> dict[str, Any]:
    own = f"windows/{row}/"
    return filled(
        {
            "weekdays": list(answers.many(f"{own}weekdays")),
            "begins": answers.one(f"{own}begins"),
            "ends": answers.one(f"{own}ends"),
        }
    )


def _wish(answers: Answers, row: int) -> dict[str, Any]:
    own = f"wishes/{row}/"
    numbers = {part: number_or_text(answers.one(own + part)) for part in ("times", "minutes")}
    return filled(
        numbers
        | {
            "name": answers.one(f"{own}name"),
            "preferred_weekdays": list(answers.many(f"{own}preferred_weekdays")),
            "room": answers.one(f"{own}room"),
            "blocks": [_block(answers, own)],
        }
    )


def _fixed(answers: Answers, row: int, zone: str) -> dict[str, Any]:
    own = f"fixed/{row}/"
    return filled(
        {
            "name": answers.one(f"{own}name"),
            "starts_at": _moment(answers, own, zone),
            "minutes": number_or_text(answers.one(f"{own}minutes")),
            "blocks": [_block(answers, own)],
        }
    )


def _travel(answers: Answers, row: int, zone: str) -> dict[str, Any]:
    own = f"travel/{row}/"
    return filled(
        {
            "leaves_at": _moment(answers, f"{own}leaves/", zone),
            "arrives_at": _moment(answers, f"{own}arrives/", zone),
            "time_zones_crossed": number_or_text(answers.one(f"{own}time_zones_crossed")),
        }
    )


def _moment(answers: Answers, own: str, zone: str) -> str:
    """Read the moment of a date and a time of the clock; empty unless both are there."""
    day, clock = date_or_text(answers.one(f"{own}date")), answers.one(f"{own}clock")
    return local_moment(day, clock, zone) if isinstance(day, date) and clock else ""


def _room(answers: Answers, row: int) -> dict[str, Any]:
    own = f"room/{row}/"
    places = number_or_text(answers.one(f"{own}places"))
    return filled({"name": answers.one(f"{own}name"), "places": places})


def _block(answers: Answers, own: str) -> dict[str, Any]:
    own += _BLOCK
    try:
        other = json.loads(answers.one(f"{own}other") or "{}")
    except ValueError:
        other = {}
    return filled(
        (other if isinstance(other, dict) else {})
        | {
            "goal": answers.one(f"{own}goal"),
            "muscle_groups": list(answers.many(f"{own}muscle_groups")),
            "sets": number_or_text(answers.one(f"{own}sets")),
            "modality": answers.one(f"{own}modality"),
        }
        | ({"competition": True} if answers.one(f"{own}competition") else {})
    )


def rows_of(answers: Answers, section: str, least: int) -> Iterator[int]:
    """Yield the numbers of the rows to show: those that are filled in and one more."""
    used = max(numbered(answers, section), default=-1)
    yield from range(max(least, used + 2))
