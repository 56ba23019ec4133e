"""How is the application served?"""

from __future__ import annotations

import logging
import signal
import sys
from collections.abc import Callable
from typing import Any, NoReturn

from flask import Flask
from waitress import wasyncore
from waitress.server import create_server

from dawnrule.settings import Settings
from dawnrule.web.service import Service

_STALLED_AFTER_SECONDS = 30
_CONNECTIONS = 200
_BEYOND_OUR_LIMIT = 2
"""The server itself takes twice what the application does, so that most bodies that are too large
are refused in the application's words; beyond that it hangs up on its own."""


class Server:
    """A production server that is bound and not yet running; bodies are read before a thread is
    taken, so that phones that stall block nobody."""

    def __init__(self, app: Flask, settings: Settings) -> None:
        """Bind to the settings' host and port; port 0 takes a free one. Raises ``OSError``."""
        self._app = app
        logging.getLogger("waitress.queue").setLevel(logging.ERROR)  # a short queue is no warning
        is_ipv6 = ":" in settings.host
        self._server: Any = create_server(
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
            clear_untrusted_proxy_headers=True,
        )

    @property
    def port(self) -> int:
        """The port that the server is bound to."""
        return int(self._server.effective_port)

    def run(self) -> None:
        """Serve until ``close`` is called from another thread, or this one is interrupted; then
        stop what goes on in the background."""
        try:
            self._server.run()
        finally:
            Service.of(self._app).close()

    def close(self) -> None:
        """Finish what is being answered, then hang up and let go of the port."""
        self._server.task_dispatcher.shutdown()
        self._server.trigger.pull_trigger(lambda: wasyncore.close_all(self._server._map))


def serve(app: Flask, settings: Settings, announce: Callable[[int], None]) -> None:
    """Serve until interrupted (Ctrl-C) or told to end (SIGTERM), then return.

    ``announce`` is given the port that is bound, just before the first request is taken.
    """
    server = Server(app, settings)
    signal.signal(signal.SIGTERM, _end)
    announce(server.port)
    server.run()


def _end(*_: object) -> NoReturn:
    sys.exit()
