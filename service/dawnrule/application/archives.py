"""Archives of past mornings that leave the database, and many of them read as one."""

from __future__ import annotations

import fcntl
import shutil
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from tempfile import mkdtemp

from dawnrule.analytics.archive import Archive, Progress, ignore_progress
from dawnrule.analytics.scorecard import outcomes_to_archive
from dawnrule.analytics.tombstones import (
    ARCHIVE_EXPORTED,
    Pseudonyms,
    club_folders,
    folder_of_club,
    read_list,
    write_list,
)
from dawnrule.errors import StoreUnusable
from dawnrule.model import FactDictionary
from dawnrule.rules.columnar import MorningTable, read_months, write_months
from dawnrule.store import Store, Transaction
from dawnrule.store.activity_log import record_act
from dawnrule.store.drafts import is_left_behind, locked

_OWNER_ONLY = 0o700


@dataclass(frozen=True, slots=True)
class ManyClubs:
    """The folders of the clubs in some archives, and the mornings of all as one table."""

    clubs: tuple[Path, ...]
    table: MorningTable


@dataclass(frozen=True, slots=True)
class Exported:
    """A club's folder in an archive, and the number of its mornings."""

    folder: Path
    mornings: int


def export_archive(
    store: Store, to: Path, *, by: str, at: datetime, progress: Progress = ignore_progress
) -> Exported:
    """Write the facts and decisions of all mornings, and what followed, to a club's folder in
    ``to``, without names, and log that ``by`` asked for it. What was exported there before is
    replaced, as a whole. Another export to it waits until this one is finished.

    Raises ``StoreUnusable`` when it cannot be written.
    """

    def note(transaction: Transaction) -> Pseudonyms:
        about = {"folder": str(to.resolve())}
        record_act(transaction, ARCHIVE_EXPORTED, by=by, at=at, about=about)
        return Pseudonyms.of(transaction, at)

    folder = folder_of_club(store, to, at)
    try:
        with _new_beside(folder) as new:
            pseudonyms = store.write(note)  # before anything is read: who is erased then is listed
            table = Archive(store).mornings(progress)
            outcomes = outcomes_to_archive(store, table, at)
            mornings = write_months(table, new, pseudonyms.club, pseudonyms.of_athlete, outcomes)
            write_list(store, new, at, before=folder)
            shutil.rmtree(folder, ignore_errors=True)
            new.rename(folder)
            write_list(store, folder, at)  # who was erased meanwhile is on the list just deleted
    except OSError as error:
        raise StoreUnusable(f"{to} cannot be written: {error.strerror or error}.") from error
    return Exported(folder, mornings)


@contextmanager
def _new_beside(folder: Path) -> Iterator[Path]:
    """Yield a new folder, to take the place of one, while nobody else exports there. It is made in
    a hidden folder of the club that stays, as whoever waits has it locked; what an export that was
    killed left in it is deleted. Raises ``OSError``."""
    unfinished = folder.with_name(f".new-{folder.name}")
    unfinished.mkdir(_OWNER_ONLY, parents=True, exist_ok=True)
    with locked(unfinished, fcntl.LOCK_EX) as is_locked:
        for left in unfinished.iterdir():
            if is_locked or is_left_behind(left):
                shutil.rmtree(left, ignore_errors=True)
        new = Path(mkdtemp(dir=unfinished))
        try:
            yield new
        finally:
            shutil.rmtree(new, ignore_errors=True)


def read_archives(archives: Iterable[Path]) -> ManyClubs:
    """Read the mornings of many archives as one table, without those who were erased.

    Raises ``InvalidInput`` for a path without an archive, for what belongs to no club and for a
    club that is there twice, and ``StoreUnusable`` for an archive without its list of who was
    erased, or with fewer or more files than were exported.
    """
    folders = {folder: read_list(folder) for folder in club_folders(archives)}
    return ManyClubs(tuple(folders), read_months(folders, FactDictionary.bundled()))
