"""Batches: rows with what they hold, and what became of each."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from functools import partial
from threading import Lock
from time import monotonic, sleep
from typing import Any, Generic, TypeAlias, TypeVar

from dawnrule.errors import DawnruleError, FieldError, InvalidInput
from dawnrule.i18n.lazy import lazy
from dawnrule.model.entities import CheckIn
from dawnrule.sheet import Sheet
from dawnrule.store import Store, Transaction

T = TypeVar("T")
A = TypeVar("A")

Job: TypeAlias = Callable[[Transaction], A]
Begin: TypeAlias = Callable[[T], Job[A]]
"""Begins to submit what a row holds; the job that it returns answers the row inside a transaction,
and may be tried several times. What a job raises, it raises before it writes."""

MOST_OF_ALL_OR_NONE = 50
"""The most rows of a batch of all or none, which are written in one transaction: a late check-in
takes 3.5 ms of it, an ordinary one 1.8 ms."""

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
    store: Store, rows: Sequence[Row[T]], begin: Begin[T, A], *, alone: bool = False
) -> list[RowOutcome[T, A]]:
    """Store every row that can be stored; the outcomes are in the order of the rows. ``alone``
    tells that nobody else waits to write, so nobody is let in between."""
    store_some = partial(_turn, store, begin=begin, is_kept=lambda _: True)
    if alone:
        return store_some(rows, at_least=len(rows))
    return _in_portions(rows, store_some)


def submit_all_or_none(
    store: Store, rows: Sequence[Row[T]], begin: Begin[T, A]
) -> list[RowOutcome[T, A]]:
    """Store all rows in one transaction, or none when one of them cannot be stored.

    They are looked at in portions before, and nothing is kept of that but what the jobs remember:
    so the transaction has little left to do but to write.
    """
    jobs = [_begun(row, begin) for row in rows]
    outcomes = _in_portions(jobs, partial(_turn, store, begin=_itself, is_kept=lambda _: False))
    if not any(one.is_rejected for one in outcomes):
        outcomes = _in_one_turn(store, jobs)
    if any(one.is_rejected for one in outcomes):
        outcomes = [one if one.is_rejected else replace(one, outcome=None) for one in outcomes]
    return [RowOutcome(row, one.outcome) for row, one in zip(rows, outcomes, strict=True)]


def _begun(row: Row[T], begin: Begin[T, A]) -> Row[Job[A]]:
    entry = row.entry if isinstance(row.entry, DawnruleError) else begin(row.entry)
    return Row(row.numbers, entry, row.locate)


def _itself(job: Job[A]) -> Job[A]:
    """Begin what is begun."""
    return job


def _in_one_turn(store: Store, jobs: Sequence[Row[Job[A]]]) -> list[RowOutcome[Job[A], A]]:
    """Store all rows in one turn, or none where one is rejected.

    Where much has to be done again, as others have written meanwhile or rows hang on those before
    them, a turn ends early and keeps nothing; each gets a tenth further than the one before.
    """

    def is_whole(outcomes: Sequence[RowOutcome[Job[A], A]]) -> bool:
        return len(outcomes) == len(jobs) and not any(one.is_rejected for one in outcomes)

    outcomes: list[RowOutcome[Job[A], A]] = []
    while not is_whole(outcomes) and not any(one.is_rejected for one in outcomes):
        further = len(outcomes) + len(outcomes) // 10 + 1
        turn = partial(_turn, store, jobs, _itself, is_whole, at_least=further)
        outcomes = _alone(turn, len(jobs))
    return outcomes


def _in_portions(
    rows: Sequence[Row[T]], take: Callable[[Sequence[Row[T]]], list[RowOutcome[T, A]]]
) -> list[RowOutcome[T, A]]:
    """Work through the rows; ``take`` takes some of those that are left, from the first on."""
    outcomes: list[RowOutcome[T, A]] = []
    while left := rows[len(outcomes) :]:
        outcomes += _alone(partial(take, left), len(left))
    return outcomes


def _alone(turn: Callable[[], list[RowOutcome[T, A]]], rows: int) -> list[RowOutcome[T, A]]:
    """Take one turn of any batch; where it did not get through its rows, pause for others."""
    with _ONE_PORTION:
        taken = turn()
        if len(taken) < rows:
            sleep(PAUSE_SECONDS)
    return taken


class _RollBack(Exception):
    """Nothing of this turn is kept."""


def _turn(
    store: Store,
    rows: Sequence[Row[T]],
    begin: Begin[T, A],
    is_kept: Callable[[Sequence[RowOutcome[T, A]]], bool],
    at_least: int = 1,
) -> list[RowOutcome[T, A]]:
    """Answer as many rows as there is time for, and so many at the least, in a transaction."""
    outcomes: list[RowOutcome[T, A]] = []

    def write(transaction: Transaction) -> None:
        enough_at = monotonic() + PORTION_SECONDS
        for row in rows:
            outcomes.append(_outcome(transaction, row, begin))
            if monotonic() > enough_at and len(outcomes) >= at_least:
                break
        if not is_kept(outcomes):
            raise _RollBack

    with suppress(_RollBack):
        store.write(write)
    return outcomes


def _outcome(transaction: Transaction, row: Row[T], begin: Begin[T, A]) -> RowOutcome[T, A]:
    if isinstance(row.entry, DawnruleError):
        return RowOutcome(row, _located(row, row.entry))
    try:
        return RowOutcome(row, begin(row.entry)(transaction))
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
