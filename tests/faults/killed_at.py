"""A back-up, a restore or an erasure that is killed at a chosen step.

Its process kills itself with SIGKILL just before it calls a function for the how manieth time, and
otherwise ends with 0. A step is a module and a name in it, such as ``os.link``.
"""

from __future__ import annotations

import os
import signal
from datetime import UTC, datetime
from importlib import import_module
from itertools import count
from pathlib import Path
from typing import Any

from dawnrule.application.athletes import erase
from dawnrule.application.backups import back_up, restore
from dawnrule.store import Store
from tests.warm import Forked

NOW = datetime(2026, 3, 20, 2, 15, tzinfo=UTC)
KILLED = -signal.SIGKILL


def killed_at(step: str, number: int, what: str, db: Path, about: object) -> bool:
    """Do it; return whether it was killed, so that it is known when there are no more steps.

    ``what`` is backup, restore or erase; ``about`` is a file, or the id of the athlete to be
    erased."""
    ended = Forked(_do, step, number, what, db, about).wait()
    assert ended in (0, KILLED)
    return ended == KILLED


def kill_at(step: str, number: int) -> None:
    """Make the NUMBER-th call of a function the last thing that this process does."""
    place, _, name = step.rpartition(".")
    module: Any = import_module(place)
    function, calls = getattr(module, name), count(1)

    def called(*given: Any, **named: Any) -> Any:
        if next(calls) == number:
            os.kill(os.getpid(), signal.SIGKILL)
        return function(*given, **named)

    setattr(module, name, called)


def _do(step: str, number: int, what: str, db: Path, about: Any) -> None:
    kill_at(step, number)
    if what == "backup":
        back_up(db, about, NOW)
    elif what == "restore":
        restore(about, db, NOW, replace=True)
    else:
        with Store.open(db) as store:
            erase(store, about, by="k-01", at=NOW)
