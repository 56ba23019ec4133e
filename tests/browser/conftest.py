"""A coach before a real browser: a squad with weeks behind it, the real server, and Chromium.

The service stands for all tests of a run: they look at pages and change nothing that others see.
Nothing but loopback is reached: the browser is told to know no other host.
"""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from fcntl import LOCK_EX, flock
from functools import partial
from pathlib import Path
from threading import Thread

import pytest
from playwright.sync_api import Browser, BrowserContext, Page, expect, sync_playwright

from dawnrule.advice.advisor import Advisor
from dawnrule.application.check_ins import CheckIns, Submission
from dawnrule.application.sessions import log_session
from dawnrule.clock import new_id
from dawnrule.demo.squad import Diary, Squad, invent_diaries
from dawnrule.model.entities import Athlete
from dawnrule.settings import Settings, name_and_version
from dawnrule.store import Group, Key, Role, Store, Transaction, hash_key
from dawnrule.web import Server, create_app

CHROMIUM = "/usr/bin/chromium"
FLAGS = (
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--no-first-run",
    "--host-resolver-rules=MAP * ~NOTFOUND, EXCLUDE 127.0.0.1",
)

PATIENCE_MS = 60_000
"""How long a page may take to show something on a machine that is busy with much else."""

NOW = datetime(2026, 3, 9, 18, 0, tzinfo=UTC)
"""Where the clock stands: the morning's check-ins are in, in every time zone of the squad."""

COACH_KEY = "dawn_coach-of-the-browser-tests"
ATHLETE, SILENT, NEW = "a-01", "a-04", "a-99"
GROUP = "g-01"
"""One with weeks of reports, one who has not checked in today, and one of whom nothing is known;
and a group with the first two."""


@dataclass(frozen=True)
class Stage:
    """A running service with the squad; ``advice_id`` is today's of ``ATHLETE``."""

    url: str
    advice_id: str
    store: Store


@pytest.fixture(scope="session")
def staged(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A database with the squad of the demo and two athletes with less to show, which the first of
    all processes of a run makes and the others wait for. It is there to be copied."""
    of_this_process = tmp_path_factory.getbasetemp()
    is_one_of_several = "PYTEST_XDIST_WORKER" in os.environ
    folder = of_this_process.parent if is_one_of_several else of_this_process
    file = folder / "staged.db"
    with (folder / "staged.lock").open("w") as lock:
        flock(lock, LOCK_EX)
        if not file.exists():
            made = file.with_suffix(".making")
            _make_squad(made)
            made.rename(file)
    return file


def _make_squad(db: Path) -> None:
    advisor, settings = Advisor.bundled(), Settings(db=db)
    with Store.open(db) as store:
        for diary in invent_diaries(Squad.invented(), NOW):
            store.write(partial(_remember, advisor=advisor, diary=diary, settings=settings))
        store.write(lambda b: b.athletes.put(Athlete(NEW, "Nobody's <b>Name</b>", "Etc/UTC")))
        store.write(
            lambda b: b.keys.add(Key("key-coach", Role.COACH, None, None, NOW), hash_key(COACH_KEY))
        )
        store.write(lambda b: b.groups.put(Group(GROUP, "First team", (ATHLETE, SILENT))))


@pytest.fixture(scope="session")
def stage(staged: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Stage]:
    """That squad on the real server."""
    db = shutil.copy(staged, tmp_path_factory.mktemp("stage") / "dawnrule.db")
    settings = Settings(db=Path(db), port=0)
    advisor = Advisor.bundled()
    with Store.open(settings.db) as store:
        server = Server(create_app(settings, store, advisor, lambda: NOW, new_id), settings)
        thread = Thread(target=server.run)
        thread.start()
        today = store.read(lambda transaction: transaction.advice.latest(ATHLETE, NOW.date()))
        assert today is not None
        yield Stage(f"http://127.0.0.1:{server.port}", today.id, store)
        server.close()
        thread.join()


@pytest.fixture(scope="session")
def chromium() -> Iterator[Browser]:
    expect.set_options(timeout=PATIENCE_MS)
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=list(FLAGS))
        yield browser
        browser.close()


@pytest.fixture(scope="session")
def signed_in(chromium: Browser, stage: Stage) -> Iterator[BrowserContext]:
    """A browser that a coach has signed in with, through the form."""
    context = chromium.new_context(base_url=stage.url)
    page = context.new_page()
    page.goto("/coach/sign-in")
    page.get_by_label("Coach's key").fill(COACH_KEY)
    page.get_by_role("button", name="Sign in").click()
    page.wait_for_url("**/coach/")
    page.close()
    yield context
    context.close()


@pytest.fixture(scope="session")
def tab(signed_in: BrowserContext) -> Iterator[Page]:
    """A tab of that browser: to open one takes longer than most tests of a page."""
    tab = signed_in.new_page()
    yield tab
    tab.close()


@pytest.fixture
def page(tab: Page) -> Iterator[Page]:
    """That tab as if it were just opened, as wide as a desk."""
    tab.set_viewport_size({"width": 1280, "height": 900})
    tab.set_extra_http_headers({})
    tab.emulate_media(media="null", color_scheme="null")
    yield tab
    tab.goto("about:blank")


def _remember(transaction: Transaction, advisor: Advisor, diary: Diary, settings: Settings) -> None:
    """What came in of one athlete, as it would have come in."""
    rule_set = advisor.library.get(*name_and_version(settings.rule_set))
    check_ins = CheckIns(advisor, rule_set, lambda: NOW, new_id)
    transaction.athletes.put(diary.athlete)
    for day in diary.past:
        assert day.check_in.reported_at is not None
        posting = Submission(day.check_in.reported_at, None, new_id(), new_id())
        check_ins.submit(transaction, day.check_in, posting)
        if day.session is not None:
            at = replace(posting, now=NOW)
            log_session(transaction, check_ins, day.session, new_id(), at)
    if diary.athlete.id != SILENT:
        check_ins.submit(transaction, diary.this_morning, check_ins.submission(None))
