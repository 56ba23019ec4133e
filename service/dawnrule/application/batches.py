"""Batches: rows with what they hold, and what became of each."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from functools import partial
from threading import Lock
from time import monotonic, sleep
from typing import Any, Generic, TypeAlias, TypeVar

from dawnrule.application.amendments import Amendment, Told
from dawnrule.errors import DawnruleError, FieldError, InvalidInput
from dawnrule.i18n.lazy import lazy
from dawnrule.model.entities import CheckIn
from dawnrule.model.serialization import to_json
from dawnrule.schemas import load_check_in
from dawnrule.sheet import Sheet, SheetRow, dangers_told
from dawnrule.store import Store, Transaction

T = TypeVar("T")
A = TypeVar("A")
Job: TypeAlias = Callable[[Transaction], A]
Outcome: TypeAlias = A | DawnruleError | None
Begin: TypeAlias = Callable[[T], Job[A]]
"""Begins to submit what a row holds; the job that it returns answers the row inside a transaction,
and may be tried several times. What a job raises, it raises before it writes."""

MOST_OF_ALL_OR_NONE = 50
"""The most rows of a batch of all or none, which are written in one transaction: on a
busy machine a late check-in took 3.5 ms of it, an ordinary one 1.8 ms."""

PORTION_SECONDS = 0.1
"""The time after which a transaction takes no further row of a batch: with the pause after it, no
other writer waits for more than a quarter of a second."""

PAUSE_SECONDS = 0.1
"""The pause between two portions. SQLite lets another process that waits for the lock ask again
each tenth of a second, so a shorter one could pass it by for ever."""

_BEGUN_AHEAD = 35
"""The most rows that are prepared ahead of their turn: about as many as fit into a pause. With 50,
others waited three times as long."""


@dataclass(frozen=True, slots=True)
class Row(Generic[T]):
    """A row as it was sent: its number, with those of all rows of a sheet that belong to it; what
    it holds, or the error that stands against it; and ``locate``, which puts the faults of what it
    holds where they stand in what was sent. ``rest`` is the error that stands against the rest of a
    row of which the dangers alone could be read. ``tells_of_danger`` has the refusal of a row say
    that it tells of one."""

    numbers: tuple[int, ...]
    entry: T | DawnruleError
    locate: Callable[[Sequence[FieldError]], Iterable[FieldError]]
    rest: DawnruleError | None = None
    tells_of_danger: bool = False


@dataclass(frozen=True, slots=True)
class RowOutcome(Generic[T, A]):
    """A row with its answer, the error that stands against it, or None: nothing is wrong with it,
    yet it was not stored."""

    row: Row[T]
    outcome: Outcome[A]

    @property
    def rest(self) -> DawnruleError | None:
        """Return the error that stands against the rest of a row of which the dangers alone were
        taken; it says so."""
        if self.row.rest is None or not self.is_stored:
            return None
        taken = FieldError("", None, lazy("sheet.dangers_taken"))
        return _with_fault(_located(self.row, self.row.rest), taken)

    @property
    def is_rejected(self) -> bool:
        """Tell whether an error stands against the row, or a part of it."""
        return self.rest is not None or isinstance(self.outcome, DawnruleError)

    @property
    def is_stored(self) -> bool:
        """Tell whether what the row holds is stored, now or from before, were it its dangers
        alone."""
        return self.outcome is not None and not isinstance(self.outcome, DawnruleError)

    @property
    def problem(self) -> DawnruleError | None:
        """Return the error that stands against the row or its rest."""
        return self.outcome if isinstance(self.outcome, DawnruleError) else self.rest


def rows_of_sheet(sheet: Sheet, load: Callable[[Any], T]) -> list[Row[T]]:
    """Load the rows of a sheet; the pointers of faults name columns."""
    return [
        Row(row.numbers, _or_error(partial(row.load, load)), row.in_columns) for row in sheet.rows
    ]


def check_ins_of_sheet(sheet: Sheet) -> list[Row[Told]]:
    """Load the rows of a sheet of check-ins."""
    return [check_in_of_sheet(row) for row in sheet.rows]


def check_in_of_sheet(row: SheetRow) -> Row[Told]:
    """Load a row of a sheet of check-ins: it changes what it says and nothing else of the day's
    check-in. Of one that cannot be read its dangers are taken."""
    dangers = bool(row.dangers())
    try:
        check_in = row.load(load_check_in)
    except DawnruleError as error:
        refused: Row[Told] = Row(row.numbers, error, row.in_columns, tells_of_danger=dangers)
        return with_dangers_alone(refused, row.form, error)
    told = Amendment(check_in.athlete_id, check_in.date, row.changes(), row.adds())
    if told.applied_to(told.nothing_before) == row.form:
        told = replace(told, alone=check_in)
    return Row(row.numbers, told, row.in_columns, tells_of_danger=dangers)


def check_in_of_json(place: int, entry: Any) -> Row[Told]:
    """Load an entry of a JSON list of check-ins; of one that cannot be read its dangers are
    taken."""
    form = entry if isinstance(entry, dict) else {}
    row: Row[Told] = row_of_json(place, entry, load_check_in)
    row = replace(row, tells_of_danger=bool(dangers_told(form)))
    return with_dangers_alone(row, form, row.entry) if isinstance(row.entry, DawnruleError) else row


def with_dangers_alone(
    row: Row[Told], form: Mapping[str, Any], error: DawnruleError, *, is_held: bool = False
) -> Row[Told]:
    """Put an error in the place of a row; where its JSON form tells of dangers that can be loaded,
    these are taken, and the error stands against the rest. A row that ``is_held`` back counts as
    one that tells of them."""
    if not (row.tells_of_danger or is_held):
        return replace(row, entry=error)
    dangers = _or_error(partial(_dangers_of, form))
    if isinstance(dangers, DawnruleError):
        return replace(row, entry=error)
    return replace(row, entry=dangers, rest=error)


def _dangers_of(form: Mapping[str, Any]) -> Amendment:
    """Load what speaks for rest in the JSON form of a check-in. Raises ``InvalidInput`` for what
    cannot be loaded."""
    dangers = dangers_told(form)
    told = {name: form[name] for name in ("athlete_id", "date") if name in form}
    check_in = load_check_in({**told, **dangers, "plan": []})
    changes = {"athlete_id": check_in.athlete_id, "date": check_in.date.isoformat()}
    if (temperature := dangers.pop("temperature_c", None)) is not None:
        changes["temperature_c"] = temperature
    return Amendment(check_in.athlete_id, check_in.date, changes, dangers)


def rows_of_json(
    entries: Sequence[Any], load: Callable[[Any], T], under: str | None = None
) -> list[Row[T]]:
    """Load the entries of a JSON list, numbered from 0; ``under`` is the pointer of the list, from
    which the pointers of faults then start instead of from their entry."""
    return [row_of_json(place, entry, load, under) for place, entry in enumerate(entries)]


def row_of_json(
    place: int, entry: Any, load: Callable[[Any], T], under: str | None = None
) -> Row[T]:
    """Load an entry of a JSON list, as ``rows_of_json`` does all."""
    return Row((place,), _or_error(partial(load, entry)), _locate(under, place))


def reject_contradictions(rows: Sequence[Row[Told]]) -> list[Row[Told]]:
    """Put an error in the place of check-ins that differ for one athlete's same date: nobody can
    tell which of them is right, so none is accepted, or its dangers alone."""
    first: dict[tuple[str, str], CheckIn] = {}
    contradicted = set()
    for entry in (row.entry for row in rows):
        if isinstance(entry, CheckIn) and first.setdefault(_subject(entry), entry) != entry:
            contradicted.add(_subject(entry))
    return [
        with_dangers_alone(row, to_json(row.entry), _contradiction(row.entry))
        if isinstance(row.entry, CheckIn) and _subject(row.entry) in contradicted
        else row
        for row in rows
    ]


def answer_each(rows: Sequence[Row[T]], answer: Callable[[T], A]) -> list[RowOutcome[T, A]]:
    """Answer rows one by one without a database."""
    outcomes: list[Outcome[A]] = []
    for row in rows:
        entry = row.entry
        outcome = entry if isinstance(entry, DawnruleError) else _or_error(partial(answer, entry))
        outcomes.append(_refusal(row, outcome) if isinstance(outcome, DawnruleError) else outcome)
    return _of_rows(rows, outcomes)


def submit_each(
    store: Store, rows: Sequence[Row[T]], begin: Begin[T, A], *, alone: bool = False
) -> list[RowOutcome[T, A]]:
    """Store every row that can be stored; the outcomes are in the order of the rows. ``alone``
    tells that nobody else waits to write, so nobody is let in between."""
    store_some = partial(_turn, store, is_kept=lambda _: True)
    if alone:
        return _of_rows(rows, store_some(_begun(rows, begin), at_least=len(rows)))
    outcomes: list[Outcome[A]] = []
    begun: list[Job[Outcome[A]]] = []
    while left := len(rows) - len(outcomes):
        further = slice(len(outcomes) + len(begun), len(outcomes) + _BEGUN_AHEAD)
        begun += _begun(rows[further], begin)
        stored = _TURNS.take(partial(store_some, begun), left)
        outcomes += stored
        del begun[: len(stored)]
    return _of_rows(rows, outcomes)


def submit_all_or_none(
    store: Store, rows: Sequence[Row[T]], begin: Begin[T, A]
) -> list[RowOutcome[T, A]]:
    """Store all rows in one transaction, or none when one of them cannot be stored.

    They are looked at in portions before, and nothing is kept of that but what the jobs remember:
    so the transaction has little left to do but to write.
    """
    rows = [_whole(row) for row in rows]
    begun = _begun(rows, begin)
    outcomes = _rehearsed(store, begun)
    if not _is_spoiled(outcomes):
        outcomes = _in_one_turn(store, begun)
    if _is_spoiled(outcomes):
        outcomes = [one if isinstance(one, DawnruleError) else None for one in outcomes]
    return _of_rows(rows, outcomes)


def _whole(row: Row[T]) -> Row[T]:
    """Let a row with faults have none of its parts stored."""
    return replace(row, entry=row.rest) if row.rest else row


def do_all_or_none(store: Store, jobs: Sequence[Job[A]]) -> list[A]:
    """Do all jobs, or none, as ``submit_all_or_none`` does; return what each gives. Raises the
    first error of a job."""
    rows = [Row((place,), job, lambda fault: fault) for place, job in enumerate(jobs)]
    done: list[A] = []
    for one in submit_all_or_none(store, rows, lambda job: job):
        if isinstance(one.outcome, DawnruleError):
            raise one.outcome
        if one.outcome is not None:
            done.append(one.outcome)
    return done


def _of_rows(rows: Sequence[Row[T]], outcomes: Sequence[Outcome[A]]) -> list[RowOutcome[T, A]]:
    return [RowOutcome(row, outcome) for row, outcome in zip(rows, outcomes, strict=True)]


def _is_spoiled(outcomes: Iterable[Outcome[A]]) -> bool:
    return any(isinstance(one, DawnruleError) for one in outcomes)


def _begun(rows: Iterable[Row[T]], begin: Begin[T, A]) -> list[Job[Outcome[A]]]:
    return [_answering(row, begin) for row in rows]


def _answering(row: Row[T], begin: Begin[T, A]) -> Job[Outcome[A]]:
    """Begin a row; its job gives the error that stands against it instead of raising it."""
    entry = row.entry
    begun = entry if isinstance(entry, DawnruleError) else _or_error(partial(begin, entry))

    def answer(transaction: Transaction) -> Outcome[A]:
        outcome = (
            begun if isinstance(begun, DawnruleError) else _or_error(partial(begun, transaction))
        )
        return _refusal(row, outcome) if isinstance(outcome, DawnruleError) else outcome

    return answer


def _in_one_turn(store: Store, jobs: Sequence[Job[Outcome[A]]]) -> list[Outcome[A]]:
    """Do all jobs in one turn, or keep nothing where one is spoiled.

    Where much has to be done again, as others have written meanwhile or rows hang on those before
    them, a turn ends early and keeps nothing; each gets a tenth further than the one before.
    """

    def is_whole(outcomes: Sequence[Outcome[A]]) -> bool:
        return len(outcomes) == len(jobs) and not _is_spoiled(outcomes)

    outcomes: list[Outcome[A]] = []
    while not is_whole(outcomes) and not _is_spoiled(outcomes):
        further = len(outcomes) + len(outcomes) // 10 + 1
        outcomes = _TURNS.take(partial(_turn, store, jobs, is_whole, further), len(jobs))
    return outcomes


def _rehearsed(store: Store, jobs: Sequence[Job[Outcome[A]]]) -> list[Outcome[A]]:
    """Do jobs in as many turns as they take, and keep nothing."""
    outcomes: list[Outcome[A]] = []
    while left := jobs[len(outcomes) :]:
        outcomes += _TURNS.take(partial(_turn, store, left, lambda _: False), len(left))
    return outcomes


class _Turns:
    """The turns that batches take to write, one at a time. After a turn that left jobs undone there
    is a pause, in which others can write."""

    def __init__(self) -> None:
        self._one = Lock()
        self._next_at = 0.0

    def take(self, turn: Callable[[], list[Outcome[A]]], jobs: int) -> list[Outcome[A]]:
        """Take a turn at so many jobs, once there may be one; return the outcomes of those that it
        got through."""
        with self._one:
            sleep(max(0.0, self._next_at - monotonic()))
            taken = turn()
            if len(taken) < jobs:
                self._next_at = monotonic() + PAUSE_SECONDS
        return taken


_TURNS = _Turns()


class _RollBack(Exception):
    """Nothing of this turn is kept."""


def _turn(
    store: Store,
    jobs: Sequence[Job[Outcome[A]]],
    is_kept: Callable[[Sequence[Outcome[A]]], bool],
    at_least: int = 1,
) -> list[Outcome[A]]:
    """Do as many jobs as there is time for, and so many at the least, in a transaction."""
    outcomes: list[Outcome[A]] = []

    def write(transaction: Transaction) -> None:
        enough_at = monotonic() + PORTION_SECONDS
        for job in jobs:
            outcomes.append(job(transaction))
            if monotonic() > enough_at and len(outcomes) >= at_least:
                break
        if not is_kept(outcomes):
            raise _RollBack

    with suppress(_RollBack):
        store.write(write)
    return outcomes


def _refusal(row: Row[T], error: DawnruleError) -> DawnruleError:
    """Locate the error that stands against a row; it says where the row tells of a danger, which
    is then not stored."""
    located = _located(row, error)
    if not row.tells_of_danger:
        return located
    return _with_fault(located, FieldError("", None, lazy("sheet.dangers_not_taken")))


def _with_fault(error: DawnruleError, fault: FieldError) -> DawnruleError:
    """Add a fault to those of an error, whose own words are one where it names no field."""
    faults = error.errors or (FieldError("", None, error.detail),)
    return type(error)(error.detail, (*faults, fault))


def _located(row: Row[T], error: DawnruleError) -> DawnruleError:
    return type(error)(error.detail, tuple(row.locate(error.errors)))


def _or_error(step: Callable[[], T]) -> T | DawnruleError:
    try:
        return step()
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
