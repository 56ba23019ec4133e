"""How is all that the service knows kept a second time, and brought back?

A back-up is one database file, named by the time (UTC) at which it was made. Nothing gets its
name, or the place of a database, before it was found whole: SQLite's own check, every reference,
and the chain of the ledger. A back-up of an older version's database is kept as it is, and is
brought up to date when it is restored.

Who was erased is still in the back-ups of before, until the last of them has made room; whoever
restores one is told who has to be erased once more.
"""

from __future__ import annotations

import glob
import json
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from uuid import uuid4

from dawnrule.analytics.archive import ENDING
from dawnrule.application.active_rules import StoredTexts
from dawnrule.application.audit import audit
from dawnrule.errors import Conflict, StoreBusy, StoreUnusable
from dawnrule.rules.registry import RuleSetLibrary
from dawnrule.store import Store
from dawnrule.store.activity_log import ATHLETE_ERASED
from dawnrule.store.backup import (
    acts_in,
    athletes_in,
    copy_database,
    discard,
    is_of_this_version,
    keep_in_one_file,
    move_into_place,
    put_aside,
    refuse_damaged,
)

_TIME = "%Y%m%dT%H%M%S"
_ANY_TIME = "????????T??????.???Z"
_MICROSECONDS = 1000


def back_up(db: Path, to: Path, now: datetime, keep: int | None = None) -> Path:
    """Make a back-up of a database, also while it is written to; the file.

    ``to`` is a folder or the name of a new file; of a folder's back-ups of this database the
    newest ``keep`` stay, or all; the new one stays also when the clock was put back. ``now`` is
    aware. Raises ``StoreUnusable`` when there is no database, when it is damaged, or when there is
    no room, and ``Conflict`` for a file that is there.
    """
    if not db.exists():
        raise StoreUnusable(f"There is no database at {db}.")
    file = to / f"{db.stem}-{_stamp(now)}.db" if to.is_dir() else to
    if file.exists():
        raise Conflict(f"{file} is there already; a back-up takes no other file's place.")
    with _draft(file) as draft:
        copy_database(db, draft)
        refuse_damaged(draft, db)
        if is_of_this_version(draft):
            _refuse_broken_chain(draft, db)
            keep_in_one_file(draft)
        move_into_place(draft, file)
    if keep is not None and to.is_dir():
        others = [other for other in backups_of(db, to) if other != file]
        for old in others[: max(0, len(others) - keep + 1)]:
            old.unlink(missing_ok=True)  # another process may have been quicker
    return file


@dataclass(frozen=True, slots=True)
class Restored:
    """What came of restoring. ``aside`` is where the database of before is kept, None if there was
    none. ``erased_since`` are the ids of those who were erased from it after the back-up was made,
    and are there again."""

    aside: Path | None
    erased_since: tuple[str, ...]


def restore(backup: Path, db: Path, now: datetime, *, replace: bool = False) -> Restored:
    """Put a back-up in the place of a database.

    Raises ``Conflict`` when there is a database and ``replace`` is False, or it is in use, and
    ``StoreUnusable`` when the back-up is damaged, newer than this version, or not ours.
    """
    if not backup.is_file():
        raise StoreUnusable(f"There is no back-up at {backup}.")
    if db.exists() and not replace:
        raise Conflict(f"There is a database at {db}. Say --replace to put it aside.")
    with _draft(db) as draft:
        copy_database(backup, draft)
        refuse_damaged(draft, backup)
        is_of_this_version(draft)  # refuses what is newer or not ours, before it is changed
        _refuse_broken_chain(draft, backup)
        erased_since = _there_again(db, draft)
        aside = _put_aside(db, now)
        move_into_place(draft, db)
    return Restored(aside, erased_since)


def backups_of(db: Path, folder: Path) -> list[Path]:
    """The back-ups of a database in a folder, the oldest first; what has no time in its name is
    none."""
    named = folder.glob(f"{glob.escape(db.stem)}-{_ANY_TIME}.db")
    return sorted(file for file in named if _is_dated(file))


def made_at(backup: Path) -> datetime:
    """When a back-up with a name of ours was made."""
    text = backup.stem.rpartition("-")[2].removesuffix("Z")
    return datetime.strptime(text, f"{_TIME}.%f").replace(tzinfo=UTC)


def _is_dated(file: Path) -> bool:
    try:
        made_at(file)
    except ValueError:
        return False
    return True


def _refuse_broken_chain(copy: Path, of: Path) -> None:
    """Raises ``StoreUnusable`` when the ledger does not verify, and tells it of the file that the
    copy was made of. Brings an older copy up to date."""
    with Store.open(copy) as store:
        library = RuleSetLibrary.bundled().with_published(StoredTexts(store))
        audited = audit(store, library)
    if not audited.is_clean:
        fault = audited.faults[0]
        where = "" if fault.position is None else f" at position {fault.position}"
        raise StoreUnusable(
            f"The ledger in {of} does not verify{where}: {fault.says}. See: dawnrule audit verify."
        )


def _stamp(now: datetime) -> str:
    in_utc = now.astimezone(UTC)
    return f"{in_utc:{_TIME}}.{in_utc.microsecond // _MICROSECONDS:03}Z"


def _there_again(db: Path, draft: Path) -> tuple[str, ...]:
    """Who was erased from a database and is in the draft that takes its place; nobody, as far as
    is known, where there is no database, or none that can be read."""
    if not db.exists():
        return ()
    try:
        since = acts_in(db, ATHLETE_ERASED) - acts_in(draft, ATHLETE_ERASED)
    except (StoreBusy, StoreUnusable):
        return ()
    return tuple(sorted({*map(_whom, since)} & athletes_in(draft)))


def _whom(act: str) -> str:
    """Whom an act of erasing is about; nobody, if somebody changed it into what tells of none."""
    try:
        return str(json.loads(act)["about"]["athlete_id"])
    except (KeyError, TypeError, ValueError):
        return ""


def _put_aside(db: Path, now: datetime) -> Path | None:
    for cache in db.parent.glob(glob.escape(db.name + ENDING) + "*"):
        cache.unlink()
    aside = db.with_name(f"{db.name}.replaced-{_stamp(now)}")
    return aside if put_aside(db, aside) else None


@contextmanager
def _draft(file: Path) -> Iterator[Path]:
    """A name beside a file for what may yet turn out wrong; nothing of it is left behind."""
    draft = file.with_name(f".{file.name}.{uuid4().hex}")
    try:
        yield draft
    finally:
        discard(draft)
