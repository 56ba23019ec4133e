"""Scheduled back-ups, each made by ``dawnrule backup`` in a process of its own.

Checking a copy keeps a processor busy, which would slow down check-ins in this process. The time
of the last one is read from the folder, so a restart or a second process of the service does not
make additional ones.
"""

from __future__ import annotations

import logging
import signal
import subprocess
import sys
from collections.abc import Callable
from datetime import datetime, timedelta
from pathlib import Path
from subprocess import PIPE
from threading import Event, Thread

from dawnrule.application.backups import backups_of, made_at
from dawnrule.application.erased import list_erased
from dawnrule.background import every
from dawnrule.errors import StoreBusy, StoreUnusable
from dawnrule.settings import Settings
from dawnrule.store.backup import discard_half_made
from dawnrule.web.observability import Metrics

_CHECK_SECONDS = 60.0
_POLL_SECONDS = 0.2

_log = logging.getLogger("dawnrule.backups")


class Backups:
    """A schedule of back-ups of one database into the folder of the settings, if there is one."""

    def __init__(
        self, db: Path, settings: Settings, metrics: Metrics, clock: Callable[[], datetime]
    ) -> None:
        self._db = db
        self._folder = settings.backup_folder
        self._every = timedelta(hours=settings.backup_every_hours)
        self._keep = settings.backup_keep
        self._metrics = metrics
        self._clock = clock
        self._stop = Event()
        self._thread: Thread | None = None

    def start(self) -> None:
        """Check each minute, in a thread, whether a back-up is due, until ``close``."""
        if self._folder is not None:
            self._thread = every(
                lambda: _CHECK_SECONDS, self.make_if_due, self._stop, "dawnrule-backups"
            )

    def close(self) -> None:
        """End the schedule; a back-up that is being made is abandoned."""
        self._stop.set()
        if self._thread is not None:
            self._thread.join()

    def make_if_due(self) -> bool:
        """Make a back-up if the newest is too old, and return whether one was made.

        A back-up dated in the future, by a clock that ran ahead, does not count. A failure is
        logged and counted, and retried at the next check.
        """
        if self._folder is None or self._stop.is_set():
            return False
        self._discard_half_made(self._folder)
        self.list_erased()
        now = self._clock()
        times = map(made_at, backups_of(self._db, self._folder))
        newest = max((at for at in times if at <= now), default=None)
        if newest is not None and now - newest < self._every:
            self._metrics.backed_up(newest.timestamp())
            return False
        return self._make(self._folder)

    def list_erased(self) -> None:
        """Add who was erased to the list beside the back-ups, so that a restore brings nobody back
        who was erased after the last of these. A failure is logged, and retried with the next
        check."""
        if self._folder is None:
            return
        try:
            list_erased(self._db, self._folder)
        except (StoreBusy, StoreUnusable) as error:
            _log.error("the list of who was erased was not written: %s", error.detail)

    def _discard_half_made(self, folder: Path) -> None:
        """Delete whole copies that a killed process left behind: at the start of the service, and
        before the minute is over while it runs."""
        try:
            discard_half_made(self._db, folder)
        except StoreUnusable as error:
            _log.error("a half-made back-up is left: %s", error.detail)

    def _make(self, folder: Path) -> bool:
        command = [sys.executable, "-m", "dawnrule", "backup", "--db", str(self._db)]
        command += ["--to", str(folder), "--keep", str(self._keep)]
        try:
            process = subprocess.Popen(command, stdout=PIPE, stderr=PIPE, text=True)
        except OSError as error:
            return self._failed(str(error.strerror))
        with process:
            while process.poll() is None and not self._stop.wait(_POLL_SECONDS):
                pass
            if process.poll() is None:
                process.send_signal(signal.SIGINT)  # it removes its unfinished copy
            output, errors = process.communicate()
        if self._stop.is_set():
            return False
        if process.returncode != 0:
            return self._failed(errors.strip())
        _log.info("backed up: %s. %s", output.strip(), errors.strip())  # with the newest entry
        self._metrics.backed_up(self._clock().timestamp())
        return True

    def _failed(self, reason: str) -> bool:
        _log.error("no back-up could be made: %s", reason)
        self._metrics.backup_failed()
        return False
