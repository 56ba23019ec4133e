"""Documents: the files that they name and link are there, and the way in stays short."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.test_imports import MAY_IMPORT

CHECKOUT = Path(__file__).parents[1]
PACKAGE = CHECKOUT / "service" / "dawnrule"
DOCUMENTS = [
    *CHECKOUT.glob("*.md"),
    *CHECKOUT.glob("rules/*.md"),
    *CHECKOUT.glob("tests/**/README.md"),
    *CHECKOUT.glob("clients_demo/**/README.md"),
]
LONGEST_WAY_IN = 9 * 1024  # bytes
LINK = re.compile(r"\]\(([^)#]+)[^)]*\)")
NAMED = re.compile(r"`((?:[\w.-]+/)+[\w.-]*)`")


def name_of(document: Path) -> str:
    return str(document.relative_to(CHECKOUT))


@pytest.mark.parametrize("document", DOCUMENTS, ids=name_of)
def test_what_a_document_links_to_is_there(document: Path) -> None:
    links = LINK.findall(document.read_text(encoding="utf-8"))
    files = [link for link in links if not link.startswith(("http", "mailto"))]
    assert [link for link in files if not (document.parent / link).exists()] == []


def test_the_files_that_the_contributing_guide_names_are_there() -> None:
    """From the checkout, the package, or its templates' point of view."""
    named = NAMED.findall(guide())
    assert len(named) > len(packages())
    assert [name for name in named if not any(place.exists() for place in places(name))] == []


def places(name: str) -> Iterator[Path]:
    for root in (CHECKOUT, PACKAGE, PACKAGE / "web" / "templates"):
        yield root / name


def test_the_contributing_guide_shows_every_package_on_its_map() -> None:
    rows = [line for line in guide().splitlines() if line.startswith("| `")]
    on_map = {name for row in rows for name in re.findall(r"`(\w+)`", row.split("|")[1])}
    assert packages() <= on_map


def test_the_contributing_guide_says_what_each_package_may_import() -> None:
    rows = (line.split("|") for line in guide().splitlines() if line.startswith("| `"))
    told = {row[1].strip().strip("`"): set(re.findall(r"`(\w+)`", row[-2])) for row in rows}
    for package in ("facts", "rules", "advice", "store", "schemas", "sheet", "analytics"):
        assert told[package] == MAY_IMPORT[package] - {"errors", "i18n", "model"}, package


def packages() -> set[str]:
    return {file.parent.name for file in PACKAGE.glob("*/__init__.py")}


def test_the_contributing_guide_can_be_read_at_one_sitting() -> None:
    assert len(guide().encode()) <= LONGEST_WAY_IN


def guide() -> str:
    return (CHECKOUT / "DEVELOPERS.md").read_text(encoding="utf-8")
