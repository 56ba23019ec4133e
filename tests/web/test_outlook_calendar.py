"""The outlook as a calendar, read by two independent calendar libraries."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from icalendar import Calendar

from dawnrule.store import PrivateAddress, Purpose, Store, hash_token, new_token
from dawnrule.web.private.calendar import local_time
from tests.conftest import Client, Clock
from tests.factories import EXAMPLE, SESSION

BERLIN = ZoneInfo("Europe/Berlin")

Ask = Callable[[], bytes]


@pytest.fixture
def ask(client: Client, store: Store, squad: Any, clock: Clock) -> Ask:
    """Gets a-03's calendar."""
    token = new_token()
    address = PrivateAddress("p-01", Purpose.READ, "a-03", None, clock(), None)
    store.write(lambda transaction: transaction.private_addresses.add(address, hash_token(token)))

    def get() -> bytes:
        answer = client.get(f"/feeds/{token}/outlook.ics")
        assert answer.content_type == "text/calendar; charset=utf-8"
        body: bytes = answer.data
        return body

    return get


def train(coach: Client, starts_at: str) -> None:
    """Growth work for the quadriceps."""
    block = {"goal": "hypertrophy", "muscle_groups": ["quadriceps"], "modality": "free-weights"}
    session = SESSION | {"starts_at": starts_at, "blocks": [block]}
    assert coach.post("/v1/sessions", json=session).status_code == 201


def events_of(text: bytes) -> list[Any]:
    return list(Calendar.from_ical(text).walk("VEVENT"))


def openings(text: bytes) -> dict[str, Any]:
    """When each event of a time begins, by its summary."""
    return {
        str(event["summary"]): event["dtstart"].dt
        for event in events_of(text)
        if isinstance(event["dtstart"].dt, datetime)
    }


def test_two_calendar_programs_read_the_same_events(coach: Client, ask: Ask) -> None:
    train(coach, "2026-03-08T18:00:00+01:00")
    coach.post("/v1/check-ins", json=EXAMPLE)
    text = ask()
    other = events_elsewhere(text)
    read = {(str(e["uid"]), str(e["summary"]), e["dtstart"].dt) for e in events_of(text)}
    assert read
    assert read == {(event.uid, event.summary, event.dtstart) for event in other}


def test_todays_verdict_takes_the_day_and_keeps_nobody_from_being_booked(
    coach: Client, ask: Ask
) -> None:
    advice = coach.post("/v1/check-ins", json=EXAMPLE).json
    [verdict] = [event for event in events_of(ask()) if event["dtstart"].dt == date(2026, 3, 9)]
    assert str(verdict["summary"]) == "Rest"
    assert advice["headline"] in str(verdict["description"])
    assert advice["caution"] in str(verdict["description"])
    assert str(verdict["transp"]) == "TRANSPARENT"


def test_without_a_check_in_there_is_no_verdict(ask: Ask) -> None:
    events = events_of(ask())
    assert all(isinstance(event["dtstart"].dt, datetime) for event in events)


def test_what_is_not_known_without_a_check_in_stands_first_in_the_description(
    coach: Client, ask: Ask
) -> None:
    train(coach, "2026-03-08T18:00:00+01:00")
    assert str(growth_event(ask())["description"]).startswith("There is no check-in today. ")
    coach.post("/v1/check-ins", json={"athlete_id": "a-03", "date": "2026-03-09", "plan": []})
    assert str(growth_event(ask())["description"]).startswith("This assumes that ")


def test_what_opens_later_stands_at_its_time_in_the_athletes_zone(coach: Client, ask: Ask) -> None:
    train(coach, "2026-03-08T18:00:00+01:00")
    opens = openings(ask())
    [growth] = [at for summary, at in opens.items() if "growth work" in summary]
    prospects = coach.get("/v1/athletes/a-03/outlook").json["prospects"]
    [told] = [
        one["opens_at"]
        for one in prospects
        if (one["muscle_group"], one["goal"]) == ("quadriceps", "hypertrophy")
    ]
    assert growth == datetime.fromisoformat(told)
    assert growth.tzinfo is not None
    assert str(growth.tzinfo) == "Europe/Berlin"


@pytest.mark.parametrize(
    ("trained", "now"),
    [
        ("2026-03-28T09:00:00+01:00", "2026-03-28T12:00:00+01:00"),
        ("2026-10-24T09:00:00+02:00", "2026-10-24T12:00:00+02:00"),
    ],
    ids=["spring", "autumn"],
)
def test_hours_are_hours_over_a_change_of_the_clocks(
    coach: Client, ask: Ask, clock: Clock, trained: str, now: str
) -> None:
    """Berlin's clocks change on 29 March and 25 October 2026 (IANA time zone database)."""
    clock.set(now)
    train(coach, trained)
    text = ask()
    prospects = coach.get("/v1/athletes/a-03/outlook").json["prospects"]
    told = {
        datetime.fromisoformat(one["opens_at"]).astimezone(UTC)
        for one in prospects
        if one["opens_at"] and not one["open_now"]
    }
    assert max(told) > datetime.fromisoformat(now) + timedelta(hours=18), "past the change"
    assert {at.astimezone(UTC) for at in openings(text).values()} == told
    read = events_elsewhere(text)
    assert {event.dtstart.astimezone(UTC) for event in read} == told
    assert b"BEGIN:VTIMEZONE" in text


def events_elsewhere(text: bytes) -> list[Any]:
    """The events as another library reads them."""
    from ical.calendar_stream import IcsCalendarStream  # slow, where all tests are collected

    return list(IcsCalendarStream.calendar_from_ics(text.decode()).events)


def test_a_time_in_the_hour_that_clocks_show_twice_is_given_in_utc() -> None:
    """A calendar can name the first of the two only (RFC 5545, 3.3.5)."""
    first = datetime(2026, 10, 25, 0, 30, tzinfo=UTC)
    second = first + timedelta(hours=1)
    assert local_time(first, BERLIN).tzinfo is BERLIN
    assert local_time(second, BERLIN).tzinfo is UTC
    assert local_time(second, BERLIN) == second


def test_the_text_keeps_to_the_form(coach: Client, ask: Ask) -> None:
    """RFC 5545, 3.1: lines end in CRLF and have at most 75 octets; 3.6: what must be there.
    RFC 7986, 5.7: how soon it is worth asking again."""
    train(coach, "2026-03-08T18:00:00+01:00")
    coach.post("/v1/check-ins", json=EXAMPLE)
    text = ask()
    lines = text.split(b"\r\n")
    assert all(len(line) <= 75 for line in lines)
    assert all(b"\n" not in line for line in lines)
    assert lines[0] == b"BEGIN:VCALENDAR"
    assert {b"VERSION:2.0", b"PRODID:-//Dawnrule//Outlook//EN"} <= set(lines)
    assert {b"REFRESH-INTERVAL;VALUE=DURATION:PT1H", b"X-PUBLISHED-TTL:PT1H"} <= set(lines)
    events = events_of(text)
    assert all({"UID", "DTSTAMP", "DTSTART", "SUMMARY"} <= set(event) for event in events)
    assert len({str(event["uid"]) for event in events}) == len(events)
    assert all(event.errors == [] for event in events)


def test_an_event_keeps_its_uid_when_its_time_changes(
    coach: Client, ask: Ask, clock: Clock
) -> None:
    train(coach, "2026-03-08T18:00:00+01:00")
    before = growth_event(ask())
    clock.set("2026-03-09T12:00:00+01:00")
    train(coach, "2026-03-09T10:00:00+01:00")
    after = growth_event(ask())
    assert before["dtstart"].dt < after["dtstart"].dt
    assert str(before["uid"]) == str(after["uid"])


def growth_event(text: bytes) -> Any:
    events = events_of(text)
    [found] = [
        e for e in events if str(e["summary"]).startswith("Quadriceps: ready again for growth")
    ]
    return found


def test_uids_do_not_tell_whose_they_are(coach: Client, ask: Ask) -> None:
    coach.post("/v1/check-ins", json=EXAMPLE)
    text = ask()
    assert b"a-03" not in text
    assert b"Mara" not in text
