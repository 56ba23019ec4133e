"""The coach's pages in a real browser: by keyboard, without scripts, on paper."""

from __future__ import annotations

import re
from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser, Page, expect

from tests.browser.conftest import ATHLETE, COACH_KEY, NEW, SILENT, Stage

LEAST_TARGET = 24
"""The least width and height of what is pressed, in CSS pixels: WCAG 2.2, 2.5.8."""


@pytest.fixture
def new_page(chromium: Browser, stage: Stage) -> Iterator[Page]:
    """A page of a browser of its own, in which scripts are switched off and nobody signed in."""
    context = chromium.new_context(base_url=stage.url, java_script_enabled=False)
    yield context.new_page()
    context.close()


def test_a_coach_comes_in_finds_an_athlete_and_goes_out_by_keyboard_without_scripts(
    new_page: Page, stage: Stage
) -> None:
    new_page.goto(f"/coach/athletes/{ATHLETE}")
    expect(new_page.get_by_role("heading", name="Sign in")).to_be_visible()
    new_page.get_by_label("Coach's key").focus()
    new_page.keyboard.type(COACH_KEY)
    new_page.keyboard.press("Enter")
    expect(new_page.get_by_role("heading", level=1)).to_have_text("Ilka")

    new_page.get_by_role("link", name="This morning").press("Enter")
    new_page.get_by_text("Filter").press("Enter")
    new_page.get_by_label("Name or id").fill("haru")
    new_page.keyboard.press("Enter")
    expect(new_page.locator(".lines summary")).to_have_text(re.compile("Haruki"))

    new_page.get_by_role("button", name="Sign out").press("Enter")
    expect(new_page.get_by_role("heading", name="Sign in")).to_be_visible()
    new_page.goto("/coach/")
    expect(new_page.get_by_role("heading", name="Sign in")).to_be_visible()


def test_the_first_stop_of_the_keyboard_leads_past_the_navigation(page: Page) -> None:
    page.goto("/coach/")
    page.keyboard.press("Tab")
    skip = page.get_by_role("link", name="To the content")
    expect(skip).to_be_focused()
    expect(skip).to_be_in_viewport()
    page.keyboard.press("Enter")
    expect(page.get_by_role("main")).to_be_focused()


@pytest.mark.parametrize(
    "address", ["/coach/", f"/coach/athletes/{ATHLETE}", f"/coach/athletes/{ATHLETE}?days=84"]
)
def test_what_is_pressed_is_large_enough(page: Page, address: str) -> None:
    page.set_viewport_size({"width": 390, "height": 800})
    page.goto(address)
    small = page.evaluate(
        """least => [...document.querySelectorAll('a[href], button, summary, input, select')]
            .filter(one => !one.closest('p') || one.closest('.more'))
            .filter(one => one.checkVisibility() && one.type !== 'hidden')
            .filter(one => !one.classList.contains('skip'))
            .map(one => [one.outerHTML.slice(0, 80), one.getBoundingClientRect()])
            .filter(([_, box]) => box.width < least || box.height < least)
            .map(([html, box]) => `${html} ${box.width} x ${box.height}`)""",
        LEAST_TARGET,
    )
    assert small == []


@pytest.mark.parametrize("days", [7, 28, 84])
def test_each_day_of_a_chart_stands_under_its_column(page: Page, days: int) -> None:
    """The widths stand in the style sheet and in the code that draws; this holds them together."""
    page.goto(f"/coach/athletes/{ATHLETE}?days={days}")
    columns = page.evaluate(
        """() => [...document.querySelectorAll('table.days thead tr:last-child th[scope=col]')]
            .map(one => one.getBoundingClientRect()).map(box => (box.left + box.right) / 2)"""
    )
    points = page.evaluate(
        """() => [...document.querySelectorAll('figure')].find(one =>
            one.textContent.includes('Sleep')).querySelectorAll('svg[role=img] circle').values()
            .map(one => one.getBoundingClientRect()).map(box => (box.left + box.right) / 2)
            .toArray()"""
    )
    assert len(columns) == days
    assert len(points) == min(days, 29)
    for column, point in zip(reversed(columns), reversed(points), strict=False):
        assert point == pytest.approx(column, abs=1.5)


def test_on_a_phone_the_newest_day_is_in_view_and_the_names_stay(page: Page) -> None:
    page.set_viewport_size({"width": 390, "height": 2000})
    page.goto(f"/coach/athletes/{ATHLETE}")
    table = page.locator("table.days")
    expect(table.get_by_role("columnheader").last).to_be_in_viewport(ratio=1)
    expect(table.get_by_role("rowheader", name="Glutes")).to_be_in_viewport(ratio=1)
    expect(table.locator("caption span")).to_be_in_viewport(ratio=1)


def test_a_squad_is_printed_on_one_sheet_without_what_is_only_for_the_screen(page: Page) -> None:
    page.goto("/coach/")
    page.emulate_media(media="print", color_scheme="dark")
    for name in ("This morning", "Rules"):
        expect(page.get_by_role("link", name=name)).to_be_hidden()
    expect(page.get_by_role("button")).to_have_count(0)
    expect(page.locator(".lines summary")).to_have_count(15)
    for line in page.locator(".lines summary").all():
        expect(line).to_be_visible()
    expect(page.get_by_text("Rest today: Noor and Sunniva.")).to_be_visible()
    expect(page.get_by_text("Newest entry of the logbook:")).to_be_visible()
    colours = page.evaluate("(s => [s.color, s.backgroundColor])(getComputedStyle(document.body))")
    assert colours == ["rgb(0, 0, 0)", "rgb(255, 255, 255)"]
    paper = page.pdf(format="A4", prefer_css_page_size=True)
    assert len(re.findall(rb"/Type\s*/Page\b", paper)) == 1


def test_a_name_that_looks_like_markup_is_shown_as_it_is(page: Page) -> None:
    page.goto(f"/coach/athletes/{NEW}")
    expect(page.get_by_role("heading", level=1)).to_have_text("Nobody's <b>Name</b>")


def test_who_has_not_checked_in_is_found_at_one_glance(page: Page) -> None:
    page.goto("/coach/")
    page.get_by_role("link", name="2 not checked in").click()
    missing = page.get_by_role("region", name="Not checked in")
    expect(missing).to_be_in_viewport()
    lines = missing.locator("li").all()
    assert [line.get_attribute("id") for line in lines] == [
        f"athlete-{NEW}",
        f"athlete-{SILENT}",
    ]


def test_thirty_athletes_fit_on_one_screen(page: Page) -> None:
    """The squad of the stage, shown as if it were twice as many: only the lines are counted."""
    page.set_viewport_size({"width": 1280, "height": 800})
    page.goto("/coach/")
    line = page.locator(".lines > li")
    assert line.count() == 15
    heights = {box["height"] for one in line.all() if (box := one.bounding_box())}
    top = line.first.bounding_box()
    assert top is not None
    assert heights == {LEAST_TARGET}
    assert top["y"] + 30 * LEAST_TARGET <= 800
