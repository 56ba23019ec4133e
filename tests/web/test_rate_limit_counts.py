"""Do the counts of requests run out, and leave no trace?"""

from __future__ import annotations

import threading
import time

import pytest

from dawnrule.web.http.rate_limits import CountsInMemory


@pytest.fixture
def counts() -> CountsInMemory:
    return CountsInMemory()


def seconds_pass(seconds: float, monkeypatch: pytest.MonkeyPatch) -> None:
    now = time.time()
    monkeypatch.setattr(time, "time", lambda: now + seconds)


def test_a_count_lasts_as_long_as_its_window(
    counts: CountsInMemory, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert [counts.incr("a", 60), counts.incr("a", 60), counts.incr("b", 60)] == [1, 2, 1]
    assert counts.get("a") == 2
    assert 0 < counts.get_expiry("a") - time.time() <= 60
    seconds_pass(61, monkeypatch)
    assert counts.get("a") == 0
    assert counts.incr("a", 60) == 1


def test_what_has_run_out_takes_no_memory(
    counts: CountsInMemory, monkeypatch: pytest.MonkeyPatch
) -> None:
    for number in range(1000):
        counts.incr(str(number), 60)
    seconds_pass(61, monkeypatch)
    counts.incr("a", 60)
    assert counts.reset() == 1


def test_several_threads_lose_no_count(counts: CountsInMemory) -> None:
    def count() -> None:
        for _ in range(2000):
            counts.incr("a", 60)

    threads = [threading.Thread(target=count) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert counts.get("a") == 8000


def test_a_count_can_be_forgotten(counts: CountsInMemory) -> None:
    counts.incr("a", 60)
    counts.clear("a")
    assert counts.get("a") == 0
    assert counts.check()
