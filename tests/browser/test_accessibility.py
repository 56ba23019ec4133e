"""Accessibility of every page: WCAG 2.2 AA by axe-core in a real browser.

A new page goes into ``PAGES``; a page that is missing there fails a test.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any, Literal

import pytest
from flask import Flask
from playwright.sync_api import Browser, Page, expect

from tests.browser.axe import (
    SIZES,
    leave_out_repetitions,
    open_everything,
    repeated_ids,
    sideways,
    violations,
)
from tests.browser.conftest import ATHLETE, GROUP, NEW, SILENT, Stage
from tests.effort import LONG_RUN

SIGN_IN = "/coach/sign-in"
CHECK_IN = "/check-in/<token>"
"""Looked at in its own tests, as it is nobody's who signs in."""

PAGES = {
    "/": "/",
    "/docs": "/docs",
    "/problems/<kind>": "/problems/not-found",
    "/coach/": "/coach/",
    "/coach/ of one verdict": "/coach/?place=rest&name=o",
    "/coach/ with faults": "/coach/?place=resting&date=today",
    "/coach/athletes": "/coach/athletes",
    "/coach/athletes/<athlete_id>/change": f"/coach/athletes/{ATHLETE}/change",
    "/coach/add-athletes": "/coach/add-athletes",
    "/coach/athletes/<athlete_id>/check-in": f"/coach/athletes/{SILENT}/check-in",
    "/coach/plan": f"/coach/plan?who=group:{GROUP}",
    "/coach/week": "/coach/week",
    "/coach/log": f"/coach/log?who=group:{GROUP}&day=2026-03-07",
    "/coach/addresses": "/coach/addresses",
    "/coach/groups": "/coach/groups",
    "/coach/groups/<group_id>": f"/coach/groups/{GROUP}",
    "/coach/athletes/<athlete_id>": f"/coach/athletes/{ATHLETE}",
    "/coach/athletes/<athlete_id> for a week": f"/coach/athletes/{ATHLETE}?days=7",
    "/coach/athletes/<athlete_id> of whom nothing is known": f"/coach/athletes/{NEW}",
    "/coach/advice/<advice_id>": "/coach/advice/{advice_id}",
    "/coach/advice/<advice_id> under another rule set": (
        "/coach/advice/{advice_id}?under=baseline@1.0.0"
    ),
    "/coach/advice/<advice_id> under an unknown one": "/coach/advice/{advice_id}?under=no@0.1.0",
    "/coach/advice/<advice_id> that is not there": "/coach/advice/nowhere",
    "/coach/why/<athlete_id>/<day>": f"/coach/why/{ATHLETE}/2026-03-08",
    "/coach/rule-sets": "/coach/rule-sets",
    "/coach/rule-sets/publish": "/coach/rule-sets/publish",
    "/coach/rule-sets/deciding": "/coach/rule-sets/deciding?rule_set=baseline@1.2.0",
    "/coach/rule-sets/<name>/<version>": "/coach/rule-sets/baseline/2.0.0",
    "/coach/rule-sets/<name>/<version> beside another": (
        "/coach/rule-sets/baseline/2.0.0?from=baseline@1.0.0"
    ),
    "/coach/rule-sets/<name>/<version>/scorecard": "/coach/rule-sets/baseline/2.0.0/scorecard",
    "/coach/rule-sets/<name>/<version>/try-out": "/coach/rule-sets/baseline/2.0.0/try-out",
    "/coach/drifts": "/coach/drifts",
    "/coach/concerns": "/coach/concerns",
    "/coach/sheets": "/coach/sheets",
    "/coach/concerns of one athlete": "/coach/concerns?athlete=a-07",
    "/coach/replays": "/coach/replays",
    "/coach/replays/<replay_id>": "/coach/replays/nowhere",
    "/coach/<path:elsewhere>": "/coach/nowhere",
}
"""What is looked at: the route, with a word if there are several of it, and the address;
``{advice_id}`` stands for the id of an advice of today."""

NO_PAGES = {"/static/<path:filename>", "/healthz", "/readyz", "/openapi.yaml", "/metrics"}
"""Routes outside /v1 whose answers are not for reading in a browser."""

LOOKS: tuple[tuple[str, int, Literal["light", "dark"]], ...] = (
    ("phone", SIZES["phone"], "light"),
    ("desk", SIZES["desk"], "dark"),
)
"""Each width and each scheme once: a colour is the same at every width."""

IN_THE_DARK = {"/", "/coach/", "/coach/advice/{advice_id}"}
"""The pages that are looked at in the dark in a short run too: all share their style sheets."""


def looks_at(address: str) -> tuple[tuple[str, int, Literal["light", "dark"]], ...]:
    """Choose how a page is looked at."""
    return LOOKS if LONG_RUN or address in IN_THE_DARK else LOOKS[:1]


NARROWEST = 320
"""The width, in CSS pixels, at which only tables and charts may scroll: a desk's 1280 at 400 %
(WCAG 2.2, 1.4.10)."""


@contextmanager
def watched(page: Page, stage: Stage) -> Iterator[list[str]]:
    """Notes all that a page should not do: errors in the console, among them what its policy
    forbids, and requests to elsewhere."""
    seen: list[str] = []
    listeners: dict[Any, Callable[[Any], None]] = {
        "console": lambda said: seen.append(said.text) if said.type == "error" else None,
        "pageerror": lambda error: seen.append(str(error)),
        "request": lambda sent: (
            None if sent.url.startswith(f"{stage.url}/") else seen.append(sent.url)
        ),
    }
    for event, note in listeners.items():
        page.on(event, note)
    yield seen
    for event, note in listeners.items():
        page.remove_listener(event, note)


@pytest.mark.parametrize("address", PAGES.values(), ids=PAGES.keys())
def test_nobody_is_kept_out_nobody_else_is_asked_and_no_rule_of_the_page_is_broken(
    page: Page, stage: Stage, address: str
) -> None:
    """All of it on one page object: to load the longest pages again takes longer than to look."""
    page.set_viewport_size({"width": NARROWEST, "height": 900})
    with watched(page, stage) as seen:
        answer = page.goto(address.format(advice_id=stage.advice_id))
    assert answer is not None
    if not answer.ok:  # Chromium notes the page's own status as an error
        seen[:] = [said for said in seen if "Failed to load resource" not in said]
    assert seen == []
    open_everything(page)
    for width in (NARROWEST, SIZES["desk"], SIZES["phone"]):
        page.set_viewport_size({"width": width, "height": 900})
        assert sideways(page) <= 0, f"on {width} pixels only tables and charts may be wider"
    assert repeated_ids(page) == []
    if not LONG_RUN:
        leave_out_repetitions(page)
    for size, width, scheme in looks_at(address):
        page.set_viewport_size({"width": width, "height": 900})
        page.emulate_media(color_scheme=scheme)
        assert violations(page) == [], f"on a {size}, {scheme}"


IN_GERMAN = {
    name: address
    for name, address in PAGES.items()
    if address.startswith("/coach/") and (LONG_RUN or " " not in name)
}
"""The pages of coaches; in a short run, each route once."""


@pytest.mark.parametrize("address", IN_GERMAN.values(), ids=IN_GERMAN.keys())
def test_the_longer_words_of_german_fit_the_narrowest_screen(
    page: Page, stage: Stage, address: str
) -> None:
    page.set_extra_http_headers({"Accept-Language": "de"})
    page.set_viewport_size({"width": NARROWEST, "height": 900})
    page.goto(address.format(advice_id=stage.advice_id))
    expect(page.locator("html")).to_have_attribute("lang", "de")
    open_everything(page)
    assert sideways(page) <= 0


@pytest.mark.parametrize("width", SIZES.values(), ids=SIZES.keys())
def test_who_is_not_signed_in_yet_is_not_kept_out(
    chromium: Browser, stage: Stage, width: int
) -> None:
    context = chromium.new_context(base_url=stage.url, viewport={"width": width, "height": 900})
    page = context.new_page()
    page.goto(SIGN_IN)
    assert violations(page) == []
    page.get_by_label("Coach's key").fill("dawn_wrong")
    page.get_by_role("button", name="Sign in").click()
    page.get_by_role("alert").wait_for()
    assert violations(page) == []
    assert sideways(page) <= 0
    context.close()


def test_every_page_is_looked_at(app: Flask) -> None:
    routes = {rule.rule for rule in app.url_map.iter_rules() if "GET" in (rule.methods or set())}
    readable = {route for route in routes - NO_PAGES if not is_for_programs(route)}
    looked_at = {SIGN_IN, CHECK_IN} | {name.split(" ")[0] for name in PAGES}
    assert readable == looked_at


def is_for_programs(route: str) -> bool:
    """Whether a route answers programs: all under /v1, and what ends as a file does."""
    return route.startswith("/v1/") or re.search(r"\.(txt|json|ics|csv)$", route) is not None
