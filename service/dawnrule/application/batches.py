"""Batches: rows with what they hold, and what became of each."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from functools import partial
from threading import Lock
from time import monotonic, sleep
from typing import Any, Generic, TypeVar

from dawnrule.errors import DawnruleError, FieldError, InvalidInput
from dawnrule.i18n.lazy import lazy
from dawnrule.model.entities import CheckIn
from dawnrule.sheet import Sheet
from dawnrule.store import Store, Transaction

T = TypeVar("T")
A = TypeVar("A")

PORTION_SECONDS = 0.1
"""The time after which a transaction takes no further row of a batch: with the pause after it, no
other writer waits for more than a quarter of a second."""

PAUSE_SECONDS = 0.1
"""The pause between two portions. SQLite lets another process that waits for the lock ask again
each tenth of a second, so a shorter one could pass it by for ever."""

_ONE_PORTION = Lock()
"""Portions of several batches do not follow on each other without a pause, nor share a
transaction."""


@dataclass(frozen=True, slots=True)
class Row(Generic[T]):
    """A row as it was sent: its number, with those of all rows of a sheet that belong to it; what
    it holds, or the error that stands against it; and ``locate``, which puts the faults of what it
    holds where they stand in what was sent."""

    numbers: tuple[int, ...]
    entry: T | DawnruleError
    locate: Callable[[Sequence[FieldError]], Iterable[FieldError]]


@dataclass(frozen=True, slots=True)
class RowOutcome(Generic[T, A]):
    """A row with its answer, the error that stands against it, or None: nothing is wrong with it,
    yet it was not stored."""

    row: Row[T]
    outcome: A | DawnruleError | None

    @property
    def is_rejected(self) -> bool:
        """Tell whether an error stands against the row."""
        return isinstance(self.outcome, DawnruleError)

    @property
    def is_stored(self) -> bool:
        """Tell whether what the row holds is stored, now or from before."""
        return self.outcome is not None and not self.is_rejected


def rows_of_sheet(sheet: Sheet, load: Callable[[Any], T]) -> list[Row[T]]:
    """Load the rows of a sheet; the pointers of faults name columns."""
    return [
        Row(row.numbers, _loaded(partial(row.load, load)), row.in_columns) for row in sheet.rows
    ]


def rows_of_json(
    entries: Sequence[Any], load: Callable[[Any], T], under: str | None = None
) -> list[Row[T]]:
    """Load the entries of a JSON list, numbered from 0; ``under`` is the pointer of the list, from
    which the pointers of faults then start instead of from their entry."""
    return [
        Row((place,), _loaded(partial(load, entry)), _locate(under, place))
        for place, entry in enumerate(entries)
    ]


def reject_contradictions(rows: Sequence[Row[CheckIn]]) -> list[Row[CheckIn]]:
    """Put an error in the place of check-ins that differ for one athlete's same date: nobody can
    tell which of them is right, so none is accepted."""
    first: dict[tuple[str, str], CheckIn] = {}
    contradicted = set()
    for entry in (row.entry for row in rows):
        if isinstance(entry, CheckIn) and first.setdefault(_subject(entry), entry) != entry:
            contradicted.add(_subject(entry))
    return [
        replace(row, entry=_contradiction(row.entry))
        if isinstance(row.entry, CheckIn) and _subject(row.entry) in contradicted
        else row
        for row in rows
    ]


def submit_each(
    store: Store,
    rows: Sequence[Row[T]],
    answer: Callable[[Transaction, T], A],
    *,
    alone: bool = False,
) -> list[RowOutcome[T, A]]:
    """Store every row that can be stored; the outcomes are in the order of the rows.

    ``answer`` answers one inside a transaction; what it raises, it raises before it writes.
    ``alone`` tells that nobody else waits to write, so nobody is let in between.
    """
    if alone:
        return store.write(partial(_outcomes, rows=rows, answer=answer))
    return _in_portions(rows, lambda left: store.write(partial(_portion, rows=left, answer=answer)))


def submit_all_or_none(
    store: Store, rows: Sequence[Row[T]], answer: Callable[[Transaction, T], A]
) -> list[RowOutcome[T, A]]:
    """Store all rows in one transaction, or none when one of them cannot be stored.

    Where it is known before that none will be, the others are only looked at, in portions.
    """
    if any(isinstance(row.entry, DawnruleError) for row in rows):
        return _unstored(_in_portions(rows, partial(_look_at, store, answer)))
    outcomes: list[RowOutcome[T, A]] = []

    def write(transaction: Transaction) -> None:
        outcomes[:] = _outcomes(transaction, rows, answer)
        if any(one.is_rejected for one in outcomes):
            raise _RollBack

    try:
        store.write(write)
    except _RollBack:
        return _unstored(outcomes)
    return outcomes


class _RollBack(Exception):
    """At least one row cannot be stored, so none is."""


def _unstored(outcomes: Iterable[RowOutcome[T, A]]) -> list[RowOutcome[T, A]]:
    return [one if one.is_rejected else replace(one, outcome=None) for one in outcomes]


def _in_portions(
    rows: Sequence[Row[T]], take: Callable[[Sequence[Row[T]]], list[RowOutcome[T, A]]]
) -> list[RowOutcome[T, A]]:
    """Work through the rows; ``take`` takes some of those that are left, from the first on."""
    outcomes: list[RowOutcome[T, A]] = []
    while left := rows[len(outcomes) :]:
        with _ONE_PORTION:
            taken = take(left)
            outcomes += taken
            if len(taken) < len(left):
                sleep(PAUSE_SECONDS)
    return outcomes


def _portion(
    transaction: Transaction, rows: Sequence[Row[T]], answer: Callable[[Transaction, T], A]
) -> list[RowOutcome[T, A]]:
    """Answer as many rows as there is time for, and one at the least."""
    enough_at = monotonic() + PORTION_SECONDS
    outcomes: list[RowOutcome[T, A]] = []
    for row in rows:
        outcomes.append(_outcome(transaction, row, answer))
        if monotonic() > enough_at:
            break
    return outcomes


def _look_at(
    store: Store, answer: Callable[[Transaction, T], A], rows: Sequence[Row[T]]
) -> list[RowOutcome[T, A]]:
    """Answer some rows and store none of them."""
    outcomes: list[RowOutcome[T, A]] = []

    def write(transaction: Transaction) -> None:
        outcomes[:] = _portion(transaction, rows, answer)
        raise _RollBack

    with suppress(_RollBack):
        store.write(write)
    return outcomes


def _outcomes(
    transaction: Transaction, rows: Sequence[Row[T]], answer: Callable[[Transaction, T], A]
) -> list[RowOutcome[T, A]]:
    return [_outcome(transaction, row, answer) for row in rows]


def _outcome(
    transaction: Transaction, row: Row[T], answer: Callable[[Transaction, T], A]
) -> RowOutcome[T, A]:
    if isinstance(row.entry, DawnruleError):
        return RowOutcome(row, _located(row, row.entry))
    try:
        return RowOutcome(row, answer(transaction, row.entry))
    except DawnruleError as error:
        return RowOutcome(row, _located(row, error))


def _located(row: Row[T], error: DawnruleError) -> DawnruleError:
    return type(error)(error.detail, tuple(row.locate(error.errors)))


def _loaded(load: Callable[[], T]) -> T | DawnruleError:
    try:
        return load()
    except DawnruleError as error:
        return error


def _locate(
    under: str | None, place: int
) -> Callable[[Sequence[FieldError]], Iterable[FieldError]]:
    pointer = "" if under is None else f"{under}/{place}"
    return lambda faults: [replace(fault, pointer=pointer + fault.pointer) for fault in faults]


def _subject(check_in: CheckIn) -> tuple[str, str]:
    return check_in.athlete_id, check_in.date.isoformat()


def _contradiction(check_in: CheckIn) -> InvalidInput:
    day = check_in.date.isoformat()
    detail = lazy("field.once_or_the_same", athlete=check_in.athlete_id)
    return InvalidInput(
        lazy("field.two_check_ins", athlete=check_in.athlete_id, day=day),
        [FieldError("/date", day, detail)],
    )
