"""Back-ups: make, check and restore.

A back-up is one database file, named by the time (UTC) at which it was made. No file gets its
final name before it passed SQLite's own check, the check of references and the audit of the ledger.
A back-up of an older version is kept as it is, and is migrated when it is restored.

Erased athletes remain in older back-ups until the last of these is rotated out; restoring one
erases them again, by the list that lies beside the back-ups (``erased``).
"""

from __future__ import annotations

import glob
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from dawnrule.analytics import tombstones
from dawnrule.analytics.archive_file import ENDING
from dawnrule.application.active_rules import StoredTexts
from dawnrule.application.audit import audit
from dawnrule.application.erased import (
    carry_erasures_over,
    erasures_elsewhere,
    list_erased,
    list_of,
)
from dawnrule.errors import Conflict, StoreUnusable
from dawnrule.rules.registry import RuleSetLibrary
from dawnrule.store import Store
from dawnrule.store.backup import (
    copy_database,
    discard_half_made,
    is_of_this_version,
    keep_in_one_file,
    move_into_place,
    names_of_backups,
    put_aside,
    refuse_damaged,
)
from dawnrule.store.drafts import ASIDE, draft_of

_TIME = "%Y%m%dT%H%M%S"
_MICROSECONDS = 1000


def back_up(db: Path, to: Path, now: datetime, keep: int | None = None) -> Path:
    """Make a back-up of a database, also while it is in use; return the file.

    ``to`` is a folder or the name of a new file; in a folder the newest ``keep`` back-ups of this
    database are kept, or all; the new one is kept even when the clock was set back. ``now`` is
    aware. Raises ``StoreUnusable`` when the database is missing or damaged or the disk is full,
    and ``Conflict`` when the file exists.
    """
    if not db.exists():
        raise StoreUnusable(f"There is no database at {db}.")
    file = to / f"{db.stem}-{_stamp(now)}.db" if to.is_dir() else to
    if file.exists():
        raise Conflict(f"{file} is there already; a back-up takes no other file's place.")
    discard_half_made(db, file.parent, file.name, list_of(db, file.parent).name)
    with draft_of(file) as draft:
        copy_database(db, draft)
        refuse_damaged(draft, db)
        if is_of_this_version(draft):
            _refuse_broken_chain(draft, db)
            keep_in_one_file(draft)
        move_into_place(draft, file)
    list_erased(db, file.parent)
    if keep is not None and to.is_dir():
        others = [other for other in backups_of(db, to) if other != file]
        for old in others[: max(0, len(others) - keep + 1)]:
            old.unlink(missing_ok=True)  # another process may have been quicker
    return file


@dataclass(frozen=True, slots=True)
class Restored:
    """The result of a restore. ``aside`` is where the previous database is kept, None if there was
    none. ``erased_again`` are the ids of athletes who were erased after the back-up was made, and
    from the restored database too; ``knows_erased`` is False where nothing told of erasures, and
    ``knows_exports`` where nothing told of archives that the club exported meanwhile."""

    aside: Path | None
    erased_again: tuple[str, ...]
    knows_erased: bool
    knows_exports: bool


def restore(backup: Path, db: Path, now: datetime, *, replace: bool = False) -> Restored:
    """Replace a database by a back-up, without the athletes who were erased since. The club keeps
    its name in archives, where those athletes stay on the lists of who was erased.

    Raises ``Conflict`` when there is a database and ``replace`` is False, or it is in use, and
    ``StoreUnusable`` for a back-up that is damaged, newer, or not a Dawnrule database.
    """
    if not backup.is_file():
        raise StoreUnusable(f"There is no back-up at {backup}.")
    if db.exists() and not replace:
        raise Conflict(f"There is a database at {db}. Say --replace to put it aside.")
    discard_half_made(db, db.parent)
    with draft_of(db) as draft:
        copy_database(backup, draft)
        refuse_damaged(draft, backup)
        is_of_this_version(draft)  # refuses what is newer or not ours, before it is changed
        _refuse_broken_chain(draft, backup)
        told = erasures_elsewhere(backup, db)
        carried = carry_erasures_over(draft, told, now)
        aside = _put_aside(db, now)
        move_into_place(draft, db)
    with Store.open(db) as store:
        tombstones.list_erased(store, now)
    return Restored(aside, carried.erased_again, bool(told), carried.knows_exports)


def backups_of(db: Path, folder: Path) -> list[Path]:
    """List the back-ups of a database in a folder, oldest first; only files named by a time
    count."""
    return sorted(file for file in folder.glob(names_of_backups(db)) if _is_dated(file))


def made_at(backup: Path) -> datetime:
    """Read the time in the name of a back-up."""
    text = backup.stem.rpartition("-")[2].removesuffix("Z")
    return datetime.strptime(text, f"{_TIME}.%f").replace(tzinfo=UTC)


def _is_dated(file: Path) -> bool:
    try:
        made_at(file)
    except ValueError:
        return False
    return True


def _refuse_broken_chain(copy: Path, of: Path) -> None:
    """Raise ``StoreUnusable`` when the ledger does not verify, naming the file that the copy was
    made of. Migrates an older copy."""
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


def _put_aside(db: Path, now: datetime) -> Path | None:
    for cache in db.parent.glob(glob.escape(db.name + ENDING) + "*"):
        cache.unlink()
    aside = db.with_name(f"{db.name}{ASIDE}{_stamp(now)}")
    return aside if put_aside(db, aside) else None
