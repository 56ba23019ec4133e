"""axe-core on a page, and the width of the page on the screen."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from typing import Any

from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import JSHandle, Page

WCAG_2_2_AA = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]
SIZES = {"phone": 390, "desk": 1280}
"""How wide the screens are that pages are looked at on, in CSS pixels."""

_COLOURS = ["color-contrast", "link-in-text-block"]
_WITHOUT_COLOURS = {rule: {"enabled": False} for rule in _COLOURS}
_EACH_LOOK_ONCE = """() => {
    const papers = one => one === null ? [] : [getComputedStyle(one), ...papers(one.parentElement)];
    const look = one => JSON.stringify([
        papers(one).slice(0, 2).map(of => of.color),
        papers(one).map(of => [of.backgroundColor, of.backgroundImage, of.opacity]),
        ["fontSize", "fontWeight", "textDecorationLine"].map(of => getComputedStyle(one)[of]),
    ].map(told => [...new Set(told.map(String))]));
    const says = one => one.matches("input, select")
        || [...one.childNodes].some(of => of.nodeType === 3 && of.data.trim());
    const shown = [...document.querySelectorAll("body *")].filter(
        one => says(one) && one.checkVisibility());
    return [...new Map(shown.reverse().map(one => [look(one), one])).values()];
}"""
"""The first element of each look: its colours, what it stands on, and how large and bold it is.
Contrast depends on nothing else here, and to look it up for each of thousands of elements takes axe
most of its time."""

_EACH_SHAPE_TWICE = """() => {
    const shape = one => {
        const inner = [...new Set([...one.children].map(shape))].sort();
        return `${one.tagName}.${one.className}.${one.getAttribute("role")}(${inner.join(" ")})`;
    };
    for (const parent of document.querySelectorAll("body *")) {
        const seen = new Map();
        for (const one of [...parent.children]) {
            if (!one.matches("li, tr, details, section, article, h4, ul")) continue;
            const times = (seen.get(shape(one)) || 0) + 1;
            seen.set(shape(one), times);
            if (times > 2) one.remove();
        }
    }
}"""
"""Of all that stands in a row and is made of the same elements and classes, the first two."""


def repeated_ids(page: Page) -> list[str]:
    """The ids that more than one element has."""
    found = page.evaluate("[...document.querySelectorAll('[id]')].map(one => one.id)")
    return [name for name, times in Counter(found).items() if times > 1]


def leave_out_repetitions(page: Page) -> None:
    """Leave two of each shape in a row, such as the lines of a long table: axe looks at thousands
    of elements for seconds, and finds in the hundredth line what it finds in the first."""
    page.evaluate(_EACH_SHAPE_TWICE)


def violations(page: Page) -> list[str]:
    """What axe finds fault with, each with the elements that it is about."""
    options = {"runOnly": {"type": "tag", "values": WCAG_2_2_AA}, "rules": _WITHOUT_COLOURS}
    return [*_found(page, page.evaluate_handle("document"), options), *wrong_colours(page)]


def wrong_colours(page: Page) -> list[str]:
    """All that can be otherwise in the dark: the rest is the same page."""
    looks = page.evaluate_handle(_EACH_LOOK_ONCE)
    return _found(page, looks, {"runOnly": {"type": "rule", "values": _COLOURS}})


def _found(page: Page, where: JSHandle, options: Mapping[str, Any]) -> list[str]:
    if not page.evaluate("'axe' in window"):
        page.evaluate(Axe().axe_script)
    found = page.evaluate(
        "async ([where, options]) => (await axe.run(where, options)).violations",
        [where, {**options, "resultTypes": ["violations"]}],
    )
    return [
        f"{one['id']}: {one['help']}: {[node['html'][:200] for node in one['nodes']]}"
        for one in found
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
