"""How have an athlete's last weeks been, and what is ahead?"""

from __future__ import annotations

from bisect import bisect
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import groupby
from typing import Any
from zoneinfo import ZoneInfo

from flask import render_template, request

from dawnrule.advice.ahead import look_ahead, told_outlook
from dawnrule.advice.athlete_weeks import AthleteDay, read_weeks, tell_days
from dawnrule.advice.morning import known_athlete
from dawnrule.advice.outlook import Outlook
from dawnrule.advice.outlook_told import outlook_of_groups
from dawnrule.advice.squad_morning import AthleteMorning, ToldMorning
from dawnrule.errors import NotFound
from dawnrule.facts.check_in import Session
from dawnrule.store import Books
from dawnrule.vocabulary import Vocabulary
from dawnrule.web.coach.charts import HEIGHT, LABEL_WIDTH, Scale, Values
from dawnrule.web.coach.frame import coach
from dawnrule.web.coach.told import last_check_in, parts_of, told_morning
from dawnrule.web.language import composer, label, say, texts
from dawnrule.web.service import service

DAY_WIDTHS = {7: 31, 28: 30, 84: 24}
"""How many days can be shown, and how wide each is then (CSS pixels), as in coach.css."""

_USUAL_DAYS = 28
_OUTLOOK_DAYS = 7
_OUTLOOK_GOAL = "hypertrophy"
_SHADES_BEGIN = (1, 3, 5, 7, 9)
"""The ratings of soreness at which the next darker shade begins; 0 has the first."""


@coach.get("/athletes/<athlete_id>")
def athlete(athlete_id: str) -> str:
    """An athlete's soreness, sleep, load and heart day by day, and what opens when."""
    days = _days_asked(request.args.get("days", str(_USUAL_DAYS)))
    told, weeks, ahead = service().store.read(lambda books: _read(books, athlete_id, days))
    outlook = told_outlook(ahead, _OUTLOOK_GOAL, composer())
    seen, never = _groups(weeks)
    return render_template(
        "coach/athlete.html",
        athlete=told.morning.athlete,
        told=told,
        days=days,
        spans=tuple(DAY_WIDTHS),
        weeks=weeks,
        months=_months(weeks),
        groups=seen,
        never=texts().listing([label(group) for group in never]),
        charts=list(_charts(weeks, DAY_WIDTHS[days])),
        outlook=outlook_of_groups(outlook, composer()),
        outlook_note=outlook["note"],
        outlook_days=_OUTLOOK_DAYS,
        shade=lambda soreness: bisect(_SHADES_BEGIN, soreness),
        kinds_of=_kinds_of,
        session_words=_session_words,
        clock=_clock(told.morning.athlete.time_zone),
        parts_of=parts_of,
        last_check_in=last_check_in,
        label_width=LABEL_WIDTH,
        height=HEIGHT,
    )


def _days_asked(text: str) -> int:
    """How many days to show. Raises ``NotFound`` for a number that there is no page for."""
    for days in DAY_WIDTHS:
        if text == str(days):
            return days
    raise NotFound(f"There are pages of {texts().listing([*map(str, DAY_WIDTHS)])} days.")


def _read(
    books: Books, athlete_id: str, days: int
) -> tuple[ToldMorning, list[AthleteDay], Outlook]:
    its, now = service(), service().clock()
    person = known_athlete(books, athlete_id)
    today = person.today(now)
    morning = AthleteMorning(
        person,
        today,
        books.advice.latest(athlete_id, today),
        books.check_ins.last_dates(today).get(athlete_id),
    )
    what_if = its.advisor.library.what_if(its.in_force(books, athlete_id, today))
    outlook = look_ahead(books, what_if, athlete_id, now, _OUTLOOK_DAYS)
    return told_morning(morning), tell_days(read_weeks(books, person, today, days), days), outlook


def _months(weeks: Sequence[AthleteDay]) -> list[tuple[str, int]]:
    """The months over the days' columns, each with how many of them it spans."""
    by_month = groupby(weeks, lambda day: day.date.isoformat().rpartition("-")[0])
    return [(month, len(list(days))) for month, days in by_month]


def _groups(weeks: Sequence[AthleteDay]) -> tuple[list[str], list[str]]:
    """The muscle groups that were reported on some day, and those that never were."""
    every = Vocabulary.shipped().muscle_groups
    seen = {group for day in weeks for group in day.soreness}
    return [group for group in every if group in seen], [g for g in every if g not in seen]


@dataclass(frozen=True, slots=True)
class Line:
    """One line of a chart: its name in words, its path, and where it has points. ``style`` is
    ``each`` for what was reported, ``mean``, ``own`` for what it is held against, or ``stems``."""

    name: str
    style: str
    values: Values
    path: str
    points: Sequence[tuple[float, float]] = ()


@dataclass(frozen=True, slots=True)
class Chart:
    """A chart with its words: ``described`` says it all to who cannot see it."""

    id: str
    title: str
    described: str
    scale: Scale
    ticks: Sequence[tuple[float, str]]
    """The heights of the round numbers, and how they are written."""
    lines: Sequence[Line]
    rows: Sequence[tuple[date, Sequence[str]]]
    """The same as a table: a date, and the value of each line on it."""


def _charts(weeks: Sequence[AthleteDay], day_width: int) -> Iterator[Chart]:
    """The charts for which anything was reported."""
    drawn: tuple[tuple[str, dict[str, Callable[[AthleteDay], float | None]]], ...] = (
        (
            "sleep",
            {"each": lambda day: day.sleep_hours, "own": lambda day: day.sleep_need_hours},
        ),
        ("load", {"stems": lambda day: day.load}),
        (
            "resting_hr",
            {
                "each": lambda day: day.heart.resting_hr_bpm,
                "own": lambda day: day.heart.resting_hr_median_bpm,
            },
        ),
        (
            "hrv",
            {
                "each": lambda day: day.heart.hrv_ln,
                "mean": lambda day: day.heart.hrv_mean_ln,
                "own": lambda day: day.heart.hrv_band_low_ln,
                "own_high": lambda day: day.heart.hrv_band_high_ln,
            },
        ),
    )
    for name, read in drawn:
        values = {style: [of(day) for day in weeks] for style, of in read.items()}
        reported = next(iter(values.values()))
        if any(value is not None for value in reported):
            yield _chart(name, weeks, values, day_width)


def _chart(
    name: str, weeks: Sequence[AthleteDay], values: dict[str, list[float | None]], day_width: int
) -> Chart:
    scale = Scale.over(values.values(), day_width, least=0 if "stems" in values else None)
    reported = [value for value in next(iter(values.values())) if value is not None]
    described = say(
        "coach_athlete.described",
        first=weeks[0].date,
        last=weeks[-1].date,
        known=len(reported),
        days=len(weeks),
        least=_number(min(reported)),
        greatest=_number(max(reported)),
        latest=_number(reported[-1]),
    )
    return Chart(
        id=name,
        title=say(f"coach_athlete.chart_{name}"),
        described=described,
        scale=scale,
        ticks=[(height, texts().number(said)) for height, said in scale.ticks()],
        lines=[_line(name, style, of, scale) for style, of in values.items()],
        rows=[
            (day.date, [_number(of[index]) for of in values.values()])
            for index, day in enumerate(weeks)
        ],
    )


def _line(chart: str, style: str, values: Values, scale: Scale) -> Line:
    name = say(f"coach_athlete.line_{chart}_{style}")
    match style:
        case "stems":
            return Line(name, style, values, scale.stems(values))
        case "own" | "own_high":
            return Line(name, "own", values, scale.level(values))
        case _:
            return Line(name, style, values, scale.line(values), scale.points(values))


def _number(value: float | None) -> str:
    if value is None:
        return say("coach_athlete.not_known")
    return texts().number(f"{round(value, 2):g}")


def _kinds_of(sessions: Sequence[Session]) -> list[str]:
    """The kinds of work of a day's sessions, each once: growth, force, endurance, other."""
    kinds = Vocabulary.shipped().goals
    return list(dict.fromkeys(kinds[block.goal] for one in sessions for block in one.blocks))


def _session_words(session: Session) -> dict[str, Any]:
    """A session as it stands in the table of sessions."""
    goals = dict.fromkeys(label(block.goal) for block in session.blocks)
    return {
        "what": texts().listing([*goals]),
        "minutes": _number(session.minutes),
        "rpe": _number(session.rpe),
    }


def _clock(time_zone: str) -> Callable[[Session], str]:
    zone = ZoneInfo(time_zone)
    return lambda session: session.starts_at.astimezone(zone).strftime("%H:%M")
