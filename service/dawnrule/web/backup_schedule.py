"""Who makes the back-ups that the service was asked to make? A thread that starts a command.

The command is ``dawnrule backup``, in a process of its own: checking a copy takes a processor for
a while, which those who check in meanwhile should not feel. When the next one is due is read from
the folder, so that neither a restart nor a second process of the service makes more of them.
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
from dawnrule.settings import Settings
from dawnrule.web.observability import Metrics

_LOOK_AGAIN_SECONDS = 60.0
_ASK_AGAIN_SECONDS = 0.2

_log = logging.getLogger("dawnrule.backups")


class Backups:
    """The back-ups of one database into the folder that the settings name, if they name one."""

    def __init__(
        self, db: Path, settings: Settings, metrics: Metrics, clock: Callable[[], datetime]
    ) -> None:
        self._db = db
        self._folder = settings.backup_folder
        self._every = timedelta(hours=settings.backup_every_hours)
        self._keep = settings.backup_keep
        self._metrics = metrics
        self._clock = clock
        self._ended = Event()
        self._thread: Thread | None = None

    def start(self) -> None:
        """Look now and then whether a back-up is due, until ``close``."""
        if self._folder is not None:
            self._thread = Thread(target=self._run, name="dawnrule-backups", daemon=True)
            self._thread.start()

    def close(self) -> None:
        """Make no more of them; one that is being made is given up."""
        self._ended.set()
        if self._thread is not None:
            self._thread.join()

    def make_if_due(self) -> bool:
        """Make a back-up when the newest is too old; whether one was made. One that was made
        later than now, by a clock that ran ahead, does not count. A failure is logged and counted,
        and it is tried again at the next look."""
        if self._folder is None:
            return False
        now = self._clock()
        times = map(made_at, backups_of(self._db, self._folder))
        newest = max((at for at in times if at <= now), default=None)
        if newest is not None and now - newest < self._every:
            self._metrics.backed_up(newest.timestamp())
            return False
        return self._make(self._folder)

    def _run(self) -> None:
        while not self._ended.is_set():
            self.make_if_due()
            self._ended.wait(_LOOK_AGAIN_SECONDS)

    def _make(self, folder: Path) -> bool:
        command = [sys.executable, "-m", "dawnrule", "backup", "--db", str(self._db)]
        command += ["--to", str(folder), "--keep", str(self._keep)]
        try:
            process = subprocess.Popen(command, stdout=PIPE, stderr=PIPE, text=True)
        except OSError as error:
            return self._failed(str(error.strerror))
        with process:
            while process.poll() is None and not self._ended.wait(_ASK_AGAIN_SECONDS):
                pass
            if process.poll() is None:
                process.send_signal(signal.SIGINT)  # once: it tidies up behind it
            said, complaint = process.communicate()
        if self._ended.is_set():
            return False
        if process.returncode != 0:
            return self._failed(complaint.strip())
        _log.info("backed up: %s", said.strip())
        self._metrics.backed_up(self._clock().timestamp())
        return True

    def _failed(self, why: str) -> bool:
        _log.error("no back-up could be made: %s", why)
        self._metrics.backup_failed()
        return False
