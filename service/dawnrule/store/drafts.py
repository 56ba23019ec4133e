"""Names beside a database: its drafts, and what a restore put aside.

Drafts are whole copies of a database under hidden names, until they are checked and renamed.

A draft holds everything that the database does, so none may outlive its maker. Whoever makes one
shares a lock on its folder, which the system ends with the process, however that ends. A draft in a
folder that nobody has locked was left behind, and may be deleted by anybody.
"""

from __future__ import annotations

import fcntl
import glob
import os
import re
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from uuid import uuid4

COMPANIONS = ("-wal", "-shm", "-journal")
"""The endings of the files that SQLite keeps beside a database."""

ASIDE = ".replaced-"
"""What follows the name of a database that a restore put aside; then comes the time."""

_ID = re.compile(rf"[0-9a-f]{{32}}({'|'.join(COMPANIONS)})?")
_LEFT_BEHIND_SECONDS = 86_400
"""The age from which a draft is left behind where folders cannot be locked, as on some network
file systems: no copy takes a day to be checked."""


@contextmanager
def draft_of(file: Path) -> Iterator[Path]:
    """Yield a hidden name beside a file for its draft; whatever is still there at the end is
    deleted."""
    draft = file.with_name(f".{file.name}.{uuid4().hex}")
    with locked(file.parent, fcntl.LOCK_SH):
        try:
            yield draft
        finally:
            discard(draft)


def drafts_of(file: Path) -> list[Path]:
    """List the drafts of a file, with the files that SQLite keeps beside them."""
    return _drafts(file.parent, glob.escape(file.name))


def asides_of(db: Path) -> list[Path]:
    """List the databases that restores put aside from a place."""
    return sorted(db.parent.glob(f"{glob.escape(db.name)}{ASIDE}*Z"))


def discard_left_behind(folder: Path, *names: str) -> None:
    """Delete drafts that nobody is making any more, of files whose names match the patterns of
    ``glob``. Where others make drafts in the folder, all stay. Raises ``OSError``."""
    found = [draft for name in names for draft in _drafts(folder, name)]
    if not found:
        return
    with suppress(BlockingIOError), locked(folder, fcntl.LOCK_EX | fcntl.LOCK_NB) as is_locked:
        for draft in found:
            if is_locked or is_left_behind(draft):
                draft.unlink(missing_ok=True)


def is_left_behind(draft: Path) -> bool:
    """Whether a draft is so old that nobody is making it any more."""
    try:
        return time.time() - draft.stat().st_mtime > _LEFT_BEHIND_SECONDS
    except FileNotFoundError:
        return False


def discard(file: Path) -> None:
    """Delete a database, if it is there."""
    for companion in ("", *COMPANIONS):
        file.with_name(file.name + companion).unlink(missing_ok=True)


@contextmanager
def locked(folder: Path, how: int) -> Iterator[bool]:
    """Lock a folder; yield False where its file system cannot do that. Raises ``BlockingIOError``
    when others hold it and ``how`` says not to wait."""
    try:
        handle = os.open(folder, os.O_RDONLY)
    except OSError:
        handle = None
    if handle is None:  # whoever wants to write here is told why they cannot
        yield False
        return
    try:
        yield _is_lockable(handle, how)
    finally:
        os.close(handle)


def _drafts(folder: Path, names: str) -> list[Path]:
    found = folder.glob(f".{names}.*")
    return sorted(draft for draft in found if _ID.fullmatch(draft.name.rpartition(".")[2]))


def _is_lockable(handle: int, how: int) -> bool:
    try:
        fcntl.flock(handle, how)
    except BlockingIOError:
        raise
    except OSError:
        return False
    return True
