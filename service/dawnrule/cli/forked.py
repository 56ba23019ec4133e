"""Forked processes that take shares of some work, each as soon as it has none."""

from __future__ import annotations

import os
import signal
import sys
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from typing import TYPE_CHECKING, Any

from dawnrule.errors import DawnruleError
from dawnrule.i18n.lazy import lazy

if TYPE_CHECKING:  # whoever has little work needs no other process
    from multiprocessing.connection import Connection
    from multiprocessing.process import BaseProcess


def cores() -> int:
    """Return how many processes can run at once; 1 where none can be forked."""
    return len(os.sched_getaffinity(0)) if sys.platform == "linux" else 1


@contextmanager
def forked(processes: int, work: Callable[[Connection], None]) -> Iterator[list[Connection]]:
    """Fork processes that work, each with a connection to here; all have ended when this returns,
    whatever has happened. Raises ``DawnruleError`` where one cannot be forked."""
    import multiprocessing

    fork = multiprocessing.get_context("fork")
    started: list[BaseProcess] = []
    connections: list[Connection] = []
    try:
        for _ in range(processes):
            here, there = fork.Pipe()
            connections.append(here)
            process: BaseProcess = fork.Process(target=_work, args=(work, there, here), daemon=True)
            _start(process)
            started.append(process)
            there.close()
        yield connections
    finally:
        for process in started:
            process.kill()  # one that has just been forked may miss any other signal
            process.join()
        for connection in connections:
            connection.close()


def answers(connections: Sequence[Connection], shares: Sequence[Any]) -> Iterator[Any]:
    """Send each process a share as soon as it has none, and yield what they answer. Raises what one
    of them raised, and ``DawnruleError`` when one ends before it is done."""
    from multiprocessing.connection import wait

    left = [*reversed(shares)]
    idle: list[Connection] = [*connections]
    busy: list[Connection] = []
    try:
        while left or busy:
            while idle and left:
                idle[-1].send(left.pop())
                busy.append(idle.pop())
            ready = wait(busy)
            for connection in [one for one in busy if one in ready]:
                answered = connection.recv()
                if isinstance(answered, DawnruleError):
                    raise answered
                busy.remove(connection)
                idle.append(connection)
                yield answered
    except (EOFError, ConnectionError) as error:
        raise DawnruleError(lazy("sheet.process_ended")) from error


def _start(process: BaseProcess) -> None:
    try:
        process.start()
    except OSError as error:  # there are too many already, or too little memory
        raise DawnruleError(lazy("sheet.process_ended")) from error


def _work(work: Callable[[Connection], None], there: Connection, here: Connection) -> None:
    """Work as a forked process. Ctrl-C is left to the one that forked it, which ends all; if that
    is killed, the connection closes and this process ends too."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    signal.signal(signal.SIGTERM, signal.SIG_DFL)
    here.close()
    with suppress(EOFError, ConnectionError):
        work(there)
