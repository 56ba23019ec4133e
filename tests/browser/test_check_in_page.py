"""Can an athlete check in on a phone without JavaScript, by keyboard, in few taps, whoever they
are?"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, date, datetime

import pytest
from playwright.sync_api import Browser, Page, expect

from dawnrule.model.entities import Block
from dawnrule.store import PrivateAddress, Purpose, StoredPlan, hash_token, new_token
from tests.browser.axe import open_everything, sideways, violations, wrong_colours
from tests.conftest import LiveServer
from tests.effort import LONG_RUN

NOW = datetime(2026, 3, 9, 5, 45, tzinfo=UTC)
TODAY = date(2026, 3, 9)
PLANNED = ("quadriceps", "glutes", "adductors")
PLAN = (Block("hypertrophy", PLANNED, modality="free-weights", sets=10),)
MOST_TAPS = 8
SMALLEST_TARGET_PX = 44
"""WCAG 2.2, 2.5.5 (the enhanced criterion)."""

TOO_SMALL = """least => [...document.querySelectorAll(
    "label.cell, label.row, summary, button, select, .field input, a")]
    .filter(one => one.getClientRects().length)
    .map(one => [one.textContent.trim(), one.getBoundingClientRect()])
    .filter(([_, box]) => Math.min(box.width, box.height) < least - 0.1)
    .map(([text, _]) => text)"""


@pytest.fixture
def address(live_server: LiveServer) -> str:
    """The address of a-03's page; the coach plans growth work for three muscle groups."""
    token = new_token()
    known = PrivateAddress("p-01", Purpose.CHECK_IN, "a-03", None, NOW, None)
    plan = StoredPlan("a-03", TODAY, PLAN, NOW, None)
    live_server.store.write(lambda b: b.private_addresses.add(known, hash_token(token)))
    live_server.store.write(lambda b: b.plans.put(plan))
    return f"{live_server.base_url}/check-in/{token}"


@pytest.fixture(scope="module")
def without_scripts(chromium: Browser) -> Iterator[Page]:
    with chromium.new_context(java_script_enabled=False) as context:
        yield context.new_page()


@pytest.fixture(scope="module")
def with_scripts(chromium: Browser) -> Iterator[Page]:
    with chromium.new_context() as context:
        yield context.new_page()


@pytest.fixture
def phone(without_scripts: Page) -> Page:
    """A phone whose browser runs no JavaScript."""
    without_scripts.context.clear_cookies()
    without_scripts.set_viewport_size({"width": 390, "height": 844})
    return without_scripts


@pytest.fixture
def screen(with_scripts: Page) -> Page:
    """A browser that lets itself be looked at: that takes JavaScript."""
    with_scripts.context.clear_cookies()
    return with_scripts


def test_a_normal_morning_with_three_planned_groups_takes_eight_taps(
    phone: Page, address: str
) -> None:
    """All that is not folded away is answered; ticks and cells are touched, nothing is typed."""
    phone.goto(address)
    answers = {f"soreness/{group}": "1" for group in PLANNED}
    answers |= {"sleep/hours": "7.5", "sleep/quality": "4", "fatigue": "2"}
    taps = [phone.locator(f'label.cell:has([name="{n}"][value="{v}"])') for n, v in answers.items()]
    taps.append(phone.get_by_label("No pain, not ill, none of the signs"))
    taps.append(phone.get_by_role("button", name="Send"))
    assert len(taps) == MOST_TAPS
    for tap in taps:
        tap.click()
    expect(phone.locator("#headline")).to_contain_text("Train as planned")
    assert phone.locator("text=Not answered:").count() == 0
    assert phone.url == address
    assert phone.title() == "Check-in"


def test_the_keyboard_alone_is_enough(phone: Page, address: str) -> None:
    phone.goto(address)
    phone.locator('[name="soreness/quadriceps"][value=""]').focus()
    for _ in range(5):
        phone.keyboard.press("ArrowRight")  # past "not answered": 0, 1, 2, 3, 4
    assert phone.locator('[name="soreness/quadriceps"][value="4"]').is_checked()
    phone.get_by_label("No pain, not ill, none of the signs").focus()
    phone.keyboard.press("Space")
    phone.get_by_role("button", name="Send").focus()
    phone.keyboard.press("Enter")
    expect(phone.locator("#headline")).to_contain_text("do less, at most")


def test_what_is_wrong_is_what_a_screen_reader_comes_to_first(phone: Page, address: str) -> None:
    phone.goto(address)
    phone.get_by_label("Another time").fill("lots")
    phone.get_by_role("button", name="Send").click()
    alert = phone.get_by_role("alert")
    expect(alert).to_be_focused()
    alert.get_by_role("link").click()
    field = phone.get_by_label("Another time")
    expect(field).to_have_value("lots")
    expect(field).to_have_accessible_description(
        "Such as 7:20, 7h20 or 7.5. Write the hours like 7, 7.5 or 7:30, 24 at most."
    )


def test_nobody_is_kept_out_before_and_after_sending(screen: Page, address: str) -> None:
    screen.goto(address)
    look(screen)
    screen.get_by_label("Another time").fill("lots")
    screen.get_by_role("button", name="Send").click()
    look(screen)
    screen.get_by_label("Another time").fill("7")
    screen.get_by_role("button", name="Send").click()
    look(screen)
    screen.goto(address + "x")
    look(screen)


def test_what_is_folded_away_opens_by_itself_once_it_is_used(screen: Page, address: str) -> None:
    screen.goto(address)
    temperature, grip = screen.get_by_label("Body temperature"), screen.get_by_label("Grip")
    screen.get_by_text("Temperature and fever medicine").click()
    temperature.fill("hot")
    screen.get_by_text("Jump height and grip strength").click()
    grip.fill("45.5 kg")
    screen.get_by_role("button", name="Send").click()
    expect(temperature).to_be_visible()
    expect(temperature).to_have_accessible_description(
        "Such as 36.8. Write your temperature in °C as a number from 30 to 45, like 36.8."
    )
    expect(grip).to_have_value("45.5 kg")
    expect(screen.get_by_label("Caffeine in mg")).to_be_hidden()
    look(screen)
    screen.reload()
    temperature.fill("37,4")
    screen.get_by_role("button", name="Send").click()
    expect(temperature).to_have_value("37.4")
    expect(grip).to_have_value("45.5")
    look(screen)


def look(screen: Page) -> None:
    """At 320 px, which is 1280 px at 400 % (WCAG 1.4.10), as it opens and all unfolded. What is
    folded is a part of what is unfolded, so that axe finds the same there in a short run."""
    screen.wait_for_load_state()
    screen.set_viewport_size({"width": 320, "height": 844})
    for unfolded in (False, True):
        if unfolded:
            open_everything(screen)
        if unfolded or LONG_RUN:
            screen.emulate_media(color_scheme="light")
            assert violations(screen) == []
            screen.emulate_media(color_scheme="dark")
            assert wrong_colours(screen) == []
        assert sideways(screen) <= 0
        assert screen.evaluate(TOO_SMALL, SMALLEST_TARGET_PX) == []
