"""Leftovers: what a process that was killed did not finish, finished by the next one.

These are bytes of erased data in the files of the database, and half-made copies beside it.
"""

from __future__ import annotations

import logging
from threading import Event, Thread

from dawnrule.application.athletes import delete_side_files
from dawnrule.background import every
from dawnrule.errors import DawnruleError
from dawnrule.store import Store
from dawnrule.store.backup import discard_half_made

_TRY_AGAIN_SECONDS = 60.0

_log = logging.getLogger("dawnrule.leftovers")


class Leftovers:
    """The leftovers of one database, looked for at the start of the service and each minute."""

    def __init__(self, store: Store) -> None:
        self._store = store
        self._stop = Event()
        self._thread: Thread | None = None

    def start(self) -> None:
        """Look for leftovers, in a thread, until ``close``."""
        self._thread = every(
            lambda: _TRY_AGAIN_SECONDS, self.finish, self._stop, "dawnrule-leftovers"
        )

    def close(self) -> None:
        """Stop looking; what has begun is finished."""
        self._stop.set()
        if self._thread is not None:
            self._thread.join()

    def finish(self) -> None:
        """Finish what is left; what cannot be finished is logged, and tried again in a minute."""
        try:
            discard_half_made(self._store.file, self._store.file.parent)
            if self._store.read(lambda transaction: transaction.traces.count()):
                self._remove_traces()
        except DawnruleError as error:
            _log.error("what a killed process left could not be removed: %s", error.detail)

    def _remove_traces(self) -> None:
        _log.warning("an erasure was not finished: traces may be left, and the files are rewritten")
        delete_side_files(self._store)
        if self._store.wipe():
            _log.info("the erasure is finished: nothing that was erased is left in the files")
        else:
            _log.warning("traces of an erasure may be left: the files could not be written anew")
