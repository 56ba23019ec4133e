"""The archive: facts of past mornings in columns, a cache of the ledger in a parquet file.

The ledger is the source. The file beside the database only saves reading it record by record: it
is brought up to date before each use, rebuilt when it is missing, of an older format or of another
ledger, and may be deleted at any time. It holds what athletes reported, so only its owner may read
it, as with the database, and it is deleted when anybody is erased.
"""

from __future__ import annotations

import json
import os
from collections.abc import Callable, Mapping
from dataclasses import asdict, dataclass
from pathlib import Path
from tempfile import mkstemp
from threading import Lock
from typing import TypeAlias

from dawnrule.analytics.archive_file import archive_file, delete_archive
from dawnrule.errors import StoreUnusable
from dawnrule.model import FactDictionary, Facts
from dawnrule.model.advice import PartAdvice
from dawnrule.rules import columnar
from dawnrule.rules.columnar import PastMorning, PastSubject
from dawnrule.store import Store, StoredAdvice

FORMAT = "2"
"""Format of the file; to be raised when the meaning of its rows changes."""

READ_TOGETHER = 1_000
"""Records read from the ledger at a time, so that no read takes long."""

Progress: TypeAlias = Callable[[int, int], None]
"""A callback that receives the amount done and the total."""


def ignore_progress(done: int, of: int) -> None:
    """Ignore progress."""


@dataclass(frozen=True, slots=True)
class _Coverage:
    """How much of the ledger a file covers: the last advice, and the count up to it."""

    position: int = 0
    advice_id: str = ""
    count: int = 0


class Archive:
    """The archive of one database. Safe to use from several threads and processes."""

    def __init__(self, store: Store) -> None:
        self._store = store
        self._file = archive_file(store.file)
        self._dictionary = FactDictionary.bundled()
        self._lock = Lock()

    def mornings(self, progress: Progress = ignore_progress) -> columnar.MorningTable:
        """Read the latest advice of each athlete and date, as the ledger has it now.

        ``progress`` counts the records that the file lacked. Raises ``EngineFailure`` for facts
        that the dictionary no longer allows, ``StoreUnusable`` when the file cannot be written.
        """
        with self._lock:
            while (table := self._up_to_date(progress)) is None:
                self.delete()
            return table

    def delete(self) -> None:
        """Delete the file and any unfinished one; the next use rebuilds it."""
        delete_archive(self._store.file)

    def _up_to_date(self, progress: Progress) -> columnar.MorningTable | None:
        """Bring the file up to date; return None if it is of another ledger, or somebody was
        erased meanwhile.

        Threads and processes replace the file at any time, so it is opened once, and a table is
        that of the file that was opened.
        """
        kept = self._kept()
        if kept is not None and not self._is_of_ledger(kept[0]):
            return None
        known, table = kept or (_Coverage(), columnar.MorningTable.of((), self._dictionary))
        tables = [table]
        covered = self._append_later(known, tables, progress)
        if kept is not None and covered == known:
            return table
        written = self._written(tables, covered)
        return written if self._is_of_ledger(covered) else None

    def _kept(self) -> tuple[_Coverage, columnar.MorningTable] | None:
        """Open the file; return how far it reaches and its table, None if it cannot be used."""
        try:
            with self._file.open("rb") as file:
                marks = columnar.read_metadata(file) or {}
                if any(marks.get(name) != value for name, value in self._kind().items()):
                    return None
                covered = _Coverage(int(marks["position"]), marks["advice_id"], int(marks["count"]))
                return covered, columnar.MorningTable.read(file, self._dictionary)
        except OSError:
            return None

    def _kind(self) -> Mapping[str, str]:
        """The marks of a file that this version can use."""
        facts = {name: definition.type for name, definition in self._dictionary.items()}
        return {"format": FORMAT, "facts": json.dumps(facts)}

    def _is_of_ledger(self, covered: _Coverage) -> bool:
        return covered == _Coverage() or self._store.read(
            lambda transaction: transaction.advice.is_unbroken(
                covered.position, covered.advice_id, covered.count
            )
        )

    def _append_later(
        self, covered: _Coverage, tables: list[columnar.MorningTable], progress: Progress
    ) -> _Coverage:
        """Append tables of the advice after ``covered``; return what is covered then."""
        start, last = (
            covered.position,
            self._store.read(lambda transaction: transaction.advice.last_position()),
        )
        while later := self._after(covered.position):
            tables.append(
                columnar.MorningTable.of((_morning(*one) for one in later), self._dictionary)
            )
            position, advice = later[-1]
            covered = _Coverage(position, advice.id, covered.count + len(later))
            progress(position - start, max(last, position) - start)
        return covered

    def _after(self, position: int) -> list[tuple[int, StoredAdvice]]:
        return self._store.read(
            lambda transaction: transaction.advice.after(position, READ_TOGETHER)
        )

    def _written(
        self, tables: list[columnar.MorningTable], covered: _Coverage
    ) -> columnar.MorningTable | None:
        """Replace the file by a new one; return None if it was deleted meanwhile.

        Raises ``StoreUnusable`` when it cannot be written.
        """
        first, *later = tables
        marks = {name: str(value) for name, value in asdict(covered).items()}
        handle, name = self._new_file()
        try:
            with open(handle, "w+b") as new:
                first.followed_by(later).write(new, {**self._kind(), **marks})
                new.flush()
                os.fsync(handle)
                os.replace(name, self._file)
                return columnar.MorningTable.read(new, self._dictionary)
        except FileNotFoundError:
            return None
        except OSError as error:
            raise self._unwritable(error) from error
        finally:
            Path(name).unlink(missing_ok=True)

    def _new_file(self) -> tuple[int, str]:
        """Create a file beside the old one, for its owner alone; return its handle and name."""
        try:
            return mkstemp(dir=self._file.parent, prefix=self._file.name)
        except OSError as error:
            raise self._unwritable(error) from error

    def _unwritable(self, error: OSError) -> StoreUnusable:
        return StoreUnusable(f"{self._file} cannot be written: {error.strerror or error}.")


def _morning(position: int, advice: StoredAdvice) -> PastMorning:
    record = advice.read_record()
    day, fired = record.facts.day, record.fired
    parts = zip(record.facts.parts, record.advice.parts, fired.parts, strict=True)
    return PastMorning(
        position,
        advice.athlete_id,
        advice.date,
        advice.rule_set_digest,
        PastSubject(advice.verdict, advice.rule_id, fired.day, day),
        tuple(_part(part, ids, {**day, **of.facts}) for of, part, ids in parts),
    )


def _part(part: PartAdvice, fired: tuple[str, ...], facts: Facts) -> PastSubject:
    rule_id = part.rule.id if part.rule else None
    return PastSubject(part.verdict.value, rule_id, fired, facts, part.block)
