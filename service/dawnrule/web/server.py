"""The production server: waitress on a port of its own or on one of systemd's, and a graceful stop.

A socket that systemd holds outlives the service, so connections that come while it restarts wait
there (``service/deploy/dawnrule.socket``). It is handed over as systemd hands over sockets: file
descriptor 3, announced by ``LISTEN_FDS`` and ``LISTEN_PID``.
"""

from __future__ import annotations

import errno
import gc
import logging
import math
import os
import signal
import socket
import threading
import time
from collections.abc import Callable, Collection, MutableMapping
from typing import Any

from flask import Flask
from waitress import wasyncore
from waitress.channel import HTTPChannel
from waitress.parser import HTTPRequestParser, ParsingError
from waitress.server import create_server
from waitress.task import WSGITask

from dawnrule.settings import Settings
from dawnrule.web.context import Context
from dawnrule.web.http.rate_limits import subscriber

_FIRST_INHERITED = 3  # sd_listen_fds(3): SD_LISTEN_FDS_START
_STALLED_AFTER_SECONDS = 30
_REQUEST_SECONDS = 10
"""The time from the first byte of a request, or from the opening of its connection, to the end of
its head. Its body may take a second longer for each ``_BYTES_PER_SECOND`` that have come of it."""
_BYTES_PER_SECOND = 500
_CONNECTIONS = 500
_POLL_SECONDS = 1.0
_POLL_SECONDS_AT_THE_END = 0.05
_IDLE_SECONDS = 0.5
"""How long a connection may be idle before it is closed at the end."""
_THREADS_END_SECONDS = 1
_BEYOND_OUR_LIMIT = 2
"""The server takes bodies of twice the application's limit, so that most that are too large are
refused in the application's words; beyond that it closes the connection."""

_WITH_HOST = "1.1"
_VERSIONS = ("1.0", _WITH_HOST)
_NO_HOST = "the host is neither an address nor a name that is known here; 127.0.0.1 is this machine"

_log = logging.getLogger("dawnrule.web")


class _Task(WSGITask):
    """One answer; while the service stops it is the last of its connection, and says so."""

    channel: _Channel

    def build_response_header(self) -> bytes:
        if self.channel.is_stopping():
            self.set_close_on_finish()
        head: bytes = super().build_response_header()
        return head


class _Request(HTTPRequestParser):
    """One request that every proxy in between reads in the same way."""

    def __init__(self, adj: Any) -> None:
        super().__init__(adj)
        self._began = time.monotonic()

    def is_too_slow(self) -> bool:
        """Return whether what has not come yet is waited for no longer."""
        allowed = _REQUEST_SECONDS + self.body_bytes_received / _BYTES_PER_SECOND
        return time.monotonic() - self._began > allowed

    def parse_header(self, header_plus: bytes) -> None:
        """Parse the head. Raises ``ParsingError`` for one that another program may read
        otherwise."""
        try:
            _refuse_folded(header_plus)
            super().parse_header(header_plus)
            self._refuse_ambiguous()
            if self.body_rcv is None or self.content_length >= self.adj.max_request_body_size:
                self.expect_continue = False
        except ValueError as error:  # of a URL, or of a number of thousands of digits
            self.expect_continue = False
            raise ParsingError("Malformed address or Content-Length") from error
        except Exception:
            self.expect_continue = False  # else the body of what is refused is waited for
            raise

    def _refuse_ambiguous(self) -> None:
        """Raise ``ParsingError`` for another version, no host or several (RFC 9112, section 3.2),
        and Content-Length beside Transfer-Encoding (section 6.1): by one of them, another request
        may be hidden behind this one (request smuggling)."""
        if self.version not in _VERSIONS:
            raise ParsingError(f"The version must be {' or '.join(_VERSIONS)}")
        if self.version == _WITH_HOST and "HOST" not in self.headers:
            raise ParsingError("HTTP/1.1 needs a Host")
        if "," in self.headers.get("HOST", ""):  # headers of the same name come joined
            raise ParsingError("More than one Host")
        if self.chunked and "CONTENT_LENGTH" in self.headers:
            raise ParsingError("Content-Length beside Transfer-Encoding")


def _refuse_folded(head: bytes) -> None:
    """Raise ``ParsingError`` for a header that goes on in another line (RFC 9112, section 5.2)."""
    if b"\r\n " in head or b"\r\n\t" in head:
        raise ParsingError("A header stands in one line")


class _Channel(HTTPChannel):
    """One connection."""

    task_class = _Task
    parser_class = _Request
    request: _Request | None

    def __init__(self, *args: Any, is_stopping: Callable[[], bool], **kwargs: Any) -> None:
        self.is_stopping = is_stopping
        self._ask_by = time.monotonic() + _REQUEST_SECONDS
        super().__init__(*args, **kwargs)

    @property
    def client(self) -> str:
        """The network address of the client; for IPv6, the prefix of one subscriber."""
        return subscriber(self.addr[0])

    def service(self) -> None:
        """Answer one request, and wait a while for another."""
        self._ask_by = math.inf
        super().service()
        self._ask_by = time.monotonic() + _STALLED_AFTER_SECONDS

    def writable(self) -> bool:
        """Return whether the loop has something to send here. While a thread answers, it sends
        itself what it can: the loop, which cannot then, would go round until it may."""
        if self.requests and not self.will_close:
            return bool(self.total_outbufs_len >= self.adj.outbuf_high_watermark)
        return bool(super().writable())

    def is_too_slow(self) -> bool:
        """Return whether the client takes longer to ask than whoever means to."""
        if self.requests or self.total_outbufs_len:  # it has asked, and is being answered
            return False
        if self.request is not None:
            return self.request.is_too_slow()
        return time.monotonic() > self._ask_by

    def is_idle(self, now: float) -> bool:
        """Return whether nothing is being received, worked on or sent, and has not been for a
        while."""
        busy = self.requests or self.request is not None or self.total_outbufs_len
        return not busy and self.last_activity < now - _IDLE_SECONDS


class Server:
    """A production server that listens and does not run yet. Requests are read whole before a
    thread is taken, so that stalled phones block nobody; who sends too slowly is cut off, and no
    client takes all connections."""

    def __init__(
        self, app: Flask, settings: Settings, inherited: socket.socket | None = None
    ) -> None:
        """Listen on an inherited socket, or on the settings' host and port; port 0 takes a free
        one. Raises ``OSError``, also for a host that is no address and no name."""
        self._context = Context.of(app)
        self._stop_seconds = settings.stop_seconds
        self._inherits = inherited is not None
        self._trigger_in_use = threading.Lock()
        logging.getLogger("waitress.queue").setLevel(logging.ERROR)  # a short queue is no warning
        # Behind a proxy all come from one address, and it is the proxy that counts.
        self._most_of_one = 0 if settings.proxies else settings.connections_per_address
        self._server = _listening(app, settings, inherited)
        self._server.channel_class = self._admit

    @property
    def host(self) -> str:
        """The address that the server listens on."""
        return str(self._server.effective_host)

    @property
    def port(self) -> int:
        """The port that the server listens on."""
        return int(self._server.effective_port)

    def run(self) -> None:
        """Serve until ``stop`` or ``close`` is called; then end the background work."""
        self._context.start()
        try:
            while self._connections and not self._context.stopping.is_set():
                self._poll(_POLL_SECONDS)
                self._close_slow()
            self._finish()
        finally:
            self._context.close()

    def stop(self) -> None:
        """Stop accepting connections, finish the requests in flight, and let ``run`` return; those
        that take longer than the settings allow are cut off. May be called from any thread and
        from signal handlers."""
        self._context.stopping.set()
        self._server.pull_trigger()

    def close(self) -> None:
        """Finish the answers in progress, then close every connection and the port; for tests,
        which leave nobody waiting."""
        self._server.task_dispatcher.shutdown()
        with self._trigger_in_use:
            self._server.trigger.pull_trigger(self._close_all)

    def _close_all(self) -> None:
        with self._trigger_in_use:  # the trigger is among them
            wasyncore.close_all(self._connections)

    @property
    def _connections(self) -> dict[int, Any]:
        """Everything that is polled: connections, the listening socket, and the trigger."""
        connections: dict[int, Any] = self._server._map
        return connections

    @property
    def _channels(self) -> Collection[_Channel]:
        channels: dict[int, _Channel] = self._server.active_channels
        return channels.values()

    def _admit(
        self, server: Any, accepted: socket.socket, address: Any, *args: Any, **kw: Any
    ) -> None:
        """Open a connection that was accepted, or close it where its client has too many."""
        client = subscriber(address[0])
        if 0 < self._most_of_one <= sum(one.client == client for one in self._channels):
            accepted.close()
            return
        is_stopping = self._context.stopping.is_set
        _Channel(server, accepted, address, *args, is_stopping=is_stopping, **kw)

    def _close_slow(self) -> None:
        """Close the connections of those who send too slowly; each takes a place from others."""
        for channel in self._channels:
            channel.will_close = channel.will_close or channel.is_too_slow()

    def _poll(self, seconds: float) -> None:
        """Receive and send what is ready, waiting for it at most that long."""
        wasyncore.loop(
            timeout=seconds,
            use_poll=self._server.adj.asyncore_use_poll,
            map=self._connections,
            count=1,
        )

    def _finish(self) -> None:
        if not self._connections:  # closed
            return
        deadline = time.monotonic() + self._stop_seconds
        if not self._inherits:  # an inherited socket keeps who waits for the next process
            self._accept_waiting()
        wasyncore.dispatcher.close(self._server)  # the port alone: the trigger is still needed
        channels = self._server.active_channels
        while channels and time.monotonic() < deadline:
            self._close_idle(time.time())
        if channels:
            _log.warning("connections cut off at the end: %d", len(channels))
        self._server.task_dispatcher.shutdown(timeout=_THREADS_END_SECONDS)
        wasyncore.close_all(self._connections)

    def _accept_waiting(self) -> None:
        """Accept the connections that are established and wait; closing would reset them."""
        channels = self._server.active_channels
        accepted = -1
        while accepted < len(channels) <= _CONNECTIONS:
            accepted = len(channels)
            self._server.handle_accept()

    def _close_idle(self, now: float) -> None:
        """Close connections that are idle before and after another poll: if the machine was
        suspended, they had no chance to send before."""
        idle = [one for one in self._server.active_channels.values() if one.is_idle(now)]
        self._poll(_POLL_SECONDS_AT_THE_END)
        for channel in idle:
            channel.will_close = channel.will_close or channel.is_idle(now)


def inherited_socket(
    environment: MutableMapping[str, str] = os.environ,
) -> socket.socket | None:
    """Take over the listening socket that systemd passes to this process; None if there is none.
    Raises ``OSError`` for more than one.

    The variables are removed, so that no child process takes the socket for its own.
    """
    pid, count = environment.pop("LISTEN_PID", ""), environment.pop("LISTEN_FDS", "")
    environment.pop("LISTEN_FDNAMES", None)
    if pid != str(os.getpid()):
        return None
    if count != "1":
        raise OSError(errno.EINVAL, f"one socket can be inherited, not {count}")
    inherited = socket.socket(fileno=_FIRST_INHERITED)
    inherited.set_inheritable(False)
    return inherited


def serve(app: Flask, settings: Settings, announce: Callable[[str, int], None]) -> None:
    """Serve until Ctrl-C or SIGTERM, then return; a second signal ends the process at once.

    ``announce`` is given the host and port just before the first request is taken.
    """
    inherited = inherited_socket()
    server = Server(app, settings, inherited)

    def stop(*_: object) -> None:
        server.stop()
        signal.signal(signal.SIGTERM, signal.SIG_DFL)
        signal.signal(signal.SIGINT, signal.SIG_DFL)

    signal.signal(signal.SIGTERM, stop)
    signal.signal(signal.SIGINT, stop)
    gc.freeze()  # what was built so far stays: the collector need not look through it again
    announce(server.host if inherited else settings.host, server.port)
    server.run()


def _listening(app: Flask, settings: Settings, inherited: socket.socket | None) -> Any:
    try:
        return create_server(
            app,
            **_place(settings, inherited),
            threads=settings.threads,
            max_request_body_size=_BEYOND_OUR_LIMIT * settings.batch_body_limit_bytes,
            channel_timeout=_STALLED_AFTER_SECONDS,
            connection_limit=_CONNECTIONS,
            ident=None,
            **_trust(settings.proxies),
        )
    except ValueError as error:  # what waitress makes of a host that cannot be resolved
        raise OSError(errno.EINVAL, _NO_HOST) from error


def _place(settings: Settings, inherited: socket.socket | None) -> dict[str, Any]:
    """Return the arguments that say where waitress listens."""
    if inherited is not None:
        return {"sockets": [inherited]}
    is_ipv6 = ":" in settings.host
    # One family only, so that a host name with both is bound once.
    return {
        "host": settings.host,
        "port": settings.port,
        "ipv4": not is_ipv6,
        "ipv6": is_ipv6,
    }


def _trust(proxies: int) -> dict[str, Any]:
    """Return the arguments that say how many proxies are trusted to name the client."""
    if proxies == 0:
        return {"clear_untrusted_proxy_headers": True}
    return {
        "trusted_proxy": "*",
        "trusted_proxy_count": proxies,
        "trusted_proxy_headers": {"x-forwarded-for", "x-forwarded-proto"},
        "clear_untrusted_proxy_headers": True,
    }
