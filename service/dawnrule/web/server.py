"""How is the application served, and how does serving end?"""

from __future__ import annotations

import ctypes
import logging
import signal
import socket
import struct
import sys
import time
from collections.abc import Callable
from contextlib import suppress
from functools import partial
from typing import Any

from flask import Flask
from waitress import wasyncore
from waitress.channel import HTTPChannel
from waitress.parser import HTTPRequestParser, ParsingError
from waitress.server import create_server
from waitress.task import WSGITask

from dawnrule.settings import Settings
from dawnrule.web.context import Context

_SO_ATTACH_FILTER = 26  # asm-generic/socket.h; Python names it nowhere
_SYN, _SYN_OR_ACK = 0x02, 0x12
_FLAGS_AT = 13  # RFC 9293, section 3.1
_LOAD_BYTE, _AND, _JUMP_IF_EQUAL, _RETURN = 0x30, 0x54, 0x15, 0x06  # linux/bpf_common.h
_NOTHING, _WHOLE = 0, 0xFFFFFFFF
_DROP_FIRST_PACKETS = (
    (_LOAD_BYTE, 0, 0, _FLAGS_AT),
    (_AND, 0, 0, _SYN_OR_ACK),
    (_JUMP_IF_EQUAL, 0, 1, _SYN),
    (_RETURN, 0, 0, _NOTHING),
    (_RETURN, 0, 0, _WHOLE),
)
"""A filter of the Linux kernel (Documentation/networking/filter.rst) that lets everything pass
but the first packet of a new connection."""


def ignore_new_connections(listener: socket.socket) -> None:
    """Leave who asks ``listener`` for a connection from now on unheard; who has one, or is being
    given one, keeps it and can still be accepted.

    Who is unheard asks again after about a second (RFC 6298, section 2.1) and finds the port
    closed, or who listens there next. Where the system has no such filter, nothing happens.
    """
    if sys.platform != "linux":
        return
    steps = b"".join(struct.pack("HBBI", *step) for step in _DROP_FIRST_PACKETS)
    kept = ctypes.create_string_buffer(steps)  # the kernel copies it before the call returns
    program = struct.pack("HP", len(_DROP_FIRST_PACKETS), ctypes.addressof(kept))
    with suppress(OSError):  # a sandbox may not allow it, and the service must end all the same
        listener.setsockopt(socket.SOL_SOCKET, _SO_ATTACH_FILTER, program)


_STALLED_AFTER_SECONDS = 30
_CONNECTIONS = 200
_LOOK_AGAIN_SECONDS = 1.0
_LOOK_AGAIN_AT_THE_END_SECONDS = 0.05
_QUIET_SECONDS = 0.5
"""How long what was sent may take to arrive: at the end, a connection is being made no longer than
that, and one that has been idle for so long is closed."""
_THREADS_END_SECONDS = 1
_BEYOND_OUR_LIMIT = 2
"""The server itself takes twice what the application does, so that most bodies that are too large
are refused in the application's words; beyond that it hangs up on its own."""

_log = logging.getLogger("dawnrule.web")


class _Task(WSGITask):
    """One answer; while the service ends it is the last of its connection, and says so."""

    channel: _Channel

    def build_response_header(self) -> bytes:
        """The head of the answer."""
        if self.channel.is_ending():
            self.set_close_on_finish()
        head: bytes = super().build_response_header()
        return head


class _Request(HTTPRequestParser):
    """One request, of which everybody between the client and us sees the same end."""

    def parse_header(self, header_plus: bytes) -> None:
        """Raises ``ParsingError`` for a length beside chunks (RFC 9112, section 6.1): who counts by
        the one sees another request behind this than who goes by the other."""
        super().parse_header(header_plus)
        if self.chunked and "CONTENT_LENGTH" in self.headers:
            raise ParsingError("Content-Length beside Transfer-Encoding")


class _Channel(HTTPChannel):
    """One connection."""

    task_class = _Task
    parser_class = _Request

    def __init__(self, *given: Any, is_ending: Callable[[], bool], **named: Any) -> None:
        self.is_ending = is_ending
        super().__init__(*given, **named)

    def is_quiet(self, now: float) -> bool:
        """Whether nothing is asked, answered or half sent, and has not been for a while."""
        busy = self.requests or self.request is not None or self.total_outbufs_len
        return not busy and self.last_activity < now - _QUIET_SECONDS


class Server:
    """A production server that is bound and not yet running; bodies are read before a thread is
    taken, so that phones that stall block nobody."""

    def __init__(self, app: Flask, settings: Settings) -> None:
        """Bind to the settings' host and port; port 0 takes a free one. Raises ``OSError``."""
        self._service = Context.of(app)
        self._stop_seconds = settings.stop_seconds
        logging.getLogger("waitress.queue").setLevel(logging.ERROR)  # a short queue is no warning
        self._server = _bound(app, settings)
        self._server.channel_class = partial(_Channel, is_ending=self._service.stopping.is_set)

    @property
    def port(self) -> int:
        """The port that the server is bound to."""
        return int(self._server.effective_port)

    def run(self) -> None:
        """Serve until ``stop`` or ``close`` is called; then stop what goes on in the
        background."""
        self._service.start()
        try:
            while self._connections and not self._service.stopping.is_set():
                self._look_once(_LOOK_AGAIN_SECONDS)
            self._finish()
        finally:
            self._service.close()

    def stop(self) -> None:
        """Take no more connections, answer what is under way, and let ``run`` return; whatever
        takes longer than the settings allow is cut off. To be called from anywhere, also from
        the handler of a signal."""
        self._service.stopping.set()
        self._server.pull_trigger()

    def close(self) -> None:
        """Finish what is being answered, then hang up and let go of the port; for tests, which
        leave nobody waiting."""
        self._server.task_dispatcher.shutdown()
        self._server.trigger.pull_trigger(lambda: wasyncore.close_all(self._connections))

    @property
    def _connections(self) -> dict[int, Any]:
        """Everything that is listened to: connections, the port, and the trigger."""
        connections: dict[int, Any] = self._server._map
        return connections

    def _look_once(self, seconds: float) -> None:
        """Take in and send out what is there, waiting for it at most that long."""
        wasyncore.loop(
            timeout=seconds,
            use_poll=self._server.adj.asyncore_use_poll,
            map=self._connections,
            count=1,
        )

    def _finish(self) -> None:
        if not self._connections:  # closed
            return
        give_up_at = time.monotonic() + self._stop_seconds
        ignore_new_connections(self._server.socket)
        self._look_for(_QUIET_SECONDS)
        self._take_who_waits()
        wasyncore.dispatcher.close(self._server)  # the port alone: the trigger is still needed
        channels = self._server.active_channels
        while channels and time.monotonic() < give_up_at:
            self._close_who_is_quiet(time.time())
        if channels:
            _log.warning("connections cut off at the end: %d", len(channels))
        self._server.task_dispatcher.shutdown(timeout=_THREADS_END_SECONDS)
        wasyncore.close_all(self._connections)

    def _close_who_is_quiet(self, now: float) -> None:
        """Close who was quiet already and still is after one more look: if this machine stood
        still for a while, nobody could be heard, and they need not have been quiet."""
        channels = [one for one in self._server.active_channels.values() if one.is_quiet(now)]
        self._look_once(_LOOK_AGAIN_AT_THE_END_SECONDS)
        for channel in channels:
            channel.will_close = channel.will_close or channel.is_quiet(now)

    def _look_for(self, seconds: float) -> None:
        """Go on as always for that long."""
        enough_at = time.monotonic() + seconds
        while time.monotonic() < enough_at:
            self._look_once(_LOOK_AGAIN_AT_THE_END_SECONDS)

    def _take_who_waits(self) -> None:
        """Accept who has connected and was not yet taken in: they would be hung up on."""
        channels = self._server.active_channels
        taken = -1
        while taken < len(channels) <= _CONNECTIONS:
            taken = len(channels)
            self._server.handle_accept()


def serve(app: Flask, settings: Settings, announce: Callable[[int], None]) -> None:
    """Serve until interrupted (Ctrl-C) or told to end (SIGTERM), then return; a second signal
    ends at once.

    ``announce`` is given the port that is bound, just before the first request is taken.
    """
    server = Server(app, settings)

    def stop(*_: object) -> None:
        server.stop()
        signal.signal(signal.SIGTERM, signal.SIG_DFL)
        signal.signal(signal.SIGINT, signal.SIG_DFL)

    signal.signal(signal.SIGTERM, stop)
    signal.signal(signal.SIGINT, stop)
    announce(server.port)
    server.run()


def _bound(app: Flask, settings: Settings) -> Any:
    is_ipv6 = ":" in settings.host
    return create_server(
        app,
        host=settings.host,
        port=settings.port,
        ipv4=not is_ipv6,  # one family, so that a name of both is bound once
        ipv6=is_ipv6,
        threads=settings.threads,
        max_request_body_size=_BEYOND_OUR_LIMIT * settings.batch_body_limit_bytes,
        channel_timeout=_STALLED_AFTER_SECONDS,
        connection_limit=_CONNECTIONS,
        ident=None,
        **_trust(settings.proxies),
    )


def _trust(proxies: int) -> dict[str, Any]:
    """Whose word is taken for who the client is: that of so many proxies, or nobody's."""
    if proxies == 0:
        return {"clear_untrusted_proxy_headers": True}
    return {
        "trusted_proxy": "*",
        "trusted_proxy_count": proxies,
        "trusted_proxy_headers": {"x-forwarded-for", "x-forwarded-proto"},
        "clear_untrusted_proxy_headers": True,
    }
