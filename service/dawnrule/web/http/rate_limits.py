"""Rate limits by key, private address and client, counted in this process in windows of a minute.

- Each key has a number of requests (``key``), and so has each private address
  (``private-address``).
- A client that sends wrong keys, or private addresses that do not exist, is refused for the rest
  of the minute (``wrong-guesses``), as is one that tries to sign in too often (``sign-in``). These
  two are counted by network address. A known key is accepted all the same: it is too long to be
  guessed, and one phone with an old address must not lock out its whole club.

OPTIONS is never counted: it only names methods. HEAD is, as it does the work of GET; spreadsheet
programs send both before each GET. Windows are timed by the monotonic clock, which nobody can set.

The headers are those of the IETF's draft "RateLimit header fields for HTTP" (version 10).
"""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import lru_cache, wraps
from hashlib import sha256
from ipaddress import IPv6Address, IPv6Network, ip_address
from math import ceil
from threading import Lock
from typing import ParamSpec, TypeVar

from flask import Flask, Response, current_app, g, request

from dawnrule.errors import TooManyRequests
from dawnrule.settings import Settings

P = ParamSpec("P")
R = TypeVar("R")

_WINDOW_SECONDS = 60
_EXTENSION = "dawnrule-limits"
_ADDRESSES_CACHED = 1024
_SUBSCRIBER_BITS = 64  # an IPv6 subscriber has at least 2**64 addresses to choose from
_DIGEST_CHARACTERS = 32


class FixedWindow:
    """Counts by key, each in a window of a minute that begins with its first hit; thread-safe."""

    def __init__(self) -> None:
        self._counts: dict[str, tuple[int, float]] = {}
        self._sweep_at = 0.0
        self._lock = Lock()

    def hit(self, key: str) -> tuple[int, float]:
        """Count a hit; return the count and the seconds left in its window."""
        now = time.monotonic()
        with self._lock:
            if now >= self._sweep_at:
                self._sweep(now)
            count, end = self._counts.get(key, (0, 0.0))
            if end <= now:
                count, end = 0, now + _WINDOW_SECONDS
            self._counts[key] = count + 1, end
        return count + 1, end - now

    def __len__(self) -> int:
        """Count the keys that take up memory."""
        return len(self._counts)

    def _sweep(self, now: float) -> None:
        self._counts = {key: entry for key, entry in self._counts.items() if entry[1] > now}
        self._sweep_at = now + _WINDOW_SECONDS


@dataclass(frozen=True, slots=True)
class Limit:
    """A number of requests per minute; 0 means no limit."""

    name: str
    per_minute: int


class Limits:
    """The limits of one application, and what was used of them."""

    def __init__(self, settings: Settings) -> None:
        self.key = Limit("key", settings.key_requests_per_minute)
        self.private_address = Limit(
            "private-address", settings.private_address_requests_per_minute
        )
        self.sign_in = Limit("sign-in", settings.sign_in_tries_per_minute)
        self.wrong_guesses = Limit("wrong-guesses", settings.wrong_guesses_per_minute)
        self._window = FixedWindow()

    def attach(self, app: Flask) -> None:
        """Apply these limits to an application, and announce them in its answers."""
        app.extensions[_EXTENSION] = self
        app.after_request(_add_headers)

    def spend(self, limit: Limit, subject: str) -> None:
        """Count one request. Raises ``TooManyRequests`` beyond the limit."""
        if not limit.per_minute:
            return
        count, seconds_left = self._window.hit(f"{limit.name}/{subject}")
        seconds = max(1, ceil(seconds_left))
        remaining = max(0, limit.per_minute - count)
        g.rate_limit = {
            "RateLimit-Policy": f'"{limit.name}";q={limit.per_minute};w={_WINDOW_SECONDS}',
            "RateLimit": f'"{limit.name}";r={remaining};t={seconds}',
        }
        if count > limit.per_minute:
            g.rate_limit["Retry-After"] = str(seconds)
            raise TooManyRequests(
                f"More than {limit.per_minute} in a minute. Try again in {seconds} seconds."
            )


def limit_private_address(view: Callable[P, R]) -> Callable[P, R]:
    """Limit a view by the ``token`` in its address; the view calls ``wrong_guess`` for an unknown
    one."""

    @wraps(view)
    def limited(*args: P.args, **kwargs: P.kwargs) -> R:
        limits = _limits()
        if _is_counted():
            limits.spend(limits.private_address, _digest(str(kwargs["token"])))
        return view(*args, **kwargs)

    return limited


def limit_sign_in(view: Callable[P, R]) -> Callable[P, R]:
    """Limit how often one client may try to sign in; POST requests count."""

    @wraps(view)
    def limited(*args: P.args, **kwargs: P.kwargs) -> R:
        limits = _limits()
        if request.method == "POST":
            limits.spend(limits.sign_in, client_address())
        return view(*args, **kwargs)

    return limited


def wrong_guess() -> None:
    """Count an unknown key or private address from this client. Raises ``TooManyRequests``."""
    limits = _limits()
    limits.spend(limits.wrong_guesses, client_address())


def limit_key(key_id: str) -> None:
    """Count a request with a known key. Raises ``TooManyRequests`` beyond its limit."""
    if _is_counted():
        limits = _limits()
        limits.spend(limits.key, key_id)


def client_address() -> str:
    """Return the network address of the client; for IPv6, the prefix of one subscriber."""
    return subscriber(request.remote_addr or "")


@lru_cache(_ADDRESSES_CACHED)
def subscriber(address: str) -> str:
    """Return a network address; for IPv6, the prefix that one subscriber has."""
    try:
        parsed = ip_address(address)
    except ValueError:  # a socket in the file system has no address
        return address or "local"
    if isinstance(parsed, IPv6Address) and parsed.ipv4_mapped is None:
        return str(IPv6Network((int(parsed), _SUBSCRIBER_BITS), strict=False))
    return address


def _is_counted() -> bool:
    return request.method != "OPTIONS"


def _digest(token: str) -> str:
    """Hash a token, so that none is kept in memory."""
    return sha256(token.encode("utf-8", "surrogatepass")).hexdigest()[:_DIGEST_CHARACTERS]


def _limits() -> Limits:
    limits: Limits = current_app.extensions[_EXTENSION]
    return limits


def _add_headers(response: Response) -> Response:
    headers: Mapping[str, str] = g.get("rate_limit", {})
    for name, value in headers.items():
        response.headers[name] = value
    return response
