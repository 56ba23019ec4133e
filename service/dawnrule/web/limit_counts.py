"""Where does the library that limits requests keep its counts? In memory, without threads.

The library's own memory starts a thread whenever a count may have run out, up to a hundred times
a second, and whoever asks just then waits for it to start. Here whoever asks first in a minute
throws out what has run out.
"""

from __future__ import annotations

import time
from threading import Lock

from limits.storage import Storage

_SWEPT_EACH_SECONDS = 60


class CountsInMemory(Storage):
    """Counts by key, each until its window ends; safe to use from several threads."""

    STORAGE_SCHEME = None

    def __init__(self) -> None:
        super().__init__()
        self._counts: dict[str, tuple[int, float]] = {}
        self._sweep_at = 0.0
        self._lock = Lock()

    @property
    def base_exceptions(self) -> type[Exception]:
        """What the library shall take for a failure of the storage."""
        return MemoryError

    def incr(self, key: str, expiry: int, amount: int = 1) -> int:
        """Add to a count, which begins a window of ``expiry`` seconds if there is none; the
        count."""
        now = time.time()
        with self._lock:
            if now >= self._sweep_at:
                self._sweep(now)
            count, ends = self._counts.get(key, (0, 0.0))
            if ends <= now:
                count, ends = 0, now + expiry
            self._counts[key] = count + amount, ends
        return count + amount

    def get(self, key: str) -> int:
        """A count; 0 when its window has ended."""
        count, ends = self._counts.get(key, (0, 0.0))
        return count if ends > time.time() else 0

    def get_expiry(self, key: str) -> float:
        """When the window of a count ends, in seconds since 1970; now if there is none."""
        return self._counts.get(key, (0, time.time()))[1]

    def check(self) -> bool:
        """It always works."""
        return True

    def reset(self) -> int:
        """Forget all counts; how many there were."""
        with self._lock:
            known = len(self._counts)
            self._counts.clear()
        return known

    def clear(self, key: str) -> None:
        """Forget a count."""
        with self._lock:
            self._counts.pop(key, None)

    def _sweep(self, now: float) -> None:
        self._counts = {key: kept for key, kept in self._counts.items() if kept[1] > now}
        self._sweep_at = now + _SWEPT_EACH_SECONDS
