"""How often may somebody ask? Counted in this process, in windows of a minute.

- Each key has a number of requests (``key``), and each private address too (``private-address``).
- Whoever sends wrong keys, or private addresses that do not exist, is told to stop for the rest
  of the minute (``wrong-guesses``); so is who tries to sign in too often (``sign-in``). These two
  are counted by the client's network address. A key that is known is let through all the same: it
  is too long to be guessed, and one phone with an old address must not lock out its whole club.

The library ``limits`` counts; Flask-Limiter, which wraps it, would look at every request anew and
keep its counts beside the application instead of in it. OPTIONS is never counted, and HEAD only
where a guess could be made with it: spreadsheet programs send both before each GET.

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
from limits import RateLimitItem, RateLimitItemPerMinute
from limits.storage import Storage
from limits.strategies import FixedWindowRateLimiter

from dawnrule.errors import TooManyRequests
from dawnrule.settings import Settings

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


P = ParamSpec("P")
R = TypeVar("R")

_EXTENSION = "dawnrule-limits"
_ADDRESSES_KEPT = 1024
_SUBSCRIBER_BITS = 64  # an IPv6 subscriber has at least 2**64 addresses to choose from
_DIGEST_CHARACTERS = 32


@dataclass(frozen=True, slots=True)
class Limit:
    """How much of one kind may be asked for in a minute; None of ``item`` is no limit."""

    name: str
    item: RateLimitItem | None

    @classmethod
    def of(cls, name: str, per_minute: int) -> Limit:
        """A limit; 0 a minute means that there is none."""
        return cls(name, RateLimitItemPerMinute(per_minute) if per_minute else None)


class Limits:
    """The limits of one application, and what was used of them."""

    def __init__(self, settings: Settings) -> None:
        self.key = Limit.of("key", settings.key_requests_per_minute)
        self.private_address = Limit.of(
            "private-address", settings.private_address_requests_per_minute
        )
        self.sign_in = Limit.of("sign-in", settings.sign_in_tries_per_minute)
        self.wrong_guesses = Limit.of("wrong-guesses", settings.wrong_guesses_per_minute)
        self._window = FixedWindowRateLimiter(CountsInMemory())

    def attach(self, app: Flask) -> None:
        """Make these the limits of an application, and tell of them in its answers."""
        app.extensions[_EXTENSION] = self
        app.after_request(_add_headers)

    def spend(self, limit: Limit, who: str) -> None:
        """Count one request. Raises ``TooManyRequests`` when that is one too many."""
        if limit.item is None:
            return
        had_one_left = self._window.hit(limit.item, limit.name, who)
        self._tell(limit, limit.item, who, spent=not had_one_left)

    def _tell(self, limit: Limit, item: RateLimitItem, who: str, *, spent: bool) -> None:
        reset_time, remaining = self._window.get_window_stats(item, limit.name, who)
        seconds = max(1, ceil(reset_time - time.time()))
        g.rate_limit = {
            "RateLimit-Policy": f'"{limit.name}";q={item.amount};w={item.get_expiry()}',
            "RateLimit": f'"{limit.name}";r={max(0, remaining)};t={seconds}',
        }
        if spent:
            g.rate_limit["Retry-After"] = str(seconds)
            raise TooManyRequests(
                f"More than {item.amount} in a minute. Try again in {seconds} seconds."
            )


def limit_private_address(view: Callable[P, R]) -> Callable[P, R]:
    """Limit a view by the ``token`` in its address.

    The view calls ``wrong_guess`` when no such token is known.
    """

    @wraps(view)
    def limited(*args: P.args, **kwargs: P.kwargs) -> R:
        limits = _limits()
        if _is_counted():
            limits.spend(limits.private_address, _digest(str(kwargs["token"])))
        return view(*args, **kwargs)

    return limited


def limit_sign_in(view: Callable[P, R]) -> Callable[P, R]:
    """Limit how often one client may try to sign in: what is sent with POST is counted."""

    @wraps(view)
    def limited(*args: P.args, **kwargs: P.kwargs) -> R:
        limits = _limits()
        if request.method == "POST":
            limits.spend(limits.sign_in, client_address())
        return view(*args, **kwargs)

    return limited


def wrong_guess() -> None:
    """Count that this client sent a key, or a private address, that is not known. Raises
    ``TooManyRequests`` when that is one too many."""
    limits = _limits()
    limits.spend(limits.wrong_guesses, client_address())


def limit_key(key_id: str) -> None:
    """Count a request with a known key. Raises ``TooManyRequests`` when that is one too many."""
    if _is_counted():
        limits = _limits()
        limits.spend(limits.key, key_id)


def client_address() -> str:
    """The network address that the request came from; of IPv6, the part that one subscriber has."""
    return _subscriber(request.remote_addr or "")


@lru_cache(_ADDRESSES_KEPT)
def _subscriber(address: str) -> str:
    try:
        parsed = ip_address(address)
    except ValueError:  # a socket in the file system has no address
        return address or "local"
    if isinstance(parsed, IPv6Address) and parsed.ipv4_mapped is None:
        return str(IPv6Network((int(parsed), _SUBSCRIBER_BITS), strict=False))
    return address


def _is_counted() -> bool:
    return request.method not in ("HEAD", "OPTIONS")


def _digest(token: str) -> str:
    """What a token is counted under, so that none is kept in memory."""
    return sha256(token.encode("utf-8", "surrogatepass")).hexdigest()[:_DIGEST_CHARACTERS]


def _limits() -> Limits:
    limits: Limits = current_app.extensions[_EXTENSION]
    return limits


def _add_headers(response: Response) -> Response:
    told: Mapping[str, str] = g.get("rate_limit", {})
    for name, value in told.items():
        response.headers[name] = value
    return response
