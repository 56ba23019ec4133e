"""What the many clients of a service saw: every answer, how long it took, and what never came."""

from __future__ import annotations

import http.client
import json
import random
import re
import time
from collections import Counter, defaultdict
from collections.abc import Iterator, Mapping
from contextlib import closing, contextmanager
from dataclasses import dataclass, field
from threading import Lock
from typing import Any

from tests.faults.caller import NO_ANSWER, Said
from tests.faults.club import Club, Service

JSON = "application/json"
PATIENT_SECONDS = 1800.0
YES = frozenset({200, 201, 202})
BUSY, TOO_MANY = 503, 429
BATCH = "POST a batch of many rows"
LONE = "POST a lone check-in"

Beside = frozenset[str]
ALONE: Beside = frozenset()
BESIDE_A_BATCH: Beside = frozenset({BATCH})

_NAMES = re.compile(
    r"(?<=/athletes/)[^/?]+|(?<=/advice/)[^/?]+|(?<=/replays/)[^/?]+"
    r"|(?<=/rule-sets/)[\w-]+/\d[^/?]*"
)
_IDS = re.compile(r"[0-9a-f]{8}-[0-9a-f-]{27}|(?<=/athletes/)[\w-]+")


def kind_of(method: str, address: str) -> str:
    """What a request is about, without the names of those that it is about."""
    return f"{method} {_NAMES.sub('*', address.partition('?')[0])}"


@dataclass(slots=True)
class Watch:
    """Counts of all clients together. Safe for threads."""

    statuses: defaultdict[str, Counter[str]] = field(default_factory=lambda: defaultdict(Counter))
    seconds: defaultdict[str, list[float]] = field(default_factory=lambda: defaultdict(list))
    lone_seconds: defaultdict[Beside, list[float]] = field(
        default_factory=lambda: defaultdict(list)
    )
    """How long check-ins took beside which nothing began, by what was under way all the while."""

    faults: Counter[str] = field(default_factory=Counter)
    _lock: Lock = field(default_factory=Lock)
    _under_way: Counter[str] = field(default_factory=Counter)
    _begun: int = 0

    @contextmanager
    def under_way(self, kind: str) -> Iterator[None]:
        """While something is being answered or done."""
        with self._lock:
            self._under_way[kind] += 1
            self._begun += kind != LONE
        try:
            yield
        finally:
            with self._lock:
                self._under_way[kind] -= 1

    def beside_a_lone_check_in(self) -> tuple[Beside, int]:
        """What is under way now, and how many other things have begun so far."""
        with self._lock:
            now = frozenset(kind for kind, many in self._under_way.items() if many)
            return now - {LONE}, self._begun

    def answered(self, kind: str, status: str, seconds: float) -> None:
        """Count an answer."""
        with self._lock:
            self.statuses[kind][status] += 1
            self.seconds[kind].append(seconds)

    def fault(self, said: str) -> None:
        """Count what should not be."""
        with self._lock:
            self.faults[said] += 1

    def answers(self) -> int:
        """How many there were so far."""
        with self._lock:
            return sum(many.total() for many in self.statuses.values())


@dataclass(frozen=True, slots=True)
class WatchedCaller:
    """One client. ``kind`` names all that it sends, where that is one thing; ``expects`` are the
    statuses that are right; whoever is asked to wait may be asked that by any answer."""

    club: Club
    watch: Watch
    key: str
    chance: random.Random
    kind: str | None = None
    expects: frozenset[int] = YES

    def ask(self, method: str, address: str, body: Mapping[str, Any] | None = None) -> Said:
        """The answer of whichever process. Raises one of ``NO_ANSWER``."""
        return self.send(method, address, None if body is None else json.dumps(body).encode())

    def send(
        self, method: str, address: str, content: bytes | None, headers: Mapping[str, str] = {}
    ) -> Said:
        """The answer to a body of any kind; JSON is told as it is, anything else as nothing.
        Raises one of ``NO_ANSWER``."""
        kind = self.kind or kind_of(method, address)
        service = self.club.any_up(self.chance)
        kills, was_up, began = service.kills, service.is_up, time.perf_counter()
        sent = {"Authorization": f"Bearer {self.key}", "Content-Type": JSON} | dict(headers)
        try:
            with self.watch.under_way(kind):
                answer, said = _asked(service, method, address, content, sent)
        except NO_ANSWER as error:
            self._cut_off(kind, error, is_excused=not was_up or service.kills > kills)
            raise
        self._count(kind, answer, said, time.perf_counter() - began)
        is_json = "json" in (answer.getheader("Content-Type") or "") and said
        return Said(answer.status, json.loads(said) if is_json else {})

    def _cut_off(self, kind: str, error: Exception, is_excused: bool) -> None:
        if is_excused:
            self.watch.answered(kind, "cut off by a kill", 0)
        else:
            self.watch.answered(kind, "no answer", 0)
            self.watch.fault(f"{kind}: no answer: {error!r}")

    def _count(
        self, kind: str, answer: http.client.HTTPResponse, said: bytes, seconds: float
    ) -> None:
        asked_to_wait = answer.status in (BUSY, TOO_MANY) and answer.getheader("Retry-After")
        status = f"{answer.status} with Retry-After" if asked_to_wait else str(answer.status)
        self.watch.answered(kind, status, seconds)
        if not asked_to_wait and answer.status not in self.expects:
            text = _IDS.sub("*", said[:300].decode(errors="replace"))
            self.watch.fault(f"{kind}: {answer.status}: {text}")


def _asked(
    service: Service, method: str, address: str, content: bytes | None, headers: Mapping[str, str]
) -> tuple[http.client.HTTPResponse, bytes]:
    """The answer over a connection of its own, as of a phone that was in a pocket."""
    connection = http.client.HTTPConnection("127.0.0.1", service.port, timeout=PATIENT_SECONDS)
    with closing(connection):
        connection.request(method, address, content, dict(headers))
        answer = connection.getresponse()
        return answer, answer.read()
