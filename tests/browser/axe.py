"""What does axe-core find fault with on a page, and does the page fit the screen?"""

from __future__ import annotations

from collections.abc import Sequence

from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page

WCAG_2_2_AA = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]
SIZES = {"phone": 390, "desk": 1280}
"""How wide the screens are that pages are looked at on, in CSS pixels."""

COLOURS = ["color-contrast", "link-in-text-block"]
"""All that can be otherwise in the dark: the rest is the same page."""


def violations(page: Page, rules: Sequence[str] = WCAG_2_2_AA) -> list[str]:
    """What axe finds fault with, each with the elements that it is about."""
    found = Axe().run(page, options={"runOnly": rules, "resultTypes": ["violations"]})
    return [
        f"{one['id']}: {one['help']}: {[node['html'][:200] for node in one['nodes']]}"
        for one in found.response["violations"]
    ]


def open_everything(page: Page) -> None:
    """Open what is folded away, so that it is looked at too."""
    page.evaluate("document.querySelectorAll('details').forEach(one => { one.open = true })")


def sideways(page: Page) -> int:
    """By how many pixels the page as a whole is wider than the screen."""
    wider: int = page.evaluate(
        "document.documentElement.scrollWidth - document.documentElement.clientWidth"
    )
    return wider
