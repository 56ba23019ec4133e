"""The outlook and today's verdict, and laid-out weeks, as a calendar (RFC 5545 and 7986).

The same facts give the same bytes, so that a calendar program that asks again learns that nothing
has changed.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterator, Sequence
from datetime import UTC, date, datetime, time, timedelta
from typing import TYPE_CHECKING
from uuid import NAMESPACE_OID, uuid5
from zoneinfo import ZoneInfo

from icalendar import Calendar, Event, vDuration

from dawnrule.advice.composer import Composer
from dawnrule.advice.outlook import OutlookReport
from dawnrule.advice.summary import verdict_text
from dawnrule.i18n.catalog import capital
from dawnrule.model.advice import Advice, NoAdvice
from dawnrule.model.entities import Athlete
from dawnrule.model.time_zones import zone_named

if TYPE_CHECKING:
    from dawnrule.week.report import WeekReport

_PRODUCT = "-//Dawnrule//Outlook//EN"
_ASK_AGAIN_AFTER = timedelta(hours=1)


def calendar_of(
    athlete: Athlete,
    today: date,
    advice: Advice | NoAdvice,
    as_of: datetime | None,
    outlook: OutlookReport,
    composer: Composer,
) -> bytes:
    """Build a calendar with one event for each muscle group and opening time, and an all-day event
    for the verdict; ``as_of`` (aware) is when the advice was given."""
    zone = zone_named(athlete.time_zone)
    midnight = datetime.combine(today, time.min, zone)
    stamp = max(midnight, as_of or midnight).astimezone(UTC).replace(microsecond=0)
    calendar = _empty_calendar(composer)
    if isinstance(advice, Advice):
        calendar.add_component(_verdict(athlete, today, advice, stamp, composer))
    for event in _openings(athlete, outlook, composer):
        event.add("dtstamp", stamp)
        calendar.add_component(event)
    calendar.add_missing_timezones()
    return bytes(calendar.to_ical())


def calendar_of_weeks(
    athletes: Sequence[Athlete], reports: Sequence[WeekReport], composer: Composer, now: datetime
) -> bytes:
    """Build a calendar of laid-out weeks, each session on the clock of its athlete; ``athletes``
    are those of the reports, in any order. A session that moves within its week keeps its event."""
    by_id = {athlete.id: athlete for athlete in athletes}
    calendar = _empty_calendar(composer, composer.texts.say("week.calendar_name"))
    for report in reports:
        athlete = by_id[report.athlete_id]
        for event in _sessions(athlete, report, len(reports) > 1):
            event.add("dtstamp", now.astimezone(UTC).replace(microsecond=0))
            calendar.add_component(event)
    calendar.add_missing_timezones()
    return bytes(calendar.to_ical())


def _sessions(athlete: Athlete, report: WeekReport, is_named: bool) -> Iterator[Event]:
    zone, seen = zone_named(athlete.time_zone), Counter[tuple[date, str]]()
    for session in report.sessions:
        day = session.starts_at.astimezone(zone).date()
        monday = day - timedelta(days=day.weekday())
        seen[monday, session.name] += 1
        which = f"week/{monday}/{session.name}/{seen[monday, session.name]}"
        name = f"{athlete.name}: {session.name}" if is_named else session.name
        event = _event(athlete, which, name)
        event["transp"] = "OPAQUE"
        event.add("dtstart", local_time(session.starts_at, zone))
        event.add("dtend", local_time(session.starts_at + timedelta(minutes=session.minutes), zone))
        fallback = session.fallback.text if session.fallback else ""
        if said := " ".join(filter(None, (session.because, fallback))):
            event.add("description", said)
        yield event


def _empty_calendar(composer: Composer, name: str | None = None) -> Calendar:
    name = name or composer.texts.say("phone.calendar_name")
    calendar = Calendar()
    calendar.add("prodid", _PRODUCT)
    calendar.add("version", "2.0")
    calendar.add("name", name)
    calendar.add("x-wr-calname", name)
    calendar.add("refresh-interval", _ASK_AGAIN_AFTER, parameters={"VALUE": "DURATION"})
    calendar.add("x-published-ttl", vDuration(_ASK_AGAIN_AFTER))
    return calendar


def _verdict(
    athlete: Athlete, today: date, advice: Advice, stamp: datetime, composer: Composer
) -> Event:
    lines = (advice.headline, advice.reason, advice.caution)
    event = _event(athlete, f"verdict/{today}", verdict_text(advice, composer))
    event.add("dtstamp", stamp)
    event.add("last-modified", stamp)
    event.add("dtstart", today)
    event.add("description", "\n".join(dict.fromkeys(filter(None, lines))))
    return event


def _openings(athlete: Athlete, outlook: OutlookReport, composer: Composer) -> Iterator[Event]:
    """Yield what opens later than now; goals that open for a muscle group at one time share an
    event."""
    goals_at: dict[tuple[str, datetime], list[str]] = defaultdict(list)
    for prospect in outlook.prospects:
        if prospect.opens_at and not prospect.open_now:
            opens_at = prospect.opens_at.astimezone(UTC)  # local times may name two moments
            goals_at[prospect.muscle_group, opens_at].append(prospect.goal)
    for (group, opens_at), goals in goals_at.items():
        event = _opening(athlete, group, opens_at, goals, composer)
        event.add("description", " ".join(filter(None, (outlook.note, outlook.assumes))))
        yield event


def _opening(
    athlete: Athlete, group: str, opens_at: datetime, goals: list[str], composer: Composer
) -> Event:
    """Build an event identified by its muscle group and first goal, so that it moves in the
    calendar when the time changes."""
    words = composer.vocabulary
    text = composer.texts.say(
        "phone.calendar_opens",
        muscle_group=words.label(group),
        goals=composer.texts.listing([words.label(goal) for goal in goals]),
    )
    event = _event(athlete, f"opens/{group}/{goals[0]}", capital(text))
    event.add("dtstart", local_time(opens_at, zone_named(athlete.time_zone)))
    return event


def _event(athlete: Athlete, what: str, summary: str) -> Event:
    """Build an event that does not block time."""
    event = Event()
    event.add("uid", str(uuid5(NAMESPACE_OID, f"dawnrule/{athlete.id}/{what}")))
    event.add("summary", summary)
    event.add("transp", "TRANSPARENT")
    return event


def local_time(moment: datetime, zone: ZoneInfo) -> datetime:
    """Convert a time to a zone. In the hour that a clock shows twice, iCalendar can name the first
    only; the second is given in UTC."""
    at = moment.astimezone(zone)
    return at.astimezone(UTC) if at.fold else at
