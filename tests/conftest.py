"""Fixtures: a clock that the test sets, a store of its own, the application, and the real server on
a free port."""

from __future__ import annotations

import gc
import os
import re
import subprocess
import sys
import tempfile
from collections.abc import Callable, Generator, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from functools import lru_cache, partial
from itertools import count
from pathlib import Path
from threading import Thread
from types import SimpleNamespace
from typing import Any, Protocol

import pytest
from flask import Flask
from hypothesis import HealthCheck
from hypothesis import settings as hypothesis_settings

from dawnrule.advice.advisor import Advisor
from dawnrule.application import rule_sets
from dawnrule.application.check_ins import CheckIns
from dawnrule.demo.squad import Diary, Squad, invent_diaries
from dawnrule.model.entities import Athlete
from dawnrule.rules.analysis import sandbox
from dawnrule.settings import Settings
from dawnrule.store import Key, Role, Store, StoredSession, Transaction, hash_key, new_key
from dawnrule.web import Server, create_app
from dawnrule.web import app as app_module
from dawnrule.web.context import Context
from tests.described_answers import Description
from tests.factories import FIRST_BASELINE
from tests.prebuilt import Database, Routes
from tests.warm import tried as tried_apart

hypothesis_settings.register_profile(
    "any machine",
    hypothesis_settings(),  # what is otherwise set, for CI or by hand, stays
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow],
)
hypothesis_settings.load_profile("any machine")
"""How long an example takes says something of the machine, and nothing of the service."""

os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
sys.dont_write_bytecode = False
"""Tests start dozens of processes; the service is compiled for the first of them, not for each."""

MEMORY = Path("/dev/shm")
ROOM_BYTES = 4 * 2**30


def has_room(folder: Path) -> bool:
    """Whether a folder in memory holds all that a run leaves behind, programs among it."""
    if not os.access(folder, os.W_OK):
        return False
    there = os.statvfs(folder)
    return there.f_bavail * there.f_frsize > ROOM_BYTES and not there.f_flag & os.ST_NOEXEC


if "TMPDIR" not in os.environ and has_room(MEMORY):
    os.environ["TMPDIR"] = str(MEMORY)
    tempfile.tempdir = None  # it is looked up once
"""Thousands of databases are written in a run, and the service waits for the disk at each write. A
process that is killed loses as little in memory."""

MakeKey = Callable[..., str]


class Client(Protocol):
    """What a test calls the service with; it looks into the answers without asking their type."""

    def get(self, address: str, **sent: Any) -> Any: ...
    def head(self, address: str, **sent: Any) -> Any: ...
    def post(self, address: str, **sent: Any) -> Any: ...
    def put(self, address: str, **sent: Any) -> Any: ...
    def patch(self, address: str, **sent: Any) -> Any: ...
    def delete(self, address: str, **sent: Any) -> Any: ...
    def options(self, address: str, **sent: Any) -> Any: ...
    def open(self, address: str, **sent: Any) -> Any: ...


SQUAD = (
    Athlete("a-03", "Mara", "Europe/Berlin", training_status="trained"),
    Athlete("a-04", "Tomo", "Asia/Tokyo"),
    Athlete("a-05", "Lena", "America/Los_Angeles"),
)


@dataclass
class Clock:
    """A clock that stands still until a test sets it."""

    now: datetime

    def __call__(self) -> datetime:
        return self.now

    def set(self, text: str) -> None:
        self.now = datetime.fromisoformat(text)


@dataclass(frozen=True)
class LiveServer:
    """The real server with the squad in its store. ``keys`` has one for each role; that of the
    athlete is a-03's."""

    base_url: str
    keys: Mapping[str, str]
    store: Store


@pytest.hookimpl(wrapper=True)
def pytest_collection() -> Generator[None, object, object]:
    """While tests are collected nothing becomes rubbish, and thousands of them that wait for their
    turn are not looked through for it each time."""
    gc.disable()
    collected = yield
    gc.enable()
    gc.collect()
    gc.freeze()
    return collected


@lru_cache
def tried_once(
    text: str,
    file: str,
    published: tuple[tuple[tuple[str, str], str], ...],
    command: tuple[str, ...],
    seconds_at_most: int,
) -> sandbox.SandboxResult:
    return sandbox.check_in_sandbox(text, file, dict(published))


def tried(text: str, file: str, published: sandbox.Texts) -> sandbox.SandboxResult:
    """What stood its trial stands it again: the same text in the same trial is not tried twice."""
    others = tuple(published.items())
    return tried_once(text, file, others, sandbox.SANDBOX_COMMAND, sandbox.TIMEOUT_SECONDS)


@pytest.fixture(scope="session", autouse=True)
def each_trial_once() -> Iterator[None]:
    """Many tests publish the same rule set."""
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(rule_sets, "check_in_sandbox", tried)
        yield


FRESH = sandbox.SANDBOX_COMMAND


def run_apart(command: Sequence[str], **how: Any) -> subprocess.CompletedProcess[str]:
    """Run a trial in a process that was forked; whatever a test puts in its place runs as it is."""
    if command is FRESH:
        return tried_apart(how["input"], how["timeout"])
    return subprocess.run(command, **how)


@pytest.fixture(scope="session", autouse=True)
def trials_start_in_a_moment() -> Iterator[None]:
    """A fresh Python takes a second to be ready for a trial, and the trial itself less."""
    with pytest.MonkeyPatch.context() as patched:
        replaced = SimpleNamespace(run=run_apart, TimeoutExpired=subprocess.TimeoutExpired)
        patched.setattr(sandbox, "subprocess", replaced)
        yield


@pytest.fixture
def clock() -> Clock:
    """A quarter to seven in Berlin, on the morning of the interface's example."""
    return Clock(datetime.fromisoformat("2026-03-09T06:45:00+01:00"))


@pytest.fixture(scope="session")
def empty_database(tmp_path_factory: pytest.TempPathFactory) -> Database:
    return Database(tmp_path_factory.mktemp("empty-database"))


@pytest.fixture(scope="session", autouse=True)
def routes_once() -> Iterator[None]:
    """Let all applications of the session share their routes."""
    routes = Routes(app_module.build_routes())
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(app_module, "build_routes", routes.copy)
        yield


@pytest.fixture
def store(tmp_path: Path, empty_database: Database) -> Iterator[Store]:
    empty_database.copy_to(tmp_path / "dawnrule.db")
    with Store.open(tmp_path / "dawnrule.db") as opened:
        yield opened


@pytest.fixture(scope="session")
def advisor() -> Advisor:
    return Advisor.bundled()


_NOON = datetime(2024, 3, 11, 12, tzinfo=UTC)


@pytest.fixture(scope="session")
def demo_database(tmp_path_factory: pytest.TempPathFactory, advisor: Advisor) -> Path:
    """Write the four weeks of the demo's squad up to yesterday, advised by the baseline 1.0.0.
    Tests share it: they may add replays, and nothing else."""
    file = tmp_path_factory.mktemp("demo") / "demo.db"
    numbers = count(1)
    check_ins = CheckIns(advisor, FIRST_BASELINE, lambda: _NOON, lambda: f"id-{next(numbers)}")
    with Store.open(file) as store:
        for diary in invent_diaries(Squad.invented(), _NOON):
            store.write(partial(_remember, check_ins=check_ins, diary=diary))
    return file


def _remember(transaction: Transaction, check_ins: CheckIns, diary: Diary) -> None:
    transaction.athletes.put(diary.athlete)
    for day in diary.past:
        submission = check_ins.submission(None)
        reported_at = day.check_in.reported_at or submission.now
        check_ins.submit(transaction, day.check_in, replace(submission, now=reported_at))
        if day.session is not None:
            starts_at = day.session.starts_at
            session = StoredSession(check_ins.new_id(), day.session, starts_at, None)
            transaction.sessions.add(session)


@pytest.fixture
def settings(tmp_path: Path) -> Settings:
    return Settings(db=tmp_path / "dawnrule.db", port=0)


@pytest.fixture
def new_id() -> Callable[[], str]:
    """Ids in their order: id-0001, id-0002."""
    numbers = count(1)
    return lambda: f"id-{next(numbers):04}"


@pytest.fixture(scope="session")
def description() -> Description:
    return Description.of(app_module.build_routes())


@pytest.fixture
def app(
    settings: Settings,
    store: Store,
    advisor: Advisor,
    clock: Clock,
    new_id: Callable[[], str],
    description: Description,
) -> Iterator[Flask]:
    """The application, which fails a test when an answer is not as described."""
    app = create_app(settings, store, advisor, clock, new_id)
    app.testing = True
    description.watch(app)
    yield app
    Context.of(app).close()


@pytest.fixture
def squad(store: Store) -> tuple[Athlete, ...]:
    """Three athletes in three time zones."""
    store.write(lambda transaction: [transaction.athletes.put(athlete) for athlete in SQUAD])
    return SQUAD


@pytest.fixture
def make_key(store: Store) -> MakeKey:
    """Makes a key of a role, for one athlete if it is to be theirs."""

    def make(role: Role, athlete_id: str | None = None) -> str:
        key = new_key()
        key_id = f"key-{hash_key(key)[:8]}"
        at = datetime(2026, 1, 1, tzinfo=UTC)
        store.write(
            lambda transaction: transaction.keys.add(
                Key(key_id, role, athlete_id, None, at), hash_key(key)
            )
        )
        return key

    return make


@pytest.fixture
def coach_key(make_key: MakeKey) -> str:
    return make_key(Role.COACH)


@pytest.fixture
def poster_key(make_key: MakeKey) -> str:
    return make_key(Role.POSTER)


@pytest.fixture
def athlete_key(make_key: MakeKey, squad: tuple[Athlete, ...]) -> str:
    """The key of the first of the squad, a-03."""
    return make_key(Role.ATHLETE, squad[0].id)


@pytest.fixture
def client(app: Flask) -> Client:
    """A client without a key."""
    return app.test_client()


@pytest.fixture
def coach(app: Flask, coach_key: str, squad: tuple[Athlete, ...]) -> Client:
    return client_with(app, coach_key)


@pytest.fixture
def clinician(app: Flask, make_key: MakeKey, squad: tuple[Athlete, ...]) -> Client:
    return client_with(app, make_key(Role.CLINICIAN))


@pytest.fixture
def poster(app: Flask, poster_key: str, squad: tuple[Athlete, ...]) -> Client:
    return client_with(app, poster_key)


@pytest.fixture
def athlete(app: Flask, athlete_key: str) -> Client:
    return client_with(app, athlete_key)


@pytest.fixture
def coach_browser(app: Flask, coach_key: str, squad: object) -> Client:
    """A browser that a coach has signed in with, through the form."""
    browser: Client = app.test_client()
    page = browser.get("/coach/sign-in").text
    token = re.search(r'name="csrf_token" value="([^"]+)"', page)
    assert token is not None
    browser.post("/coach/sign-in", data={"csrf_token": token[1], "key": coach_key})
    return browser


@pytest.fixture
def live_server(
    app: Flask,
    settings: Settings,
    store: Store,
    coach_key: str,
    poster_key: str,
    athlete_key: str,
) -> Iterator[LiveServer]:
    server = Server(app, settings)
    thread = Thread(target=server.run)
    thread.start()
    keys = {"coach": coach_key, "poster": poster_key, "athlete": athlete_key}
    yield LiveServer(f"http://127.0.0.1:{server.port}", keys, store)
    server.close()
    thread.join()


def client_with(app: Flask, key: str) -> Client:
    """A client that sends a key with each request."""
    client = app.test_client()
    client.environ_base["HTTP_AUTHORIZATION"] = f"Bearer {key}"
    return client
