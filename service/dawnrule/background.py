"""Work that is repeated in the background."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from threading import Event, Thread


def every(
    seconds: Callable[[], float], job: Callable[[], object], stop: Event, name: str
) -> Thread:
    """Start a thread that runs a job at once, and again after each pause until ``stop`` is set.

    ``seconds`` is asked after each run how long the pause is. The job handles its own errors.
    """

    def repeat() -> None:
        job()
        while not stop.wait(seconds()):
            job()

    thread = Thread(target=repeat, name=name, daemon=True)
    thread.start()
    return thread


@contextmanager
def repeated(seconds: Callable[[], float], job: Callable[[], object], name: str) -> Iterator[None]:
    """Repeat a job as ``every`` does until the block ends; a run that has begun is finished."""
    stop = Event()
    thread = every(seconds, job, stop, name)
    try:
        yield
    finally:
        stop.set()
        thread.join()
