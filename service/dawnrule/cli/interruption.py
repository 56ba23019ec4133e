"""How a command is ended before it is done."""

from __future__ import annotations

import signal
from collections.abc import Iterator
from contextlib import contextmanager


@contextmanager
def sigterm_as_ctrl_c() -> Iterator[None]:
    """Take SIGTERM as Ctrl-C, so that whatever is open is closed: nothing of what athletes reported
    is left in temporary files, and no process."""
    before = signal.signal(signal.SIGTERM, signal.default_int_handler)
    try:
        yield
    finally:
        signal.signal(signal.SIGTERM, before)
