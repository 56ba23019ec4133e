"""Check-ins answered per second over HTTP, beside the barest possible service.

Run from the checkout: ``python -m tests.benchmarks.http``. Eight keep-alive clients post the
check-ins of different athletes:

- service: checked, decided by both evaluations, and stored with its advice;
- bare: Flask, the same body validated by plain marshmallow fields, and one row inserted, each
  thread over a connection of its own.

Both run in processes of their own under the same server with the same threads, and write with
``synchronous = FULL`` and the write-ahead log. The rounds alternate, so that a busy machine is as
slow for one as for the other.
"""

from __future__ import annotations

import argparse
import json
import socket
import subprocess
import sys
import threading
import time
import uuid
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from itertools import count
from pathlib import Path
from statistics import median, quantiles
from tempfile import TemporaryDirectory
from typing import Any

from flask import Flask, Response, request
from marshmallow import Schema, fields

from dawnrule.advice.advisor import Advisor
from dawnrule.clock import new_id, now
from dawnrule.model.entities import Athlete
from dawnrule.settings import Settings
from dawnrule.store import Key, Role, Store, hash_key
from dawnrule.store.connection import connect
from dawnrule.web import create_app
from dawnrule.web import serve as serve_app
from dawnrule.web.context import Context
from tests.factories import EXAMPLE

CLIENTS = 8
ATHLETES = 30_000
KEY = "dawn_of-the-benchmark"
PATIENT_SECONDS = 60.0


@dataclass(frozen=True)
class Figures:
    """Answers a second, and how long half and 99 of 100 took at most (ms)."""

    rate: float
    p50_ms: float
    p99_ms: float


def service(folder: Path) -> Flask:
    """The service, with a squad that never checked in before."""
    store = Store.open(folder / "service.db")
    squad = [Athlete(f"a-{number}", "Kim", "Europe/Berlin") for number in range(ATHLETES)]
    store.write(lambda transaction: [transaction.athletes.put(athlete) for athlete in squad])
    at = datetime.now(UTC)
    store.write(
        lambda transaction: transaction.keys.add(
            Key("k", Role.COACH, None, None, at), hash_key(KEY)
        )
    )
    morning = datetime.fromisoformat(EXAMPLE["reported_at"]) + timedelta(minutes=5)
    settings = Settings(db=folder / "service.db", key_requests_per_minute=0)
    return create_app(settings, store, Advisor.bundled(), lambda: morning, lambda: uuid.uuid4().hex)


class BlockSchema(Schema):
    """A block as marshmallow's own fields read it."""

    goal = fields.String(required=True)
    muscle_groups = fields.List(fields.String())
    modality = fields.String()
    starts_at = fields.AwareDateTime()


class LastTrainedSchema(Schema):
    """A last training as marshmallow's own fields read it."""

    at = fields.AwareDateTime(required=True)
    goal = fields.String(required=True)


class PainSchema(Schema):
    """Pain as marshmallow's own fields read it."""

    where = fields.String(required=True)
    kind = fields.String(required=True)
    muscle_groups = fields.List(fields.String())


class SleepSchema(Schema):
    """Sleep as marshmallow's own fields read it."""

    hours = fields.Float()
    quality = fields.Integer()


class CheckInSchema(Schema):
    """A check-in as marshmallow's own fields read it."""

    athlete_id = fields.String(required=True)
    date = fields.Date(required=True)
    reported_at = fields.AwareDateTime()
    sleep = fields.Nested(SleepSchema)
    soreness = fields.Dict(fields.String(), fields.Integer())
    last_trained = fields.Dict(fields.String(), fields.Nested(LastTrainedSchema))
    fatigue = fields.Integer()
    stress = fields.Integer()
    resting_hr_bpm = fields.Integer()
    hrv_rmssd_ms = fields.Float()
    pain = fields.List(fields.Nested(PainSchema))
    illness = fields.String()
    warning_signs = fields.List(fields.String())
    plan = fields.List(fields.Nested(BlockSchema), required=True)


def bare(folder: Path) -> Flask:
    """The barest application that validates a check-in and keeps it. It is given a service for the
    server to start and to end, over a database of its own, and asks nothing of it."""
    app = Flask(__name__)
    settings, store = Settings(db=folder / "unused.db"), Store.open(folder / "unused.db")
    unused = create_app(settings, store, Advisor.bundled(), now, new_id)
    Context.of(unused).attach(app)
    schema = CheckInSchema()
    own = threading.local()
    with connect(folder / "bare.db", PATIENT_SECONDS) as first:
        first.execute("PRAGMA journal_mode = WAL")
        first.execute("CREATE TABLE bare (body TEXT NOT NULL) STRICT")

    @app.post("/v1/check-ins")
    def post() -> Response:
        schema.load(request.get_json())
        if not hasattr(own, "connection"):
            own.connection = connect(folder / "bare.db", PATIENT_SECONDS)
        own.connection.execute("INSERT INTO bare VALUES (?)", (request.get_data(as_text=True),))
        own.connection.commit()
        return Response('{"ok": true}', 201, mimetype="application/json")

    return app


@contextmanager
def running(kind: str, folder: Path) -> Iterator[int]:
    """The port of an application in a process of its own."""
    command = [sys.executable, "-m", __spec__.name, "--serve", kind, "--folder", str(folder)]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as process:
        assert process.stdout is not None
        try:
            yield int(process.stdout.readline())
        finally:
            process.terminate()


def request_text(athlete: int) -> bytes:
    """The whole request that posts an athlete's check-in."""
    body = json.dumps(EXAMPLE | {"athlete_id": f"a-{athlete}"})
    head = (
        "POST /v1/check-ins HTTP/1.1",
        "Host: localhost",
        f"Authorization: Bearer {KEY}",
        "Content-Type: application/json",
        f"Content-Length: {len(body)}",
    )
    return ("\r\n".join(head) + "\r\n\r\n" + body).encode()


def answer(connection: socket.socket) -> bytes:
    """One whole answer."""
    received = b""
    while b"\r\n\r\n" not in received:
        received += connection.recv(65536)
    head, _, body = received.partition(b"\r\n\r\n")
    length = int(head.lower().partition(b"content-length:")[2].split(b"\r\n")[0])
    while len(body) < length:
        body += connection.recv(65536)
    return head


def load(port: int, seconds: float, athletes: count[int]) -> Figures:
    """What eight clients see when each posts one check-in after the other."""
    took: list[list[float]] = [[] for _ in range(CLIENTS)]
    stop_at = time.perf_counter() + seconds

    def client(number: int) -> None:
        with socket.create_connection(("127.0.0.1", port), PATIENT_SECONDS) as connection:
            connection.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
            while time.perf_counter() < stop_at:
                text = request_text(next(athletes))
                started = time.perf_counter()
                connection.sendall(text)
                head = answer(connection)
                took[number].append(time.perf_counter() - started)
                assert b" 201 " in head, head

    started = time.perf_counter()
    clients = [threading.Thread(target=client, args=(number,)) for number in range(CLIENTS)]
    for thread in clients:
        thread.start()
    for thread in clients:
        thread.join()
    all_ms = [1000 * one for of_client in took for one in of_client]
    rate = len(all_ms) / (time.perf_counter() - started)
    return Figures(rate, median(all_ms), quantiles(all_ms, n=100)[98])


def measure(rounds: int, seconds: float) -> dict[str, Figures]:
    """Median figures of alternating rounds, after one to warm up."""
    kinds = ("service", "bare")
    figures: dict[str, list[Figures]] = {kind: [] for kind in kinds}
    athletes = {kind: count() for kind in kinds}
    with TemporaryDirectory() as folder, ExitStack() as opened:
        ports = {kind: opened.enter_context(running(kind, Path(folder))) for kind in kinds}
        for number in range(rounds + 1):
            for kind in kinds:
                found = load(ports[kind], seconds if number else 1, athletes[kind])
                figures[kind] += [found] if number else []
    return {kind: _medians(figures[kind]) for kind in kinds}


def _medians(figures: list[Figures]) -> Figures:
    columns = zip(*((f.rate, f.p50_ms, f.p99_ms) for f in figures), strict=True)
    return Figures(*map(median, columns))


def serve(kind: str, folder: Path) -> None:
    """Serve one of the two until told to end; say the port first."""
    apps: dict[str, Any] = {"service": service, "bare": bare}
    serve_app(apps[kind](folder), Settings(port=0), lambda _, port: print(port, flush=True))


def main() -> None:
    """Print a line for each of the two, and their ratio."""
    parser = argparse.ArgumentParser(description="Check-ins a second: the service, and the barest.")
    parser.add_argument("--rounds", type=int, default=3)
    parser.add_argument("--seconds", type=float, default=3.0, help="of each round")
    parser.add_argument("--serve", choices=("service", "bare"), help=argparse.SUPPRESS)
    parser.add_argument("--folder", type=Path, help=argparse.SUPPRESS)
    options = parser.parse_args()
    if options.serve:
        serve(options.serve, options.folder)
        return
    figures = measure(options.rounds, options.seconds)
    for kind, found in figures.items():
        print(
            f"{kind:<8} {found.rate:7,.0f} check-ins/s   "
            f"p50 {found.p50_ms:6.1f} ms   p99 {found.p99_ms:6.1f} ms"
        )
    ours, barest = figures["service"], figures["bare"]
    print(f"ratio    {ours.rate / barest.rate:7.2f}   p99 {ours.p99_ms / barest.p99_ms:.2f}")


if __name__ == "__main__":
    main()
