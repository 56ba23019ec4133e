"""Accessibility of what the coach's forms on rules and replays answer with."""

from __future__ import annotations

import re

from playwright.sync_api import Page, expect

from tests.browser.axe import SIZES, leave_out_repetitions, open_everything, sideways, violations
from tests.browser.conftest import NOW, Stage
from tests.effort import LONG_RUN

TRY_OUT = "/coach/rule-sets/baseline/2.0.0/try-out"
WITHIN_MS = 60_000


def nobody_is_kept_out_of(page: Page) -> None:
    """On both screens; in a short run axe looks on the phone, where all is as it is on the desk."""
    open_everything(page)
    for size, width in reversed(SIZES.items()):
        page.set_viewport_size({"width": width, "height": 900})
        assert sideways(page) <= 0, f"on a {size} only tables may be wider"
        assert not LONG_RUN or violations(page) == [], f"on a {size}"
    leave_out_repetitions(page)
    assert violations(page) == []


def test_facts_are_tried_by_keyboard_alone(page: Page) -> None:
    page.goto(TRY_OUT)
    page.get_by_label("goal", exact=True).focus()
    page.keyboard.type("growth")
    page.get_by_label("soreness", exact=True).focus()
    page.keyboard.type("4")
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", name="What the rules say")).to_be_visible()
    told = page.locator(".verdict-line").last
    expect(told).to_contain_text("Growth work on a muscle that is still sore")
    nobody_is_kept_out_of(page)


def test_who_fills_in_what_cannot_be_is_led_to_the_field(page: Page) -> None:
    page.goto(TRY_OUT)
    page.get_by_label("sleep", exact=True).fill("65")
    page.get_by_role("button", name="Ask the rules").click()
    expect(page.get_by_role("alert")).to_be_visible()
    expect(page.get_by_label("sleep", exact=True)).to_have_attribute("aria-invalid", "true")
    assert page.title().startswith("Not accepted: ")
    nobody_is_kept_out_of(page)


def test_a_replay_is_followed_without_a_hand_until_it_is_done(page: Page) -> None:
    page.set_viewport_size({"width": SIZES["phone"], "height": 900})
    page.goto("/coach/replays")
    page.get_by_label("Rule set").select_option("baseline@1.0.0")
    page.get_by_role("button", name="Start").click()
    page.wait_for_url("**/coach/replays/*")
    expect(page.get_by_text("It is done.")).to_be_visible(timeout=WITHIN_MS)
    progress = page.get_by_role("progressbar")
    assert progress.get_attribute("value") == progress.get_attribute("max")
    nobody_is_kept_out_of(page)


def test_the_longest_why_fits_on_two_sheets_of_paper(page: Page, stage: Stage) -> None:
    given = stage.store.read(lambda transaction: transaction.advice.for_date(NOW.date()))
    longest = max(given, key=lambda one: len(one.record))
    page.goto(f"/coach/advice/{longest.id}")
    sheets = len(re.findall(rb"/Type\s*/Page\b", page.pdf(format="A4")))
    assert 1 <= sheets <= 2
