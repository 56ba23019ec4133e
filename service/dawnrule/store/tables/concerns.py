"""Concerns and their events; each event is vouched for by an act in the ledger.

Events are only added. The act names the athlete and the concern, and holds the digest of the event
after a random salt, which is stored here: so an erased event cannot be guessed from the ledger.
Rows are deleted only with their athlete, or by retention once the concern has ended.
"""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime
from itertools import groupby
from secrets import token_hex

from dawnrule.model.concern_transitions import consider_report, health_report, new_concern_ids
from dawnrule.model.concerns import Concern, ConcernEvent, ConcernKind, concern_of
from dawnrule.model.entities import CheckIn
from dawnrule.model.serialization import canonical_json, from_json, to_json
from dawnrule.store.tables.ledger import Ledger, record_digest
from dawnrule.store.values import utc_time

SCHEMA = (
    """
    CREATE TABLE concerns (
        id TEXT NOT NULL PRIMARY KEY,
        athlete_id TEXT NOT NULL REFERENCES athletes (id) ON DELETE CASCADE,
        kind TEXT NOT NULL
    ) STRICT, WITHOUT ROWID
    """,
    "CREATE INDEX concerns_of_athlete ON concerns (athlete_id)",
    """
    CREATE TABLE concern_events (
        position INTEGER PRIMARY KEY REFERENCES ledger (position),
        concern_id TEXT NOT NULL REFERENCES concerns (id) ON DELETE CASCADE,
        number INTEGER NOT NULL CHECK (number > 0),
        event TEXT NOT NULL,
        on_date TEXT NOT NULL CHECK (length(on_date) = 10),
        state TEXT NOT NULL,
        body TEXT NOT NULL,
        salt TEXT NOT NULL,
        UNIQUE (concern_id, number)
    ) STRICT
    """,
    *(
        f"""
        CREATE TRIGGER {table}_stay_as_they_are BEFORE UPDATE ON {table}
        BEGIN SELECT RAISE(ABORT, 'what is known of a concern is never changed'); END
        """
        for table in ("concerns", "concern_events")
    ),
    """
    CREATE TRIGGER concern_events_grow_at_their_end BEFORE INSERT ON concern_events
    WHEN NEW.number IS NOT (
        SELECT coalesce(max(number), 0) + 1 FROM concern_events WHERE concern_id = NEW.concern_id
    )
    BEGIN SELECT RAISE(ABORT, 'the history of a concern grows at its end only'); END
    """,
    """
    CREATE TRIGGER concerns_leave_with_their_athlete_or_once_ended BEFORE DELETE ON concerns
    WHEN EXISTS (SELECT 1 FROM athletes WHERE id = OLD.athlete_id)
     AND NOT EXISTS (
        SELECT 1 FROM (
            SELECT state, on_date FROM concern_events WHERE concern_id = OLD.id
            ORDER BY number DESC LIMIT 1
        )
        WHERE state = 'closed' AND on_date < (SELECT max(before) FROM retention)
     )
    BEGIN
        SELECT RAISE(ABORT, 'a concern that has not ended is deleted only with its athlete');
    END
    """,
    """
    CREATE TRIGGER concern_events_leave_with_their_concern BEFORE DELETE ON concern_events
    WHEN EXISTS (SELECT 1 FROM concerns WHERE id = OLD.concern_id)
    BEGIN SELECT RAISE(ABORT, 'an event is never deleted, except with its concern'); END
    """,
)

_SALT_BYTES = 16
_MIGRATION = "service"  # who acts when a migration opens concerns

_LAST_STATE = """
    (SELECT state FROM concern_events WHERE concern_id = concerns.id
     ORDER BY number DESC LIMIT 1)
"""
_LAST_DATE = """
    (SELECT on_date FROM concern_events WHERE concern_id = concerns.id
     ORDER BY number DESC LIMIT 1)
"""
ENDED_BEFORE = f"{_LAST_STATE} = 'closed' AND {_LAST_DATE} < ?"
"""Condition on ``concerns``: ended, with the last event before a date."""

OLDEST_ENDED = f"SELECT min({_LAST_DATE}) FROM concerns WHERE {_LAST_STATE} = 'closed'"
"""Query of the earliest date on which a concern ended."""


@dataclass(frozen=True, slots=True)
class Concerns:
    """The concerns of the squad; each is read from its events."""

    connection: sqlite3.Connection

    def save(self, concern: Concern, *, by: str, at: datetime) -> None:
        """Store the events of a concern that are not stored yet, each with its act in the ledger.

        ``by`` is the id of a key or another actor of the activity log; ``at`` (aware) is now.
        """
        [(stored,)] = self.connection.execute(
            "SELECT count(*) FROM concern_events WHERE concern_id = ?", (concern.id,)
        )
        if not stored:
            self.connection.execute(
                "INSERT INTO concerns (id, athlete_id, kind) VALUES (?, ?, ?)",
                (concern.id, concern.athlete_id, concern.kind),
            )
        for number in range(stored + 1, len(concern.events) + 1):
            self._add(concern, number, by, at)

    def get(self, concern_id: str) -> Concern | None:
        """Find a concern by id; None if there is none."""
        return next(self._read("concerns.id = ?", concern_id), None)

    def of_athlete(self, athlete_id: str) -> list[Concern]:
        """Read all concerns of an athlete, ended ones too, in order of opening."""
        return list(self._read("athlete_id = ?", athlete_id))

    def current(self, athlete_id: str, on: date) -> list[Concern]:
        """Read the concerns of an athlete that have not ended, or whose last event is of a date or
        a later one, in order of opening."""
        where = f"athlete_id = ? AND ({_LAST_STATE} <> 'closed' OR {_LAST_DATE} >= ?)"
        return list(self._read(where, athlete_id, on.isoformat()))

    def not_ended(self) -> list[Concern]:
        """Read all concerns of the squad that have not ended, in order of opening."""
        return list(self._read(f"{_LAST_STATE} <> 'closed'"))

    def positions_of(self, athlete_id: str) -> list[int]:
        """List the ledger positions of the events of an athlete's concerns."""
        return self._positions("athlete_id = ?", athlete_id)

    def positions_ended_before(self, day: date) -> list[int]:
        """List the ledger positions of concerns that ended before a date."""
        return self._positions(ENDED_BEFORE, day.isoformat())

    def events_without_entry(self, limit: int) -> list[str]:
        """Find events that no act vouches for, as concern id and number; a sound database has
        none."""
        rows = self.connection.execute(
            """
            SELECT concern_id || ' ' || number FROM concern_events
            LEFT JOIN ledger USING (position)
            WHERE act IS NULL OR act <> 'concern-' || event ORDER BY position LIMIT ?
            """,
            (limit,),
        )
        return [named for (named,) in rows]

    def without_events(self, limit: int) -> list[str]:
        """Find concerns without any event, by id; a sound database has none."""
        rows = self.connection.execute(
            """
            SELECT id FROM concerns WHERE id NOT IN (SELECT concern_id FROM concern_events)
            ORDER BY id LIMIT ?
            """,
            (limit,),
        )
        return [concern_id for (concern_id,) in rows]

    def _add(self, concern: Concern, number: int, by: str, at: datetime) -> None:
        event = concern.events[number - 1]
        is_last = number == len(concern.events)
        state = (concern if is_last else _concern(concern, concern.events[:number])).state
        body = canonical_json(
            {
                "athlete_id": concern.athlete_id,
                "concern_id": concern.id,
                "event": to_json(event),
                "kind": concern.kind.value,
                "number": number,
                "state": state.value,
            }
        )
        salt = token_hex(_SALT_BYTES)
        about = {
            "athlete_id": concern.athlete_id,
            "concern_id": concern.id,
            "digest": record_digest(body, salt),
        }
        act = f"concern-{event.kind}"
        moment = at.astimezone(UTC).isoformat()
        position = Ledger(self.connection).add_act(
            act, {"act": act, "by": by, "at": moment, "about": about}, at
        )
        self.connection.execute(
            """
            INSERT INTO concern_events (position, concern_id, number, event, on_date, state, body,
                                        salt)
            VALUES (?, ?, ?, ?, ?, ?, ?, ?)
            """,
            (
                position,
                concern.id,
                number,
                event.kind,
                event.on.isoformat(),
                state,
                body,
                salt,
            ),
        )

    def _read(self, where: str, *values: str) -> Iterator[Concern]:
        rows = self.connection.execute(
            f"""
            SELECT concerns.id, athlete_id, concerns.kind, body,
                   min(position) OVER (PARTITION BY concerns.id) AS opened
            FROM concerns JOIN concern_events ON concern_id = concerns.id
            WHERE {where} ORDER BY opened, number
            """,
            values,
        ).fetchall()
        for (concern_id, athlete_id, kind), some in groupby(rows, lambda row: row[:3]):
            events = [from_json(ConcernEvent, json.loads(row[3])["event"]) for row in some]
            yield concern_of(concern_id, athlete_id, ConcernKind(kind), events)

    def _positions(self, where: str, value: str) -> list[int]:
        rows = self.connection.execute(
            f"""
            SELECT position FROM concern_events JOIN concerns ON concerns.id = concern_id
            WHERE {where} ORDER BY position
            """,
            (value,),
        )
        return [position for (position,) in rows]


def open_stored(connection: sqlite3.Connection) -> None:
    """Open concerns from the check-ins of an older database, in order of date and revision.

    Only those that have not ended are stored. No staged return begins here: an illness or a pain
    that was answered with none is over, and the next check-ins ease a head injury.
    """
    rows = connection.execute(
        """
        SELECT athlete_id, id, body, received_at FROM check_ins
        WHERE body LIKE '%"warning_signs"%' OR body LIKE '%"illness"%' OR body LIKE '%"pain"%'
        ORDER BY athlete_id, date, revision
        """
    ).fetchall()
    for _, some in groupby(rows, lambda row: row[0]):
        for concern in _concerns_in(row[1:] for row in some):
            if not concern.is_closed:
                Concerns(connection).save(concern, by=_MIGRATION, at=concern.events[-1].at)


def _concerns_in(check_ins: Iterable[tuple[str, str, str]]) -> list[Concern]:
    """Find the concerns of one athlete after the stored check-ins: id, body and time of each."""
    concerns: dict[str, Concern] = {}
    for check_in_id, body, received_at in check_ins:
        check_in = from_json(CheckIn, json.loads(body))
        report = health_report(check_in, utc_time(received_at), check_in_id)
        new_id = new_concern_ids(check_in_id)
        changed = consider_report(concerns.values(), report, new_id, {}, lambda _: 0)
        concerns |= {concern.id: concern for concern in changed}
    return list(concerns.values())


def _concern(concern: Concern, events: tuple[ConcernEvent, ...]) -> Concern:
    return concern_of(concern.id, concern.athlete_id, concern.kind, events)
