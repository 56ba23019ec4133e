"""A closing port: nobody who has just connected is cut off."""

from __future__ import annotations

import socket
import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing

import pytest

from dawnrule.web.server import ignore_new_connections

SOON_SECONDS = 0.3
LATER_SECONDS = 60


over_either_family = pytest.mark.parametrize(
    "listener", [(socket.AF_INET, "127.0.0.1"), (socket.AF_INET6, "::1")], indirect=True
)


@pytest.fixture
def listener(request: pytest.FixtureRequest) -> Iterator[socket.socket]:
    family, host = request.param
    with socket.socket(family) as listener:
        listener.bind((host, 0))
        listener.listen()
        yield listener


def caller(listener: socket.socket, seconds: float) -> socket.socket:
    return socket.create_connection(listener.getsockname()[:2], seconds)


@over_either_family
def test_who_has_connected_is_still_heard_and_answered(listener: socket.socket) -> None:
    with closing(caller(listener, LATER_SECONDS)) as asking:
        ignore_new_connections(listener)
        asking.sendall(b"ready?")
        accepted, _ = listener.accept()
        with closing(accepted):
            listener.close()
            assert accepted.recv(10) == b"ready?"
            accepted.sendall(b"train")
            assert asking.recv(10) == b"train"


@over_either_family
def test_who_comes_later_is_not_let_in(listener: socket.socket) -> None:
    ignore_new_connections(listener)
    with pytest.raises(TimeoutError):
        caller(listener, SOON_SECONDS)


@over_either_family
def test_who_came_while_the_port_closed_is_refused_and_not_hung_up_on(
    listener: socket.socket,
) -> None:
    ignore_new_connections(listener)
    with ThreadPoolExecutor() as threads:
        address = listener.getsockname()[:2]
        asking = threads.submit(socket.create_connection, address, LATER_SECONDS)
        time.sleep(SOON_SECONDS)
        assert not asking.done()
        listener.close()
        with pytest.raises(ConnectionRefusedError):
            asking.result()
