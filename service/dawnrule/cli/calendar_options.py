"""Competitions and phases of the plan, as they are typed and listed at the command line."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime, time
from typing import Any
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

import click

from dawnrule.model.entities import Athlete

Plain = dict[str, Any]


def competitions_typed(
    ctx: click.Context, parameter: click.Parameter, typed: Sequence[str]
) -> list[Plain]:
    """Split competitions into their words: ``2026-04-18 main``, with a time after the date and a
    name at the end. What is wrong with one of the words is for the schema to say."""
    return [_competition(text) for text in typed]


def phases_typed(
    ctx: click.Context, parameter: click.Parameter, typed: Sequence[str]
) -> list[Plain]:
    """Split phases of the plan into their words: ``2026-03-01 2026-04-12 build``."""
    return [_phase(text) for text in typed]


def _competition(text: str) -> Plain:
    day, *words = text.split() or [""]
    clock = words.pop(0) if words and _clock(words[0]) else None
    if not words:
        raise click.BadParameter(
            f"{text!r} lacks a rank; write it like '2026-04-18 14:00 main Spring meet'."
        )
    rank, *name = words
    competition = {"date": day, "clock": clock, "rank": rank, "name": " ".join(name)}
    return {key: said for key, said in competition.items() if said}


def _phase(text: str) -> Plain:
    words = text.split()
    if len(words) != len(_OF_A_PHASE):
        raise click.BadParameter(
            f"{text!r} must be two dates and a phase, like '2026-03-01 2026-04-12 build'."
        )
    return dict(zip(_OF_A_PHASE, words, strict=True))


_OF_A_PHASE = ("from", "until", "phase")


def with_moments(competitions: Sequence[Plain], time_zone: str) -> list[Plain]:
    """Return the competitions with their start as a moment, by the clock where the athlete
    lives."""
    return [_with_moment(competition, time_zone) for competition in competitions]


def joined(before: Sequence[Plain], added: Sequence[Plain]) -> list[Plain]:
    """Join competitions in the order of their dates; those of a date that is said anew are
    replaced."""
    said_anew = {competition["date"] for competition in added}
    kept = [competition for competition in before if competition["date"] not in said_anew]
    return sorted([*kept, *added], key=lambda competition: str(competition["date"]))


def next_competition(athlete: Athlete, today: date) -> str:
    """Write the date, the rank and the name of the next competition, empty if there is none."""
    ahead = [one for one in athlete.competitions or () if one.date >= today]
    if not ahead:
        return ""
    first = min(ahead, key=lambda one: one.date)
    return " ".join(filter(None, (first.date.isoformat(), first.rank, first.name)))


def phase_on(athlete: Athlete, today: date) -> str:
    """Write the phase of a date with its last day, empty if there is none."""
    for phase in athlete.phases or ():
        if phase.first <= today <= phase.last:
            return f"{phase.phase} until {phase.last}"
    return ""


def _with_moment(competition: Plain, time_zone: str) -> Plain:
    plain = {name: said for name, said in competition.items() if name != "clock"}
    clock = _clock(competition.get("clock", ""))
    if clock is None:
        return plain
    try:
        at = datetime.combine(date.fromisoformat(plain["date"]), clock, ZoneInfo(time_zone))
    except (ValueError, ZoneInfoNotFoundError):
        return plain  # the schema refuses the date or the zone, and says what it accepts
    return plain | {"starts_at": at.isoformat()}


def _clock(word: str) -> time | None:
    try:
        return time.fromisoformat(word) if ":" in word else None
    except ValueError:
        return None
