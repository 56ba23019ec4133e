"""Many clubs on one machine: a database and a process each, behind one proxy.

Run from the checkout: ``python -m tests.benchmarks.clubs --clubs 20 --speed 10``. nginx must be
installed. The 5,000 athletes of the morning peak are shared out among the clubs; each club is
served by a process of its own, started as an operator would, and nginx finds it by its host name.
What the processes keep in memory is read before and after the peak.
"""

from __future__ import annotations

import argparse
import os
import shutil
import socket
import subprocess
import sys
import time
from collections.abc import Iterator, Mapping, Sequence
from contextlib import ExitStack, closing, contextmanager
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import psutil

from dawnrule.clock import now
from dawnrule.model.entities import Athlete
from tests.benchmarks.peak import ATHLETES, replayed, told, write_history
from tests.faults.caller import NO_ANSWER, Caller, Said
from tests.faults.serving import apart, make_squad

MEGABYTE = 1_000_000
STARTED_WITHIN_SECONDS = 120
OK = 200
PROXY = """
pid {folder}/pid; error_log stderr crit; worker_processes auto; daemon off;
events {{ worker_connections 1024; }}
http {{
access_log off;
{temporary}
{servers}
}}
"""
SERVER = """
upstream {name} {{ server 127.0.0.1:{port}; keepalive 16; }}
server {{
listen 127.0.0.1:{listens}; server_name {name};
location / {{
proxy_pass http://{name}; proxy_http_version 1.1; proxy_set_header Connection "";
proxy_set_header Host $host; proxy_set_header X-Forwarded-For $remote_addr;
}}
}}
"""
TEMPORARY = ("client_body", "proxy", "fastcgi", "uwsgi", "scgi")


@dataclass(frozen=True, slots=True)
class Club:
    """One club: its host name, and the process that serves its database on a port."""

    name: str
    port: int
    process: subprocess.Popen[bytes]

    def memory_mb(self) -> float:
        """What the process alone keeps in memory (unique set size)."""
        return float(psutil.Process(self.process.pid).memory_full_info().uss) / MEGABYTE


class ClubCaller:
    """One client of every club; who is asked hangs on the athlete."""

    def __init__(self, proxy: int, clubs: Sequence[Club], number: int) -> None:
        self._callers = [Caller(proxy, club.name) for club in clubs]

    def ask(self, method: str, address: str, body: Mapping[str, Any] | None = None) -> Said:
        """The answer of the athlete's club. Raises one of ``NO_ANSWER``."""
        athlete = int(str((body or {})["athlete_id"]).removeprefix("a-"))
        return self._callers[athlete % len(self._callers)].ask(method, address, body)

    def close(self) -> None:
        """Hang up."""
        for caller in self._callers:
            caller.close()


def free_port() -> int:
    """A port that nobody listens on."""
    with closing(socket.socket()) as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


@contextmanager
def running(command: Sequence[str], **more: str) -> Iterator[subprocess.Popen[bytes]]:
    """A process that is ended at the end."""
    process = subprocess.Popen(command, env=os.environ | more, stdout=subprocess.DEVNULL)
    try:
        yield process
    finally:
        process.terminate()
        process.wait()


def made(folder: Path, number: int, clubs: int) -> Path:
    """The database of one club, with the mornings of its athletes."""
    db, today = folder / f"club-{number}.db", now().date()
    own = range(number, ATHLETES, clubs)
    make_squad(db, [Athlete(f"a-{athlete}", "Kim", "UTC") for athlete in own])
    apart(partial(write_history, db, today, own))
    return db


def served_club(stack: ExitStack, db: Path) -> Club:
    """Start the service of one club."""
    port = free_port()
    serve = [sys.executable, "-m", "dawnrule", "serve", "--db", str(db), "--port", str(port)]
    quiet = {
        "DAWNRULE_KEY_REQUESTS_PER_MINUTE": "0",
        "DAWNRULE_LOG": "off",
        "DAWNRULE_PROXIES": "1",
    }
    return Club(f"{db.stem}.example", port, stack.enter_context(running(serve, **quiet)))


def proxied(stack: ExitStack, folder: Path, clubs: Sequence[Club]) -> int:
    """Start nginx in front of the clubs; its port."""
    nginx, port = shutil.which("nginx"), free_port()
    if nginx is None:
        sys.exit("nginx is not installed")
    servers = (SERVER.format(name=club.name, port=club.port, listens=port) for club in clubs)
    temporary = "".join(f"{kind}_temp_path {folder}/{kind};\n" for kind in TEMPORARY)
    written = folder / "nginx.conf"
    written.write_text(
        PROXY.format(folder=folder, temporary=temporary, servers="".join(servers)),
        encoding="utf-8",
    )
    stack.enter_context(running([nginx, "-c", str(written), "-p", str(folder)]))
    return port


def wait_for(proxy: int, club: Club) -> None:
    """Wait until a club answers through the proxy. Raises ``TimeoutError``."""
    until = time.monotonic() + STARTED_WITHIN_SECONDS
    while time.monotonic() < until:
        caller = Caller(proxy, club.name)
        try:
            if caller.ask("GET", "/healthz").status == OK:
                return
        except (*NO_ANSWER, ValueError):  # nobody listens, or a page of the proxy's own
            time.sleep(0.1)
        finally:
            caller.close()
    raise TimeoutError(club.name)


def main() -> None:
    """Print the memory of the clubs, and what the peak came to."""
    parser = argparse.ArgumentParser(description="Many clubs on one machine.")
    parser.add_argument("--clubs", type=int, default=20)
    parser.add_argument("--speed", type=float, default=10.0, help="times as fast")
    options = parser.parse_args()
    with TemporaryDirectory() as name, ExitStack() as stack:
        folder = Path(name)
        databases = [made(folder, number, options.clubs) for number in range(options.clubs)]
        began = time.perf_counter()
        clubs = [served_club(stack, db) for db in databases]
        proxy = proxied(stack, folder, clubs)
        for club in clubs:
            wait_for(proxy, club)
        print(f"{options.clubs} clubs up after {time.perf_counter() - began:.1f} s")
        before = [club.memory_mb() for club in clubs]
        arrived = replayed(partial(ClubCaller, proxy, clubs), options.speed, now().date())
        after = [club.memory_mb() for club in clubs]
    print(
        f"memory of a club: {max(before):.0f} MB at the start, {max(after):.0f} MB after the "
        f"peak; of all {sum(after):,.0f} MB"
    )
    print(told(arrived, options.speed))
    sys.exit(1 if any(one.error for one in arrived) else 0)


if __name__ == "__main__":
    main()
