"""Facts of the calendar, a journey, heat and what is taken before a session (pure)."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import datetime, time, timedelta
from math import exp

from dawnrule.facts.history import Past, Unavailable
from dawnrule.model import FactValue
from dawnrule.model.entities import Block, Competition, Heat
from dawnrule.model.time_zones import zone_named
from dawnrule.model.training import hours_between

NOON = time(12)
RANKS_THAT_COUNT = frozenset({"main", "minor"})


def estimated_wbgt_c(temperature_c: float, humidity_percent: float) -> float:
    """Estimate the wet-bulb globe temperature in moderate sun and light wind, in °C.

    0.567 T + 0.393 e + 3.94 with the vapour pressure e in hPa, as the Australian Bureau of
    Meteorology does (from memory).
    """
    saturated = 6.105 * exp(17.27 * temperature_c / (237.7 + temperature_c))
    vapour_pressure = humidity_percent / 100 * saturated
    return 0.567 * temperature_c + 0.393 * vapour_pressure + 3.94


def wbgt_c(heat: Heat) -> float | None:
    """Return the wet-bulb globe temperature: as told, else estimated from air and humidity."""
    if heat.wbgt_c is not None:
        return heat.wbgt_c
    if heat.temperature_c is None or heat.humidity_percent is None:
        return None
    return estimated_wbgt_c(heat.temperature_c, heat.humidity_percent)


def circumstance_facts(past: Past) -> Iterator[tuple[str, FactValue | None]]:
    """Yield what the calendar and the check-in, but for its plan, say of the day; None for what
    they leave out."""
    check_in = past.check_in
    yield "phase", _phase(past)
    if check_in.journey is not None:
        yield "time_zones_crossed", check_in.journey.time_zones_crossed
        yield "days_since_arrival", max((check_in.date - check_in.journey.arrived_on).days, 0)
    if check_in.heat is not None:
        yield "wbgt_c", wbgt_c(check_in.heat)
        yield "heat_acclimatised", check_in.heat.acclimatised
    if (takes := check_in.takes) is not None:
        caffeine, bicarbonate = bool(takes.caffeine_mg), bool(takes.bicarbonate_g)
        creatine = bool(takes.creatine_g)
        yield "takes_caffeine", caffeine
        yield "takes_bicarbonate", bicarbonate
        yield "takes_creatine", creatine
        yield "takes_something", caffeine or bicarbonate or creatine or takes.other is not None


def competes_today(past: Past) -> bool:
    """Return whether the plan holds a competition."""
    return any(block.competition for block in past.check_in.plan)


def caffeine_mg_per_kg(past: Past) -> float | Unavailable | None:
    """Return the caffeine for each kilogram of body mass; None where none is taken."""
    takes = past.check_in.takes
    if takes is None or not takes.caffeine_mg:
        return None
    if past.athlete.body_mass_kg is None:
        return Unavailable("needs the body mass, which is not known")
    return takes.caffeine_mg / past.athlete.body_mass_kg


def competition_starts(past: Past) -> list[datetime]:
    """Return when the competitions that count begin, those of the plan among them."""
    starts = [
        _starts_at(past, one)
        for one in past.athlete.competitions or ()
        if one.rank in RANKS_THAT_COUNT
    ]
    plan = past.check_in.plan
    return starts + [one.starts_at for one in plan if one.competition and one.starts_at is not None]


def hours_to_competition(
    past: Past, competitions: Sequence[datetime], block: Block, start: datetime
) -> float | None:
    """Return the hours to the next of the competitions, of those within two weeks."""
    if block.competition or not competitions:
        return None
    longest = timedelta(days=past.parameters("hours_to_competition")["days"])
    ahead = [at for at in competitions if start <= at <= start + longest]
    return hours_between(start, min(ahead)) if ahead else None


def _starts_at(past: Past, competition: Competition) -> datetime:
    if competition.starts_at is not None:
        return competition.starts_at
    return datetime.combine(competition.date, NOON, zone_named(past.athlete.time_zone))


def _phase(past: Past) -> str | None:
    day = past.check_in.date
    phases = past.athlete.phases or ()
    return next((one.phase for one in phases if one.first <= day <= one.last), None)
