"""One client of the service: how it calls, and what it accepts as an answer."""

from __future__ import annotations

import http.client
import json
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Protocol

from tests.faults.serving import KEY

PATIENT_SECONDS = 60.0
NO_ANSWER = (OSError, http.client.HTTPException)
"""What is raised when a connection breaks before there is a whole answer."""

_HEADERS = {"Authorization": f"Bearer {KEY}", "Content-Type": "application/json"}


@dataclass(frozen=True, slots=True)
class Said:
    """An answer: its status, and its body as plain JSON values."""

    status: int
    body: dict[str, Any]


class Asks(Protocol):
    """Whoever can be asked as the service is."""

    def ask(self, method: str, address: str, body: Mapping[str, Any] | None = None) -> Said: ...


class Caller:
    """One connection, kept open from one request to the next. ``host`` is what a proxy with
    several services behind it is asked for."""

    def __init__(self, port: int, host: str | None = None) -> None:
        self._headers = _HEADERS | ({"Host": host} if host else {})
        self._connection = http.client.HTTPConnection("127.0.0.1", port, timeout=PATIENT_SECONDS)

    def ask(self, method: str, address: str, body: Mapping[str, Any] | None = None) -> Said:
        """The answer to a request. Raises one of ``NO_ANSWER``."""
        sent = None if body is None else json.dumps(body).encode()
        self._connection.request(method, address, sent, self._headers)
        answer = self._connection.getresponse()
        return Said(answer.status, json.loads(answer.read()))

    def close(self) -> None:
        """Hang up."""
        self._connection.close()
