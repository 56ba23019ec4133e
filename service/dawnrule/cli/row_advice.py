"""Advice on the rows of a file; on many rows by several processes.

Athletes have nothing to do with each other, so each process takes the rows of some of them: the
answers are those of one process. A row on which no other hangs is answered alone; those of an
athlete with several go into a temporary database of the process. Processes are forked, so that each
has the rules compiled; where that cannot be done, one process does it all.
"""

from __future__ import annotations

import gc
import os
from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from contextlib import ExitStack
from dataclasses import dataclass, replace
from datetime import date
from functools import cache, partial
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING, Any, TypeAlias

from dawnrule.advice.composer import Composer
from dawnrule.application.amendments import Told, submit_told, told_alone
from dawnrule.application.athletes import id_taken
from dawnrule.application.batches import (
    Row,
    RowOutcome,
    answer_each,
    reject_contradictions,
    submit_each,
    with_dangers_alone,
)
from dawnrule.application.check_ins import CheckIns, Submitted
from dawnrule.cli.answer_forms import advice_shown
from dawnrule.cli.forked import answers, cores, forked
from dawnrule.errors import DawnruleError, FieldError
from dawnrule.i18n.lazy import lazy, render_error
from dawnrule.model.entities import Athlete, CheckIn
from dawnrule.model.serialization import to_json
from dawnrule.store import Store, Transaction

if TYPE_CHECKING:  # a file of few rows needs no other process
    from multiprocessing.connection import Connection

Outcome: TypeAlias = RowOutcome[Told, Submitted]
Show: TypeAlias = Callable[[Outcome, Composer], Any]
"""Makes what an answer shows of a row."""

OpenStore: TypeAlias = Callable[[], Store]
"""Gives the database, which is opened when it is first asked for."""

Progress: TypeAlias = Callable[[int], None]
"""Told how many further rows are done."""

ROWS_OF_A_TRANSACTION = 1000
_SHARES_OF_A_PROCESS = 4  # several, as some take longer than others
ROWS_WORTH_A_PROCESS = 250
"""Fewer are advised on before another process has begun."""


@dataclass(frozen=True, slots=True)
class Answered:
    """The numbers of a row, whether it has a verdict, what is shown of it, and the error that
    stands against it or its rest."""

    numbers: tuple[int, ...]
    has_verdict: bool
    shown: Any
    problem: DawnruleError | None


@dataclass(frozen=True, slots=True)
class GivenRow:
    """A row as it was given: the id of its athlete as it stands there, empty where there is none,
    and what loads the row."""

    athlete_id: str
    load: Callable[[], Row[Told]]


@dataclass(frozen=True, slots=True)
class RowAdvice:
    """Advises on the rows of a file. ``described`` are the athletes whom it describes, by id;
    others live in ``time_zone``. ``show`` makes what is shown of a row."""

    rows: Sequence[GivenRow]
    described: Mapping[str, Athlete]
    time_zone: str
    check_ins: CheckIns
    show: Show

    def by(self, processes: int, progress: Progress) -> list[Answered]:
        """Return what is answered to each row, in any order, by as many processes at the most.
        Raises ``DawnruleError`` when one of them ends before it is done."""
        gc.freeze()  # the rows stay until the end, so no process looks for rubbish among them
        processes = min(processes, cores())
        with TemporaryDirectory(prefix="dawnrule-") as folder:
            if min(processes, len(self.rows) // ROWS_WORTH_A_PROCESS) > 1:
                return self._in_several(Path(folder), processes, progress)
            return self._in_one(Path(folder), progress)

    def _in_one(self, folder: Path, progress: Progress) -> list[Answered]:
        answered: list[Answered] = []
        with ExitStack() as opened:
            store = cache(lambda: opened.enter_context(Store.open(folder / "dawnrule.db")))
            for share in self._shares(1):
                answered += self.answer(store, share)
                progress(len(share))
        return answered

    def _in_several(self, folder: Path, processes: int, progress: Progress) -> list[Answered]:
        answered: list[Answered] = []
        shares = self._shares(_SHARES_OF_A_PROCESS * processes)
        with forked(processes, partial(_answer_shares, self, folder)) as connections:
            for some in answers(connections, shares):
                answered += some
                progress(len(some))
        return answered

    def _shares(self, number: int) -> list[list[int]]:
        """Divide the places of the rows into so many shares, or more where they would be large:
        those of an athlete together, also where the id is written with other capitals."""
        by_athlete: dict[str, list[int]] = {}
        for place, row in enumerate(self.rows):
            by_athlete.setdefault(row.athlete_id.lower(), []).append(place)
        enough = min(ROWS_OF_A_TRANSACTION, -(-len(self.rows) // number))
        shares: list[list[int]] = [[]]
        for places in by_athlete.values():
            if len(shares[-1]) >= enough:
                shares.append([])
            shares[-1] += places
        return [sorted(share) for share in shares]

    def answer(self, store: OpenStore, places: Iterable[int]) -> list[Answered]:
        """Answer the rows of some places, in any order. Those of an athlete who has several are
        submitted to a database in one transaction, as later ones hang on earlier ones; others on
        nothing."""
        loaded = self._reject_alike([self.rows[place].load() for place in places])
        rows = sorted(reject_contradictions(loaded), key=_date)
        times = Counter(map(_athlete_id, rows))
        several = [row for row in rows if _told(row) and times[_athlete_id(row)] > 1]
        alone = [row for row in rows if not _told(row) or times[_athlete_id(row)] == 1]
        outcomes = answer_each(alone, self._answer_alone)
        if several:
            outcomes += self._submitted(store(), several)
        composer = self.check_ins.advisor.composer
        return [
            Answered(
                one.row.numbers,
                advice_shown(one) is not None,
                self.show(one, composer),
                one.problem,
            )
            for one in outcomes
        ]

    def _reject_alike(self, rows: Sequence[Row[Told]]) -> list[Row[Told]]:
        """Put an error in the place of check-ins whose id differs in capitals only from an earlier
        one, as one of the two is a typing error. Where one of them tells of a danger, nothing but
        the dangers is taken of either id: nobody can tell whether both are one person."""
        first = {athlete_id.lower(): athlete_id for athlete_id in self.described}
        other: dict[str, str] = {}
        in_danger = set()
        for row in rows:
            if told := _told(row):
                sent, key = told.athlete_id, told.athlete_id.lower()
                if first.setdefault(key, sent) != sent:
                    other.setdefault(key, sent)
                    in_danger |= {key} if row.tells_of_danger else set()
        accepted = []
        for row in rows:
            if (told := _told(row)) and (key := told.athlete_id.lower()) in other:
                if key in in_danger:
                    alike = first[key] if told.athlete_id != first[key] else other[key]
                    row = _held_back(row, told, id_taken(told.athlete_id, alike))
                elif told.athlete_id != first[key]:
                    row = replace(row, entry=id_taken(told.athlete_id, first[key]))
            accepted.append(row)
        return accepted

    def _submitted(self, store: Store, rows: Sequence[Row[Told]]) -> list[Outcome]:
        athletes = [self._athlete(athlete_id) for athlete_id in {*map(_athlete_id, rows)}]
        store.write(lambda transaction: [transaction.athletes.put(one) for one in athletes])
        return submit_each(store, rows, self._begin, alone=True)

    def _begin(self, told: Told) -> Callable[[Transaction], Submitted]:
        submission = self.check_ins.submission(None)
        return lambda transaction: submit_told(transaction, self.check_ins, told, submission)

    def _answer_alone(self, told: Told) -> Submitted:
        athlete, submission = self._athlete(told.athlete_id), self.check_ins.submission(None)
        return self.check_ins.answer_alone(athlete, told_alone(told), submission)

    def _athlete(self, athlete_id: str) -> Athlete:
        described = self.described.get(athlete_id)
        return described or Athlete(athlete_id, athlete_id, self.time_zone)


def _told(row: Row[Told]) -> Told | None:
    """Return what a row says, were it its dangers alone; None for one that cannot be read."""
    return None if isinstance(row.entry, DawnruleError) else row.entry


def _held_back(row: Row[Told], told: Told, error: DawnruleError) -> Row[Told]:
    """Take nothing but the dangers of a row, as an id like its own tells of some."""
    why = FieldError("", None, lazy("sheet.danger_of_one_alike"))
    faults = (*(row.rest.errors if row.rest else ()), *error.errors, why)
    form = to_json(told) if isinstance(told, CheckIn) else told.applied_to(told.nothing_before)
    return with_dangers_alone(row, form, type(error)(error.detail, faults), is_held=True)


def _athlete_id(row: Row[Told]) -> str:
    told = _told(row)
    return told.athlete_id if told else ""


def _date(row: Row[Told]) -> date:
    told = _told(row)
    return told.date if told else date.min


def _answer_shares(advice: RowAdvice, folder: Path, connection: Connection) -> None:
    """Answer the rows of each share that is sent, as a forked process; errors are worded, as how
    they are said cannot leave the process."""
    store = cache(lambda: Store.open(folder / f"{os.getpid()}.db"))
    texts = advice.check_ins.advisor.composer.texts
    while True:
        places = connection.recv()
        try:
            answered = advice.answer(store, places)
        except DawnruleError as error:
            connection.send(error)
            return
        connection.send(
            [
                replace(one, problem=render_error(one.problem, texts)) if one.problem else one
                for one in answered
            ]
        )
