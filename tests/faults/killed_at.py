"""A back-up, a restore or an erasure that is killed at a chosen step.

Run as ``python -m tests.faults.killed_at STEP NUMBER WHAT DB ABOUT``, where WHAT is backup, restore
or erase, and ABOUT is a file, or the id of the athlete to be erased. The process kills itself with
SIGKILL just before it calls a function for the NUMBER-th time, and otherwise ends with 0. A step is
a module and a name in it, such as ``os.link``.
"""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from datetime import UTC, datetime
from importlib import import_module
from itertools import count
from pathlib import Path
from typing import Any

from dawnrule.application.athletes import erase
from dawnrule.application.backups import back_up, restore
from dawnrule.store import Store

NOW = datetime(2026, 3, 20, 2, 15, tzinfo=UTC)
KILLED = -signal.SIGKILL


def killed_at(step: str, number: int, what: str, db: Path, about: object) -> bool:
    """Run it; return whether it was killed, so that it is known when there are no more steps."""
    command = [sys.executable, "-m", __name__, step, str(number), what, str(db), str(about)]
    environment = os.environ | {"PYTHONPATH": os.pathsep.join(sys.path)}
    ended = subprocess.run(command, capture_output=True, text=True, env=environment).returncode
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


def main() -> None:
    step, number, what, db, about = sys.argv[1:]
    kill_at(step, int(number))
    if what == "backup":
        back_up(Path(db), Path(about), NOW)
    elif what == "restore":
        restore(Path(about), Path(db), NOW, replace=True)
    else:
        with Store.open(db) as store:
            erase(store, about, by="k-01", at=NOW)


if __name__ == "__main__":
    main()
