"""An athlete's last weeks: reports, charts, what was done beside the advice, what opens when."""

from __future__ import annotations

from bisect import bisect
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import groupby
from math import ceil, floor, log10
from typing import Self

from flask import render_template, request

from dawnrule.advice.concern_text import describe_concern
from dawnrule.advice.done import Difference
from dawnrule.advice.outlook import Outlook, OutlookReport, outlook_of_groups
from dawnrule.analytics.squad import AthleteMorning, MorningSummary
from dawnrule.analytics.timeline import AthleteDay, describe_days, read_weeks
from dawnrule.application.athletes import require_athlete
from dawnrule.application.outlooks import read_outlook
from dawnrule.application.recoveries import RecoveryQuestion
from dawnrule.application.targets import read_targets
from dawnrule.errors import NotFound
from dawnrule.model import Vocabulary
from dawnrule.model.entities import Pain, Session
from dawnrule.model.time_zones import zone_named
from dawnrule.store import Transaction
from dawnrule.web.coach.concerns import read_concern_texts
from dawnrule.web.coach.layout import coach
from dawnrule.web.coach.morning import last_check_in, parts_of, summarize_morning
from dawnrule.web.context import context
from dawnrule.web.http.locale import composer, label, say, texts

Values = Sequence[float | None]

LABEL_WIDTH = 104
RIGHT_LABEL_WIDTH = 36
HEIGHT = 128
_MARGIN = 12
_TICKS = 4
_NICE_STEPS = (1, 2, 5, 10)


@dataclass(frozen=True, slots=True)
class Scale:
    """The axes of a chart: days from left to right, values from ``least`` up to ``greatest``."""

    days: int
    day_width: int
    least: float
    greatest: float
    step: float

    @classmethod
    def over(cls, every: Iterable[Values], day_width: int, least: float | None = None) -> Self:
        """Build axes that hold all values of several lines, of which at least one is known; from
        ``least`` on, or from a round number below the smallest."""
        lines = list(every)
        known = [value for line in lines for value in line if value is not None]
        low = min(known) if least is None else least
        step = _nice_step((max(known) - low) / _TICKS)
        bottom = floor(low / step) * step
        top = max(ceil(max(known) / step) * step, bottom + step)
        return cls(len(lines[0]), day_width, bottom, top, step)

    @property
    def width(self) -> int:
        """The width of the chart, with the labels on both sides."""
        return self.right + RIGHT_LABEL_WIDTH

    @property
    def right(self) -> int:
        """The right edge of the last day."""
        return LABEL_WIDTH + self.days * self.day_width

    def x(self, day: float) -> float:
        """Return the middle of a day, counted from 0."""
        return LABEL_WIDTH + (day + 0.5) * self.day_width

    def y(self, value: float) -> float:
        """Return the height of a value; 0 is at the top of the chart."""
        share = (value - self.least) / (self.greatest - self.least)
        return round(HEIGHT - _MARGIN - share * (HEIGHT - 2 * _MARGIN), 1)

    def ticks(self) -> list[tuple[float, str]]:
        """List the heights of the round numbers, with their text (decimal point)."""
        count = round((self.greatest - self.least) / self.step)
        values = (self.least + index * self.step for index in range(count + 1))
        return [(self.y(value), f"{round(value, 6):g}") for value in values]

    def points(self, values: Values) -> list[tuple[float, float]]:
        """List the middle of each day that has a value."""
        return [(self.x(day), self.y(v)) for day, v in enumerate(values) if v is not None]

    def line(self, values: Values) -> str:
        """Draw a path from day to day, interrupted where a day has no value."""
        return " ".join(
            "M" + "L".join(f"{self.x(day):g} {self.y(value):g}" for day, value in run)
            for run in _runs(values)
        )

    def level(self, values: Values) -> str:
        """Draw a path that is level over the width of each day and steps where the value
        changes."""
        return " ".join(
            "M" + "L".join(self._over_day(day, value) for day, value in run)
            for run in _runs(values)
        )

    def stems(self, values: Values) -> str:
        """Draw a vertical line for each value other than 0, from the bottom of the chart."""
        bottom = self.y(self.least)
        return "".join(f"M{x:g} {bottom:g}V{y:g}" for x, y in self.points(values) if y != bottom)

    def _over_day(self, day: int, value: float) -> str:
        left, right, y = self.x(day - 0.5), self.x(day + 0.5), self.y(value)
        return f"{left:g} {y:g}L{right:g} {y:g}"


def _runs(values: Values) -> Iterator[list[tuple[int, float]]]:
    """Group the days that have values into stretches without a gap."""
    for is_known, run in groupby(enumerate(values), lambda entry: entry[1] is not None):
        if is_known:
            yield [(day, value) for day, value in run if value is not None]


def _nice_step(rough: float) -> float:
    """Return the next larger of 1, 2, 5, 10, 20, ... and of their tenths, hundredths and so on."""
    if rough <= 0:
        return 1
    power = 10.0 ** floor(log10(rough))
    return next((nice * power for nice in _NICE_STEPS if nice * power >= rough), 10 * power)


DAY_WIDTHS = {7: 31, 28: 30, 84: 24}
"""How many days can be shown, and how wide each is then (CSS pixels), as in coach.css."""

_USUAL_DAYS = 28
_OUTLOOK_DAYS = 7
_OUTLOOK_GOAL = "hypertrophy"
_SHADES_BEGIN = (1, 3, 5, 7, 9)
"""The ratings of soreness at which the next darker shade begins; 0 has the first."""

_BEST_SLEEP, _SLEEP_STEP = 5, 2.25
"""From very good to very bad sleep in as many shades as from no soreness to much."""


@coach.get("/athletes/<athlete_id>")
def athlete(athlete_id: str) -> str:
    """Show an athlete's soreness, sleep, load and heart day by day, and what opens when."""
    days = _days_asked(request.args.get("days", str(_USUAL_DAYS)))
    summary, weeks, ahead = context().store.read(
        lambda transaction: _read(transaction, athlete_id, days)
    )
    ctx, said = context(), texts()
    now = ctx.clock()
    asked = RecoveryQuestion(athlete_id, "growth", now)
    recovery = ctx.store.read(lambda transaction: ctx.recoveries.read(transaction, asked, said))
    targets = ctx.store.read(lambda transaction: read_targets(transaction, athlete_id, said, now))
    outlook = OutlookReport.of(ahead, _OUTLOOK_GOAL, composer().texts)
    seen, never = _groups(weeks)
    return render_template(
        "coach/athlete.html",
        athlete=summary.morning.athlete,
        summary=summary,
        concerns=read_concern_texts(),
        days=days,
        spans=tuple(DAY_WIDTHS),
        weeks=weeks,
        months=_months(weeks),
        groups=seen,
        never=texts().listing([label(group) for group in never]),
        charts=list(_charts(weeks, DAY_WIDTHS[days])),
        outlook=outlook_of_groups(outlook, composer()),
        outlook_note=outlook.note,
        recovery=recovery,
        targets=targets.words(said),
        no_targets=targets.note,
        outlook_days=_OUTLOOK_DAYS,
        shade=lambda soreness: bisect(_SHADES_BEGIN, soreness),
        number=_number,
        kinds_of=_kinds_of,
        health_of=_health_of,
        scales=_SCALES,
        done_words=_done_words,
        session_words=_session_words,
        clock=_clock(summary.morning.athlete.time_zone),
        parts_of=parts_of,
        last_check_in=last_check_in,
        label_width=LABEL_WIDTH,
        height=HEIGHT,
    )


def _days_asked(text: str) -> int:
    """Parse the number of days to show. Raises ``NotFound`` for one that has no page."""
    for days in DAY_WIDTHS:
        if text == str(days):
            return days
    raise NotFound(f"There are pages of {texts().listing([*map(str, DAY_WIDTHS)])} days.")


def _read(
    transaction: Transaction, athlete_id: str, days: int
) -> tuple[MorningSummary, list[AthleteDay], Outlook]:
    ctx, now = context(), context().clock()
    person = require_athlete(transaction, athlete_id)
    today = person.today(now)
    morning = AthleteMorning(
        person,
        today,
        transaction.advice.latest(athlete_id, today),
        transaction.check_ins.last_dates(today).get(athlete_id),
    )
    what_if = ctx.advisor.library.what_if(ctx.rule_set_for(transaction, athlete_id, today))
    outlook = read_outlook(transaction, what_if, athlete_id, now, _OUTLOOK_DAYS)
    return (
        summarize_morning(morning),
        describe_days(read_weeks(transaction, person, today, days), days),
        outlook,
    )


def _months(weeks: Sequence[AthleteDay]) -> list[tuple[str, int]]:
    """Name each month and count its days, for the heads of the columns."""
    by_month = groupby(weeks, lambda day: day.date.month)
    return [(say(f"dates.months.{month}"), len(list(days))) for month, days in by_month]


def _groups(weeks: Sequence[AthleteDay]) -> tuple[list[str], list[str]]:
    """Split the muscle groups into those that were reported on some day and the others."""
    every = Vocabulary.bundled().muscle_groups
    seen = {group for day in weeks for group in day.soreness}
    return [group for group in every if group in seen], [g for g in every if g not in seen]


@dataclass(frozen=True, slots=True)
class Line:
    """One line of a chart: its name, path and points. ``style`` is ``each`` for reported values,
    ``mean``, ``own`` for what they are compared with, or ``stems``."""

    name: str
    style: str
    values: Values
    path: str
    points: Sequence[tuple[float, float]] = ()


@dataclass(frozen=True, slots=True)
class Chart:
    """A chart; ``described`` is its text for readers who cannot see it."""

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
    """Build the charts of everything that was reported."""
    charts: tuple[tuple[str, dict[str, Callable[[AthleteDay], float | None]]], ...] = (
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
    for name, read in charts:
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
        ticks=[(height, texts().number(text)) for height, text in scale.ticks()],
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
    """List the kinds of work in a day's sessions: growth, force, endurance, other."""
    kinds = Vocabulary.bundled().goals
    return list(dict.fromkeys(kinds[block.goal] for one in sessions for block in one.blocks))


@dataclass(frozen=True, slots=True)
class Health:
    """What a day says of pain, illness, warning signs and concerns: the text of each cell with the
    words for it, None for a question that was not answered. ``severity`` is that of the worst
    pain, None where none was given."""

    warning_signs: tuple[str, str] | None
    concerns: tuple[str, str]
    illness: tuple[str, str] | None
    pain: tuple[str, str] | None
    severity: float | None


def _health_of(day: AthleteDay) -> Health:
    """Put a day's answers that can stop training into cells."""
    check_in = day.check_in
    signs = check_in.warning_signs if check_in else None
    illness = check_in.illness if check_in else None
    pains = check_in.pain if check_in else None
    severities = [one.severity for one in pains or () if one.severity is not None]
    severity = max(severities, default=None)
    titles = [describe_concern(one, composer()).title for one in day.concerns]
    urgent = any(one.kind.is_warning_sign or one.suspected for one in day.concerns)
    return Health(
        None if signs is None else _cell("!" if signs else "", map(label, signs)),
        _cell("!" if urgent else "•" if titles else "", titles),
        None if illness is None else _cell(_of_illness(illness), [label(illness)]),
        None if pains is None else _cell(_of_pain(pains, severity), map(_where, pains)),
        severity,
    )


def _cell(sign: str, words: Iterable[str]) -> tuple[str, str]:
    return sign, texts().listing([*words]) or say("coach_athlete.nothing_there")


def _of_illness(illness: str) -> str:
    return "" if illness == "none" else say(f"coach_athlete.illness_{illness}")


def _of_pain(pains: Sequence[Pain], severity: float | None) -> str:
    if not pains:
        return ""
    return "•" if severity is None else _number(severity)


def _where(pain: Pain) -> str:
    return pain.where or texts().listing([*map(label, pain.muscle_groups)])


_SCALES: tuple[tuple[str, Callable[[AthleteDay], float | None], Callable[[float], float]], ...] = (
    ("fatigue", lambda day: day.check_in.fatigue if day.check_in else None, lambda value: value),
    ("stress", lambda day: day.check_in.stress if day.check_in else None, lambda value: value),
    (
        "sleep_quality",
        lambda day: day.check_in.sleep.quality if day.check_in else None,
        lambda value: (_BEST_SLEEP - value) * _SLEEP_STEP,
    ),
)
"""The ratings of a day: name, value, and the soreness whose shade it has; sleep counts from 5 (very
good) down to 1."""


@dataclass(frozen=True, slots=True)
class DoneWords:
    """What a day came to beside its advice, in words."""

    advised: str
    done: str
    outcome: str
    differences: Sequence[str]


def _done_words(day: AthleteDay) -> DoneWords | None:
    """Describe a day's training beside its advice; None where there is nothing to compare."""
    if day.done is None or day.verdict is None:
        return None
    said = [_session_words(one) for one in day.sessions]
    done = [say("coach_athlete.did", what=one.what, minutes=one.minutes) for one in said]
    return DoneWords(
        label(day.verdict),
        "; ".join(done) or say("coach_athlete.no_session"),
        say(f"done.{day.done.outcome}"),
        [*map(_difference, day.done.differences)],
    )


def _difference(one: Difference) -> str:
    values = {"advised": _number(one.advised), "done": _number(one.done)}
    return say(f"done.differs_{one.what}", goal=label(one.goal), **values)


@dataclass(frozen=True, slots=True)
class SessionWords:
    """A session in words."""

    what: str
    minutes: str
    rpe: str


def _session_words(session: Session) -> SessionWords:
    """Describe a session for the table of sessions."""
    goals = dict.fromkeys(label(block.goal) for block in session.blocks)
    what = texts().listing([*goals])
    return SessionWords(what, _number(session.minutes), _number(session.rpe))


def _clock(time_zone: str) -> Callable[[Session], str]:
    zone = zone_named(time_zone)
    return lambda session: session.starts_at.astimezone(zone).strftime("%H:%M")
