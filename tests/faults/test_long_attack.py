"""All attacks at once, for some seconds, and that a promise that is broken meanwhile is noticed."""

from __future__ import annotations

import random
import re
from collections.abc import Iterator
from http.server import BaseHTTPRequestHandler, HTTPServer
from pathlib import Path
from threading import Thread

import pytest

from tests.faults.club import Club, Service
from tests.faults.long_attack import Options, attacked, grown, never_accepted, too_slow
from tests.faults.watch import ALONE, BATCH, BESIDE_A_BATCH, LONE, Watch, WatchedCaller


def test_under_all_attacks_at_once_every_promise_is_kept(
    capsys: pytest.CaptureFixture[str],
) -> None:
    short = Options(minutes=0.06, rows=50, kill_each=1.5, longest_wait_ms=10_000, seed=1)
    assert attacked(short) == []
    told = capsys.readouterr().out
    assert re.search(r"killed [1-9]", told)
    assert re.search(r"acknowledged: [1-9]", told)


class Answer(BaseHTTPRequestHandler):
    """Answers with the status that the address names; ``/silent`` with nothing at all."""

    def do_GET(self) -> None:
        _, status, *waits = self.path.split("/")
        if status == "silent":
            return
        self.send_response(int(status))
        if waits:
            self.send_header("Retry-After", "1")
        self.send_header("Content-Length", "0")
        self.end_headers()

    def log_message(self, *_: object) -> None:
        pass


@pytest.fixture
def answering() -> Iterator[WatchedCaller]:
    with HTTPServer(("127.0.0.1", 0), Answer) as server:
        thread = Thread(target=server.serve_forever)
        thread.start()
        service = Service(Path("none.db"), server.server_port, Path("none"), is_up=True)
        yield WatchedCaller(Club([service]), Watch(), "key", random.Random(1))
        server.shutdown()
        thread.join()


def test_only_who_says_when_to_come_back_may_say_no(answering: WatchedCaller) -> None:
    for address in ("/200", "/503/waits", "/429/waits"):
        answering.ask("GET", address)
    assert not answering.watch.faults
    for address in ("/503", "/429", "/500", "/404"):
        answering.ask("GET", address)
    assert list(answering.watch.faults) == [
        f"GET /{status}: {status}: " for status in (503, 429, 500, 404)
    ]


def test_no_answer_is_a_fault_but_of_a_process_that_was_killed(answering: WatchedCaller) -> None:
    for is_up in (False, True):
        answering.club.services[0].is_up = is_up
        with pytest.raises(OSError, match="without response"):
            answering.ask("GET", "/silent")
    assert answering.watch.statuses["GET /silent"] == {"cut off by a kill": 1, "no answer": 1}
    assert answering.watch.faults.total() == 1


def test_a_lone_check_in_is_one_beside_nothing_but_a_batch() -> None:
    watch = Watch()
    with watch.under_way(LONE):
        assert watch.beside_a_lone_check_in() == (ALONE, 0)
        with watch.under_way(BATCH):
            before = watch.beside_a_lone_check_in()
            assert before == (BESIDE_A_BATCH, 1)
            with watch.under_way("GET /healthz"):
                assert watch.beside_a_lone_check_in()[0] == {BATCH, "GET /healthz"}
            assert watch.beside_a_lone_check_in() != before, "something has begun meanwhile"


def test_memory_that_grows_waits_that_are_long_and_what_is_never_accepted_are_told() -> None:
    assert grown([150.0] * 10 + [160.0] * 10 + [170.0] * 10) is None
    assert grown([150.0 + 3 * minute for minute in range(30)]) == (
        "memory has grown from 164 to 224 MB"
    )
    assert too_slow([0.1, 0.4], 500) is None
    assert too_slow([0.1, 0.6], 500) == "a lone check-in waited for 600 ms beside a batch"
    watch = Watch()
    for kind, status in (("a", "200"), ("a", "404"), *[("b", "422")] * 10, ("c", "404")):
        watch.answered(kind, status, 0)
    assert list(never_accepted(watch)) == ["never accepted: b"]
