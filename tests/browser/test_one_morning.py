"""One morning told alike by the sheet, the phone and the coach's page."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from hashlib import sha256
from pathlib import Path
from typing import Any

import pytest
import requests
from playwright.sync_api import Browser, Page, expect

from tests.clients.calc import Calc, running_calc
from tests.clients.conftest import PATIENCE_SECONDS, TODAY
from tests.clients.squad_sheet import FOLDER, LABELS, put_squad, table
from tests.conftest import LiveServer

ATHLETE, RULE = "a-01", "growth-work-too-soon"
"""She wants the heavy day, 30 hours after the last."""


@pytest.fixture
def calc(tmp_path: Path, live_server: LiveServer) -> Iterator[Calc]:
    """The coach's Calc, with the macro installed and a key that may post."""
    put_squad(live_server)
    with running_calc(tmp_path / "calc") as calc:
        calc.keep_key(live_server.base_url, live_server.keys["poster"])
        yield calc


@pytest.fixture
def screen(chromium: Browser, live_server: LiveServer) -> Iterator[Page]:
    """The coach's browser, signed in."""
    context = chromium.new_context(base_url=live_server.base_url)
    page = context.new_page()
    page.goto("/coach/")
    page.get_by_label("Coach's key").fill(live_server.keys["coach"])
    page.get_by_role("button", name="Sign in").click()
    yield page
    context.close()


def call(server: LiveServer, method: str, path: str, **sent: Any) -> Any:
    """What the interface answers to the coach."""
    response = requests.request(
        method,
        f"{server.base_url}{path}",
        headers={"Authorization": f"Bearer {server.keys['coach']}"},
        timeout=PATIENCE_SECONDS,
        **sent,
    )
    return response.json()


def test_sheet_phone_and_page_tell_of_one_morning_with_one_rule_and_one_digest(
    calc: Calc, screen: Page, live_server: LiveServer
) -> None:
    # At a quarter to seven the coach fills in the sheet and presses the button in Calc.
    sheet = str(shutil.copy(FOLDER / "squad.ods", calc.folder))
    answered = str(calc.folder / "answered.ods")
    calc.do(["load", sheet], ["ask"], ["store", answered])
    (row,) = [row for row in table(Path(answered)) if row["athlete_id"] == ATHLETE]
    assert (row["verdict"], row["rule"]) == ("Swap to low-damage work", RULE)

    # The athlete's phone reads it at her private address, and a formula in the sheet does too.
    given = call(live_server, "POST", f"/v1/athletes/{ATHLETE}/addresses", json={"purpose": "read"})
    (path,) = [path for path in given["paths"] if path.endswith("/today.txt")]
    address = f"{live_server.base_url}{path}"
    spoken = requests.get(address, timeout=PATIENCE_SECONDS).text
    assert spoken.startswith(f"{row['verdict']}: ")
    assert row["reason"].partition(". ")[0] in spoken
    assert calc.do(["call", "WEBSERVICE", address]) == [spoken]

    # The service holds the same, and its ledger the digest of the record.
    advice = call(live_server, "GET", f"/v1/athletes/{ATHLETE}/advice/{TODAY}")
    assert (LABELS[advice["verdict"]], advice["rule"]["id"]) == (row["verdict"], RULE)
    assert row["reason"].startswith(advice["reason"])
    assert row["caution"].startswith(advice["caution"])
    proof = call(live_server, "GET", f"/v1/advice/{advice['advice_id']}/proof")
    digest = proof["entry"]["record_digest"]
    assert sha256((proof["salt"] + proof["record"]).encode()).hexdigest() == digest

    # The coach opens This morning, then Why, and finds the rule, its words and the digest.
    screen.goto("/coach/")
    expect(screen.get_by_role("heading", level=1)).to_contain_text("This morning")
    hers = screen.get_by_role("listitem").filter(has_text=f"Athlete {ATHLETE}").first
    hers.locator("summary").click()
    hers.get_by_role("link", name=f"Why: {advice['rule']['title']}").click()
    expect(screen).to_have_url(f"{live_server.base_url}/coach/advice/{advice['advice_id']}")
    told = screen.locator("main")
    for words in (row["verdict"], advice["reason"], advice["rule"]["title"], digest):
        expect(told).to_contain_text(words)
    expect(told).to_contain_text(RULE)
