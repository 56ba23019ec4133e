"""Time zones: the names that are accepted, and the zone of a name."""

from __future__ import annotations

from functools import cache
from importlib.resources import files
from zoneinfo import ZoneInfo

from dawnrule.errors import Conflict

_NO_PLACE = {"Factory"}
"""Zones that stand in the data for a machine that was not told where it is."""


@cache
def time_zone_names() -> frozenset[str]:
    """List the zones of the tzdata package, which is installed with the service. A machine may have
    more, such as ``localtime``: they mean something else, or nothing, on the next machine."""
    listed = files("tzdata").joinpath("zones").read_text(encoding="utf-8")
    return frozenset(listed.split()) - _NO_PLACE


def zone_of_city(text: str) -> str:
    """Return the zone whose name ends with a city, such as ``Europe/Oslo`` for Oslo; the text as it
    is where it is a zone already, or where no zone or several are meant."""
    if text in time_zone_names():
        return text
    return _zones_by_city().get(text.strip().replace(" ", "_").casefold(), text)


@cache
def _zones_by_city() -> dict[str, str]:
    found: dict[str, list[str]] = {}
    for name in time_zone_names():
        area, _, city = name.rpartition("/")
        if area:
            found.setdefault(city.casefold(), []).append(name)
    return {city: names[0] for city, names in found.items() if len(names) == 1}


def zone_named(name: str) -> ZoneInfo:
    """Load a time zone. Raises ``Conflict`` for one that this machine does not have: an athlete may
    have been stored with it elsewhere, or before such names were refused."""
    try:
        return ZoneInfo(name)
    except (OSError, ValueError, LookupError) as error:
        raise Conflict(
            f"The athlete's time zone, {name!r}, cannot be loaded here, so nobody knows which date "
            "it is there. Give the athlete an IANA time zone like Europe/Berlin."
        ) from error


def zone_or_utc(name: str) -> ZoneInfo:
    """Load a time zone, or UTC in place of one that cannot be loaded: for lists of many athletes,
    of whom one must not take away the others'."""
    try:
        return zone_named(name)
    except Conflict:
        return ZoneInfo("Etc/UTC")
