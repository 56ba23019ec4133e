"""The ledger: a hash chain over all advice and all acts of people.

Each entry holds the digest of a record, the time, and the digest of the entry before. Its own
digest is the SHA-256 of these in canonical JSON (RFC 8785), so whoever keeps the newest digest can
detect any change to what came before.

An advice's record is hashed after a salt of 32 random characters, which is deleted with the record.
Without it, an erased record could be found from its digest by trying hours of sleep and grades of
soreness: there are few enough. An entry holds neither the salt nor any id.

An act's body holds a salt of its own, so that nobody who is shown a proof can find out what was
done to others by trying ids: a proof has the digests and times of all that came after. The body
stays, and its salt with it.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from hashlib import sha256
from secrets import token_hex
from typing import Any, Self

from dawnrule.model.serialization import canonical_json
from dawnrule.store.values import json_text, utc_text

ROWS_WRITTEN = "rows-written"
"""The act of the service by which rows of other tables are entered; see ``vouched_rows``."""

NOTHING_BEFORE = "0" * 64
"""The previous digest of the first entry."""

SCHEMA = (
    """
    CREATE TABLE ledger (
        position INTEGER PRIMARY KEY CHECK (position > 0),
        kind TEXT NOT NULL CHECK (kind IN ('advice', 'act')),
        at TEXT NOT NULL,
        record_digest TEXT NOT NULL CHECK (length(record_digest) = 64),
        previous_digest TEXT NOT NULL,
        digest TEXT NOT NULL CHECK (length(digest) = 64),
        act TEXT,
        body TEXT,
        CHECK ((kind = 'act') = (act IS NOT NULL AND body IS NOT NULL))
    ) STRICT
    """,
    "CREATE INDEX ledger_acts ON ledger (position) WHERE act IS NOT NULL",
    """
    CREATE TABLE advice_entries (
        position INTEGER PRIMARY KEY REFERENCES ledger (position),
        advice_position INTEGER NOT NULL UNIQUE REFERENCES advice (position) ON DELETE CASCADE,
        salt TEXT NOT NULL
    ) STRICT
    """,
    """
    CREATE TRIGGER ledger_stays_as_it_is BEFORE UPDATE ON ledger
    BEGIN SELECT RAISE(ABORT, 'an entry of the ledger is never changed'); END
    """,
    """
    CREATE TRIGGER ledger_stays BEFORE DELETE ON ledger
    BEGIN SELECT RAISE(ABORT, 'an entry of the ledger is never deleted'); END
    """,
    f"""
    CREATE TRIGGER ledger_grows_at_its_end BEFORE INSERT ON ledger
    WHEN (NEW.position - 1, NEW.previous_digest) IS NOT (
        SELECT coalesce(max(position), 0), coalesce(digest, '{NOTHING_BEFORE}') FROM ledger
    )
    BEGIN SELECT RAISE(ABORT, 'the ledger grows at its end only'); END
    """,
    """
    CREATE TRIGGER advice_entries_stay_as_they_are BEFORE UPDATE ON advice_entries
    BEGIN SELECT RAISE(ABORT, 'whose entry it is never changes'); END
    """,
    """
    CREATE TRIGGER advice_entries_leave_with_their_advice BEFORE DELETE ON advice_entries
    WHEN EXISTS (SELECT 1 FROM advice WHERE position = OLD.advice_position)
    BEGIN SELECT RAISE(ABORT, 'an entry lets go of its advice only when that is erased'); END
    """,
)

_ENTRY = "SELECT position, kind, at, record_digest, previous_digest, digest FROM ledger"
_SALT_BYTES = 16


@dataclass(frozen=True, slots=True)
class Head:
    """The newest entry's position and digest; position 0 before the first."""

    position: int = 0
    digest: str = NOTHING_BEFORE


@dataclass(frozen=True, slots=True)
class Entry:
    """One entry as it is stored; ``at`` is UTC text, and digests are hexadecimal SHA-256."""

    position: int
    kind: str
    at: str
    record_digest: str
    previous_digest: str
    digest: str

    @classmethod
    def following(cls, head: Head, kind: str, at: str, record_digest: str) -> Self:
        """Make the entry that comes after a head."""
        position = head.position + 1
        digest = entry_digest(position, kind, at, record_digest, head.digest)
        return cls(position, kind, at, record_digest, head.digest, digest)

    def digest_at(self, position: int) -> str:
        """Compute the digest that this entry would have at a position."""
        return entry_digest(position, self.kind, self.at, self.record_digest, self.previous_digest)


@dataclass(frozen=True, slots=True)
class StoredAct:
    """An act with its entry's position; ``body`` is canonical JSON text."""

    position: int
    act: str
    body: str


@dataclass(frozen=True, slots=True)
class WalkedAdvice:
    """The columns of an advice as stored, and those of its check-in: body, athlete, date, poster,
    time and revision, and the check-in of the advice that this one supersedes. None is converted,
    as somebody may have changed it."""

    position: int
    id: str
    check_in_id: str
    athlete_id: str
    date: str
    verdict: str
    rule_id: str | None
    rule_set_digest: str
    record: str
    decided_at: str
    supersedes: str | None
    check_in: str | None
    check_in_of: str | None
    check_in_on: str | None
    check_in_by: str | None
    check_in_at: str | None
    check_in_revision: int | None
    check_in_before: str | None


@dataclass(frozen=True, slots=True)
class WalkedEvent:
    """The columns of an event of a concern as stored, and of its concern."""

    position: int
    concern_id: str
    number: int
    event: str
    on_date: str
    state: str
    body: str
    salt: str
    athlete_id: str
    kind: str


@dataclass(frozen=True, slots=True)
class Walked:
    """An entry with the record that it vouches for. ``act`` and ``body`` are those of an act;
    ``salt`` and ``advice`` are None for an act, and when the advice is gone. ``concern_event`` is
    the event that an act vouches for, None when there is none."""

    entry: Entry
    act: str | None
    body: str | None
    salt: str | None
    advice: WalkedAdvice | None
    concern_event: WalkedEvent | None = None


def entry_digest(
    position: int, kind: str, at: str, record_digest: str, previous_digest: str
) -> str:
    """Compute the digest of an entry's content, in hexadecimal."""
    content: Any = {
        "at": at,
        "kind": kind,
        "position": position,
        "previous_digest": previous_digest,
        "record_digest": record_digest,
    }
    return sha256(_canonical_without_fractions(content).encode("utf-8")).hexdigest()


def _canonical_without_fractions(content: Any) -> str:
    """Format as ``canonical_json`` does, in a tenth of the time: ``json_text`` writes numbers with
    a fraction otherwise, and what it has to escape; names of fields are ASCII."""
    text = json_text(content)
    return canonical_json(content) if "\\" in text else text


def record_digest(record: str, salt: str = "") -> str:
    """Compute the digest of a record's text after its salt, in hexadecimal; an act has its salt
    within."""
    return sha256((salt + record).encode()).hexdigest()


def chain_existing_advice(connection: sqlite3.Connection) -> None:
    """Add entries for the advice of an older database, in the order in which it was given."""
    ledger = Ledger(connection)
    rows = connection.execute("SELECT position, record, decided_at FROM advice ORDER BY position")
    for position, record, at in rows:
        ledger.add_advice(position, record, at)


@dataclass(frozen=True, slots=True)
class Ledger:
    """The chain of entries; grows at its end only."""

    connection: sqlite3.Connection

    def add_advice(self, advice_position: int, record: str, at: str) -> int:
        """Add the entry of an advice and return its position; the transaction must have been opened
        for writing."""
        salt = token_hex(_SALT_BYTES)
        entry = Entry.following(self.head(), "advice", at, record_digest(record, salt))
        self._add(entry)
        self.connection.execute(
            "INSERT INTO advice_entries (position, advice_position, salt) VALUES (?, ?, ?)",
            (entry.position, advice_position, salt),
        )
        return entry.position

    def add_act(self, act: str, body: Mapping[str, Any], at: datetime) -> int:
        """Add an act, ``body`` being plain JSON values; return its position. Rows that are written
        have salts of their own."""
        if act == ROWS_WRITTEN:
            text = _canonical_without_fractions(body)
        else:
            text = canonical_json({**body, "salt": token_hex(_SALT_BYTES)})
        entry = Entry.following(self.head(), "act", utc_text(at), record_digest(text))
        self._add(entry, act, text)
        return entry.position

    def head(self) -> Head:
        """Read the newest entry's position and digest."""
        row = self.connection.execute(
            "SELECT position, digest FROM ledger ORDER BY position DESC LIMIT 1"
        ).fetchone()
        return Head(*row) if row else Head()

    def entry_of(self, advice_id: str) -> tuple[Entry, str] | None:
        """Find the entry of an advice and its salt; None if there is no such advice."""
        row = self.connection.execute(
            """
            SELECT ledger.position, kind, at, record_digest, previous_digest, digest, salt
            FROM advice JOIN advice_entries ON advice_position = advice.position
            JOIN ledger ON ledger.position = advice_entries.position WHERE advice.id = ?
            """,
            (advice_id,),
        ).fetchone()
        return (Entry(*row[:-1]), row[-1]) if row else None

    def after(self, position: int, limit: int) -> list[Entry]:
        """Read the entries after a position."""
        rows = self.connection.execute(
            f"{_ENTRY} WHERE position > ? ORDER BY position LIMIT ?", (position, limit)
        )
        return [Entry(*row) for row in rows]

    def positions_of(self, athlete_id: str) -> list[int]:
        """List the positions of an athlete's advice."""
        return self._positions("athlete_id = ?", athlete_id)

    def positions_before(self, date: str) -> list[int]:
        """List the positions of all advice for dates before ``date``."""
        return self._positions("date < ?", date)

    def acts(
        self,
        first: datetime | None = None,
        end: datetime | None = None,
        act: str | None = None,
        *,
        limit: int,
        before: int | None = None,
    ) -> list[StoredAct]:
        """List acts of people in ``[first, end)``, of one name or all, newest first; ``before`` is
        the position of the last act of the previous page."""
        rows = self.connection.execute(
            f"""
            SELECT position, act, body FROM ledger
            WHERE act IS NOT NULL AND act <> '{ROWS_WRITTEN}' AND (:act IS NULL OR act = :act)
              AND (:first IS NULL OR at >= :first) AND (:end IS NULL OR at < :end)
              AND (:before IS NULL OR position < :before)
            ORDER BY position DESC LIMIT :limit
            """,
            {
                "act": act,
                "first": utc_text(first) if first else None,
                "end": utc_text(end) if end else None,
                "before": before,
                "limit": limit,
            },
        )
        return [StoredAct(*row) for row in rows]

    def walk(self, position: int, limit: int) -> list[Walked]:
        """Read the entries after a position, each with the record that it vouches for."""
        cursor = self.connection.execute(
            """
            SELECT ledger.position, ledger.kind, ledger.at, ledger.record_digest,
                   ledger.previous_digest, ledger.digest, ledger.act, ledger.body, salt,
                   advice.position, advice.id, advice.check_in_id, advice.athlete_id, advice.date,
                   advice.verdict, advice.rule_id, advice.rule_set_digest, advice.record,
                   advice.decided_at, advice.supersedes, check_ins.body, check_ins.athlete_id,
                   check_ins.date, check_ins.posted_by, check_ins.received_at, check_ins.revision,
                   before.check_in_id
            FROM ledger LEFT JOIN advice_entries USING (position)
            LEFT JOIN advice ON advice.position = advice_position
            LEFT JOIN check_ins ON check_ins.id = advice.check_in_id
            LEFT JOIN advice AS before ON before.id = advice.supersedes
            WHERE ledger.position > ? ORDER BY ledger.position LIMIT ?
            """,
            (position, limit),
        )
        walked = [_walked(row) for row in cursor]
        events = self._concern_events(walked)
        return [replace(one, concern_event=events.get(one.entry.position)) for one in walked]

    def _concern_events(self, walked: Sequence[Walked]) -> dict[int, WalkedEvent]:
        """Read the events of concerns that some entries vouch for, by position."""
        if not walked:
            return {}
        cursor = self.connection.execute(
            """
            SELECT position, concern_id, number, event, on_date, state, body, salt, athlete_id, kind
            FROM concern_events JOIN concerns ON concerns.id = concern_id
            WHERE position BETWEEN ? AND ?
            """,
            (walked[0].entry.position, walked[-1].entry.position),
        )
        return {row[0]: WalkedEvent(*row) for row in cursor}

    def advice_without_entry(self, limit: int) -> list[str]:
        """Find advice without an entry, by id; a sound ledger has none."""
        rows = self.connection.execute(
            """
            SELECT id FROM advice
            WHERE position NOT IN (
                SELECT advice_position FROM advice_entries JOIN ledger USING (position)
                WHERE kind = 'advice'
            )
            ORDER BY position LIMIT ?
            """,
            (limit,),
        )
        return [advice_id for (advice_id,) in rows]

    def salts_without_entry(self, limit: int) -> list[int]:
        """Find the positions of salts at which no entry of an advice stands; a sound ledger has
        none."""
        rows = self.connection.execute(
            """
            SELECT position FROM advice_entries LEFT JOIN ledger USING (position)
            WHERE kind IS NOT 'advice' ORDER BY position LIMIT ?
            """,
            (limit,),
        )
        return [position for (position,) in rows]

    def _add(self, entry: Entry, act: str | None = None, body: str | None = None) -> None:
        self.connection.execute(
            """
            INSERT INTO ledger (position, kind, at, record_digest, previous_digest, digest,
                                act, body)
            VALUES (?, ?, ?, ?, ?, ?, ?, ?)
            """,
            (
                entry.position,
                entry.kind,
                entry.at,
                entry.record_digest,
                entry.previous_digest,
                entry.digest,
                act,
                body,
            ),
        )

    def _positions(self, where: str, value: str) -> list[int]:
        rows: Iterator[tuple[int]] = self.connection.execute(
            f"""
            SELECT advice_entries.position FROM advice
            JOIN advice_entries ON advice_position = advice.position
            WHERE {where} ORDER BY advice_entries.position
            """,
            (value,),
        )
        return [position for (position,) in rows]


_ENTRY_COLUMNS = 6
_BEFORE_ADVICE = 9


def _walked(row: Sequence[Any]) -> Walked:
    entry, (act, body, salt) = Entry(*row[:_ENTRY_COLUMNS]), row[_ENTRY_COLUMNS:_BEFORE_ADVICE]
    advice = row[_BEFORE_ADVICE:]
    return Walked(entry, act, body, salt, WalkedAdvice(*advice) if advice[0] is not None else None)
