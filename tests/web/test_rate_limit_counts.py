"""Counts of requests: they end with their window, and leave no trace."""

from __future__ import annotations

import threading
import time

import pytest

from dawnrule.web.http.rate_limits import FixedWindow


@pytest.fixture
def window() -> FixedWindow:
    return FixedWindow()


def seconds_pass(seconds: float, monkeypatch: pytest.MonkeyPatch) -> None:
    now = time.monotonic()
    monkeypatch.setattr(time, "monotonic", lambda: now + seconds)


def test_a_count_lasts_as_long_as_its_window(
    window: FixedWindow, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert [window.hit("a")[0], window.hit("a")[0], window.hit("b")[0]] == [1, 2, 1]
    count, seconds_left = window.hit("a")
    assert count == 3
    assert 0 < seconds_left <= 60
    seconds_pass(61, monkeypatch)
    assert window.hit("a") == (1, 60)


def test_a_clock_that_is_set_changes_no_count(
    window: FixedWindow, monkeypatch: pytest.MonkeyPatch
) -> None:
    window.hit("a")
    now = time.time()
    monkeypatch.setattr(time, "time", lambda: now + 61)
    assert window.hit("a")[0] == 2


def test_a_count_that_has_ended_takes_no_memory(
    window: FixedWindow, monkeypatch: pytest.MonkeyPatch
) -> None:
    for number in range(1000):
        window.hit(str(number))
    seconds_pass(61, monkeypatch)
    window.hit("a")
    assert len(window) == 1


def test_several_threads_lose_no_count(window: FixedWindow) -> None:
    def count() -> None:
        for _ in range(2000):
            window.hit("a")

    threads = [threading.Thread(target=count) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert window.hit("a")[0] == 8001
