"""A coach's first week, from an empty database to Friday: by keyboard, at a desk until Tuesday and
on a phone after that. Only the first key comes from a terminal."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from threading import Thread
from typing import Literal

import pytest
from playwright.sync_api import Browser, Locator, Page, expect

from dawnrule.advice.advisor import Advisor
from dawnrule.clock import new_id
from dawnrule.settings import LogForm, Settings
from dawnrule.store import Key, Role, Store, hash_key
from dawnrule.web import Server, create_app
from tests.browser.axe import SIZES, sideways, violations
from tests.browser.conftest import COACH_KEY
from tests.conftest import Clock

SUNDAY = "2026-03-08T17:00:00+01:00"
SQUAD = "Name\tTime zone\tBorn\nMina\tEurope/Berlin\t17.5.2001\nOdd\tEurope/Oslo\nRuth\tAtlantis\n"
Control = Literal["button", "checkbox", "link"]
"""What is pressed, by its role on the page."""

MOST_ROUNDS = 5
TABS_AHEAD = """to => {
    if (to === document.activeElement) return 0;
    const stops = [...document.querySelectorAll(
        "a[href], button, input:not([type=hidden]), select, textarea, summary, [tabindex='0']"
    )].filter(one => one.checkVisibility() && (one.type !== "radio" || one.checked));
    const at = stops.indexOf(document.activeElement), there = stops.indexOf(to);
    return there > at ? there - at : 1;
}"""
"""How many times Tab has to be pressed from where the focus is to get to an element, if nothing
moves the focus otherwise; where the way back to the top is needed, 1 as a step on it."""


@dataclass(frozen=True)
class Club:
    """An empty service, and the clock on its wall."""

    url: str
    clock: Clock


@pytest.fixture
def club(tmp_path: Path) -> Iterator[Club]:
    settings = Settings(db=tmp_path / "club.db", port=0, log=LogForm.OFF)
    clock = Clock(datetime.fromisoformat(SUNDAY))
    with Store.open(settings.db) as store:
        first = Key("first", Role.COACH, None, None, clock())
        store.write(lambda transaction: transaction.keys.add(first, hash_key(COACH_KEY)))
        server = Server(create_app(settings, store, Advisor.bundled(), clock, new_id), settings)
        thread = Thread(target=server.run)
        thread.start()
        yield Club(f"http://127.0.0.1:{server.port}", clock)
        server.close()
        thread.join()


@dataclass(frozen=True)
class Hands:
    """Hands on a keyboard: they find a control with the Tab key alone."""

    page: Page

    def go(self, to: Locator) -> None:
        """Press Tab until a control has the focus. How often is counted first: to ask the page
        after each press takes most of the time."""
        for _ in range(MOST_ROUNDS):
            ahead = to.evaluate(TABS_AHEAD)
            if ahead == 0:
                return
            for _ in range(ahead):
                self.page.keyboard.press("Tab")
        raise AssertionError(f"the keyboard does not reach {to}")

    def field(self, label: str, text: str) -> None:
        """Write into a field, or choose in a list by the beginning of a choice."""
        self.go(self.page.get_by_label(label, exact=True))
        self.page.keyboard.type(text)

    def press(self, role: Control, name: str, key: str = "Enter") -> None:
        """Press a button, follow a link or tick a box."""
        self.go(self.page.get_by_role(role, name=name, exact=True).first)
        self.page.keyboard.press(key)

    def tick(self, *names: str) -> None:
        """Tick boxes."""
        for name in names:
            self.press("checkbox", name, "Space")

    def open(self, summary: str) -> None:
        """Open what is folded away."""
        self.go(self.page.locator("summary", has_text=summary).first)
        self.page.keyboard.press("Enter")

    def sign_in(self) -> None:
        """Sign in, once a day."""
        self.page.goto("/coach/")
        self.field("Coach's key", COACH_KEY)
        self.page.keyboard.press("Enter")
        expect(self.page.locator("[aria-current=page]")).to_have_text("This morning")

    def turn_to(self, name: str) -> None:
        """Follow a way in the navigation."""
        self.press("link", name)
        expect(self.page.locator("[aria-current=page]").first).to_have_text(name)
        assert sideways(self.page) <= 0, name


def check_in(chromium: Browser, address: str, sore: int, told: str) -> None:
    """Check in on a phone, with a finger or a keyboard: the page is the athlete's own."""
    context = chromium.new_context(viewport={"width": SIZES["phone"], "height": 800})
    page = context.new_page()
    page.goto(address)
    page.locator(f'label.cell:has([name="soreness/quadriceps"][value="{sore}"])').click()
    page.get_by_label("No pain, not ill, none of the signs").check()
    page.get_by_role("button", name="Send").click()
    expect(page.locator("#advice, .advice").first).to_contain_text(told)
    context.close()


def test_a_coachs_first_week_needs_no_terminal_after_the_first_key(
    chromium: Browser, club: Club
) -> None:
    context = chromium.new_context(base_url=club.url, viewport={"width": 1280, "height": 900})
    page = context.new_page()
    hands = Hands(page)

    # Sunday: sign in, add the squad from a sheet, put it into a group.
    hands.sign_in()
    hands.turn_to("Athletes")
    hands.turn_to("Add many from a sheet")
    hands.go(page.get_by_label("List", exact=True))
    page.keyboard.insert_text(SQUAD)
    hands.press("button", "Look it over")
    expect(page.locator("#fault-rows-2-time_zone")).to_be_visible()
    assert violations(page) == []
    hands.go(page.get_by_label("Time zone, Ruth"))
    page.keyboard.press("Control+A")
    page.keyboard.type("Berlin")
    hands.press("button", "Add these athletes")
    expect(page.get_by_role("status")).to_contain_text("Added: Mina, Odd and Ruth.")
    hands.turn_to("Groups")
    hands.field("Name", "First team")
    hands.tick("Mina", "Odd", "Ruth")
    hands.press("button", "Make the group")
    expect(page.get_by_role("row", name="First team (3)")).to_be_visible()

    # Plan the week: legs on Monday and Thursday, an easy ride on Tuesday.
    hands.turn_to("Plan")
    hands.field("For whom", "First")
    hands.press("button", "Show")
    hands.press("link", "Week after")
    hands.field("Goal", "Growth")
    hands.open("Muscle groups")
    hands.tick("Quadriceps")
    hands.field("Starts at", "0600PM")
    hands.field("Minutes", "60")
    hands.tick("Mon 9 March", "Thu 12 March")
    hands.press("button", "Add the session")
    hands.field("Goal", "Steady")
    hands.field("How", "Cycling")
    hands.field("Minutes", "40")
    hands.tick("Tue 10 March")
    hands.press("button", "Add the session")
    expect(page.locator(".week")).to_contain_text("18:00 growth work, quadriceps, 60 min")

    # Print the addresses.
    hands.turn_to("Athletes")
    hands.turn_to("Private addresses")
    hands.field("For whom", "First")
    hands.field("Where athletes reach this service", club.url)
    hands.press("button", "Make the addresses and a sheet to print")
    expect(page.locator(".cards svg")).to_have_count(3)
    assert violations(page) == []
    mina, odd, _ = (one.inner_text() for one in page.locator(".address a").all())

    # Monday: two check in by their link; the morning says who trains, who swaps, who is missing.
    club.clock.set("2026-03-09T06:45:00+01:00")
    check_in(chromium, mina, 0, "Train as planned")
    check_in(chromium, odd, 6, "Instead of")
    hands.sign_in()
    for name in ("Mina", "Odd", "Ruth"):
        expect(page.locator("main")).to_contain_text(name)

    # Monday night: log the session of those who were there.
    club.clock.set("2026-03-09T20:00:00+01:00")
    hands.sign_in()
    hands.turn_to("Training log")
    hands.field("For whom", "First")
    hands.press("button", "Show")
    hands.tick("Odd")  # he was not: the tick goes
    hands.field("Output, Ruth", "dropped")
    hands.field("Drop in %, Ruth", "10")
    hands.press("button", "Log the session")
    expect(page.get_by_role("status")).to_contain_text("Logged for 2.")

    # Tuesday, from now on with a phone: Mina's plan changes after her check-in, and so does advice.
    page.set_viewport_size({"width": SIZES["phone"], "height": 800})
    club.clock.set("2026-03-10T08:30:00+01:00")
    check_in(chromium, mina, 2, "Train as planned")
    hands.sign_in()
    hands.turn_to("Plan")
    hands.field("For whom", "Mina")
    hands.press("button", "Show")
    hands.field("Goal", "Growth")
    hands.open("Muscle groups")
    hands.tick("Quadriceps")
    hands.tick("Tue 10 March")
    hands.press("button", "Add the session")
    expect(page.get_by_role("status")).to_contain_text("Today's advice is now")
    assert violations(page) == []

    # Friday: the next week as this one.
    club.clock.set("2026-03-13T17:00:00+01:00")
    hands.sign_in()
    hands.turn_to("Plan")
    hands.field("For whom", "First")
    hands.press("button", "Show")
    hands.press("link", "Week after")
    hands.press("button", "Copy last week into this one")
    thursday = page.locator(".week > li").nth(3)
    expect(thursday).to_contain_text("Thu 19 March")
    expect(thursday).to_contain_text("18:00 growth work, quadriceps, 60 min")
    context.close()
