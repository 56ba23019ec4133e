"""Audit of the rows that the ledger vouches for: follow its entries, compare with the tables.

``Rows.check`` takes the entries in their order, ``Rows.end`` compares what they come to with the
tables as they stand. Between the two the history of each advice is checked: the check-ins and
sessions that it was decided on must have been read as they were entered, and none left out.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from datetime import date
from typing import Any, TypeAlias

from dawnrule.store import Transaction, Walked
from dawnrule.store.tables.ledger import WalkedAdvice
from dawnrule.store.tables.vouched_rows import (
    VOUCHED,
    HistoryRow,
    history_digest,
    windows,
)
from dawnrule.store.values import parse_ranges

Report = Callable[[int | None, str, str], None]
"""Told of each fault: position, code, detail."""

_TABLES = tuple(VOUCHED)
_OF_HISTORY = ("check_ins", "sessions")

_Standing: TypeAlias = tuple[str, int, bytes]
"""When a check-in or session is, its number, and its table and digest as it stands."""


@dataclass(slots=True)
class Vouched:
    """What the entries say: how many ``rows`` stand, ``since`` when those are vouched for that an
    older version wrote (UTC text; None where there are none), and on how many advice the
    ``histories`` were checked."""

    rows: int = 0
    since: str | None = None
    histories: int = 0


@dataclass(slots=True)
class Rows:
    """The rows as the entries up to here say that they are."""

    report: Report
    history: Mapping[tuple[str, str], list[_Standing]]
    found: Vouched = field(default_factory=Vouched)
    _entered: dict[int, bytes] = field(default_factory=dict)
    _advice: tuple[int, WalkedAdvice] | None = None

    @classmethod
    def of(cls, transaction: Transaction, report: Report) -> Rows:
        """Begin an audit; the check-ins and sessions are read that stand now."""
        return cls(report, _by_athlete(transaction.vouched_rows.history()))

    def note_advice(self, walked: Walked) -> None:
        """Remember an advice; what it was decided on is in a later entry."""
        if walked.advice is not None:
            self._advice = walked.entry.position, walked.advice

    def check(self, position: int, at: str, body: Mapping[str, Any]) -> None:
        """Follow an entry. Raises ``KeyError``, ``TypeError`` or ``ValueError`` for one of another
        form."""
        if body.get("carried_over"):
            self.found.since = self.found.since or at
        for number, table, digest in body["rows"]:
            if digest is None:
                self._entered.pop(number, None)
            else:
                self._entered[number] = _packed(table, digest)
        if "decided_on" in body:
            self._check_history(body["decided_on"])

    def end(self, transaction: Transaction) -> None:
        """Compare with the tables, in the snapshot that the last entry was read in."""
        self.found.rows = len(self._entered)
        present = set(self._present(transaction))
        for number, entered in self._entered.items():
            if number not in present:
                named = transaction.vouched_rows.table_of(number)
                key = f" {named[1]}" if named else ""
                self.report(None, "row-missing", f"{_TABLES[entered[0]]}{key}")
        for number in transaction.vouched_rows.without_row(present):
            if number not in self._entered:
                self.report(None, "row-missing", f"number {number}")
        for part in transaction.schema.differences():
            self.report(None, "schema-changed", part)

    def _present(self, transaction: Transaction) -> Iterator[int]:
        for table in VOUCHED:
            for row in transaction.vouched_rows.present(table):
                entered = None if row.number is None else self._entered.get(row.number)
                if entered is None:
                    self.report(None, "row-without-entry", f"{table} {row.key}")
                elif entered != _packed(table, row.digest):
                    self.report(None, "row-changed", f"{table} {row.key}")
                if row.number is not None:
                    yield row.number

    def _check_history(self, decided_on: Mapping[str, Any]) -> None:
        self.found.histories += 1
        numbers = [n for some in parse_ranges(decided_on["rows"]) for n in some]
        entered = history_digest(self._entered.get(number, b"")[1:].hex() for number in numbers)
        position: int = decided_on["position"]
        if entered != decided_on["digest"] or self._left_out(position, decided_on, {*numbers}):
            self.report(position, "history-differs", "")

    def _left_out(self, position: int, decided_on: Mapping[str, Any], read: set[int]) -> bool:
        """Tell whether a row was not read that was there, is as it was then, and belongs to the
        advice's history."""
        if self._advice is None or self._advice[0] != position:
            return False
        advice = self._advice[1]
        times = windows(date.fromisoformat(advice.date), advice.decided_at, *decided_on["days"])
        (first, last), (start, end) = times
        ends = ((first, f"{last}~"), (start, end))
        return any(
            number not in read and self._entered.get(number) == stands
            for table, between in zip(_OF_HISTORY, ends, strict=True)
            for _, number, stands in self._between(table, advice.athlete_id, *between)
        )

    def _between(self, table: str, athlete_id: str, since: str, until: str) -> list[_Standing]:
        rows = self.history.get((table, athlete_id), [])
        return rows[bisect_left(rows, (since,)) : bisect_left(rows, (until,))]


def _by_athlete(rows: Iterable[HistoryRow]) -> dict[tuple[str, str], list[_Standing]]:
    by_athlete: dict[tuple[str, str], list[_Standing]] = {}
    for row in rows:
        standing = (row.when, row.number, _packed(row.table, row.digest))
        by_athlete.setdefault((row.table, row.athlete_id), []).append(standing)
    for some in by_athlete.values():
        some.sort()
    return by_athlete


def _packed(table: str, digest: str) -> bytes:
    """Pack a row's table and digest into 33 bytes: all rows are held in memory at once. Raises
    ``ValueError`` for a table that is not vouched for, or what is no digest."""
    return bytes((_TABLES.index(table),)) + bytes.fromhex(digest)
