"""Heads that leave the house: the newest entry of the ledger, written where a coach wants it.

Only a head that somebody kept elsewhere shows that the end of a ledger was cut off, or that it was
written anew. Who has to remember to keep one does not, so the service appends one a day to a file,
which can stand on another machine or in a folder that is carried elsewhere.
"""

from __future__ import annotations

import logging
import re
from collections.abc import Callable
from contextlib import AbstractContextManager, nullcontext
from datetime import UTC, datetime
from pathlib import Path

from dawnrule.background import repeated
from dawnrule.errors import DawnruleError
from dawnrule.store import Head, Store

_log = logging.getLogger("dawnrule.heads")

_HEAD = re.compile(r"(?<![0-9a-f:])([0-9]{1,15}):([0-9a-f]{64})(?![0-9a-f])")
_ONE_DAY_IN_SECONDS = 86_400.0


def head_text(head: Head) -> str:
    """Write a head as ``audit verify`` takes it."""
    return f"{head.position}:{head.digest}"


def heads_in(text: str) -> list[Head]:
    """Find the heads in a text, whatever stands around them: a file of the service, an export, a
    message."""
    return [Head(int(position), digest) for position, digest in _HEAD.findall(text)]


def append_head(store: Store, file: Path, at: datetime) -> None:
    """Append the newest head to a file with its time, unless it is the last one there. Raises
    ``OSError``."""
    newest = store.read(lambda transaction: transaction.ledger.head())
    known = heads_in(file.read_text(encoding="utf-8")) if file.exists() else []
    if newest.position and known[-1:] != [newest]:
        with file.open("a", encoding="utf-8") as lines:
            lines.write(f"{at.astimezone(UTC).isoformat(timespec='seconds')} {head_text(newest)}\n")


def heads_kept(
    store: Store, file: Path | None, clock: Callable[[], datetime]
) -> AbstractContextManager[None]:
    """Append the newest head to a file now and each day, in a thread, until the block ends; None
    keeps none."""
    if file is None:
        return nullcontext()
    return repeated(
        lambda: _ONE_DAY_IN_SECONDS,
        lambda: _append_and_log(store, file, clock()),
        "dawnrule-heads",
    )


def _append_and_log(store: Store, file: Path, at: datetime) -> None:
    try:
        append_head(store, file, at)
    except (OSError, DawnruleError) as error:
        _log.error("the head of the ledger could not be written to %s: %s", file, error)
