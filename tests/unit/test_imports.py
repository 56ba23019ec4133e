"""Do imports run one way, and has each outside library one home?"""

from __future__ import annotations

import ast
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import pytest

import dawnrule

PACKAGE = Path(dawnrule.__file__).parent

MAY_IMPORT = {
    "errors": set[str](),
    "vocabulary": {"errors"},
    "facts": {"errors", "vocabulary"},
    "rules": {"errors", "vocabulary"},
    "store": {"errors", "facts"},
    "advice": {"errors", "vocabulary", "facts", "rules", "store"},
    "schemas": {"errors", "vocabulary", "facts"},
    "sheet": {"errors", "vocabulary", "facts", "schemas"},
}
"""What each part may import besides itself; ``web``, ``cli`` and the rest may import all."""

HOMES = {
    "openpyxl": {"sheet/workbook_writing.py"},
    "python_calamine": {"sheet/workbook.py"},
    "durable_rules_engine": {"rules/matcher.py"},
    "durable": set[str](),
    "sqlite_utils": {"store"},
    "sqlite3": {"store"},
    "flask": {"web"},
    "flask_smorest": {"web"},
    "icalendar": {"web/phone/calendar.py"},
    "flask_wtf": {"web/coach/frame.py"},
    "limits": {"web/limits.py", "web/limit_counts.py"},
    "prometheus_client": {"web/metrics.py"},
    "werkzeug": {"web"},
    "waitress": {"web"},
    "marshmallow": {"schemas"},
    "click": {"cli"},
    "polars": {"rules/columns"},
    "tabulate": {"cli"},
    "z3": {"rules/solver.py"},
}
"""Outside libraries and the modules or packages that may import them."""


@cache
def imports_of(file: Path) -> tuple[str, ...]:
    """The full names of the modules that a file imports, also inside functions."""
    return tuple(_imports_of(file))


def _imports_of(file: Path) -> Iterator[str]:
    for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom) and node.module:
            yield node.module


FILES = {str(file.relative_to(PACKAGE)): file for file in PACKAGE.rglob("*.py")}


@pytest.mark.parametrize("name", sorted(FILES))
def test_imports_run_one_way(name: str) -> None:
    part = name.split("/")[0].removesuffix(".py")
    if part not in MAY_IMPORT:
        return
    ours = (m.split(".") for m in imports_of(FILES[name]) if m.split(".")[0] == "dawnrule")
    reached = {parts[1] for parts in ours if len(parts) > 1}
    assert reached <= MAY_IMPORT[part] | {part}


@pytest.mark.parametrize("library", sorted(HOMES))
def test_each_outside_library_has_one_home(library: str) -> None:
    importers = {
        name
        for name, file in FILES.items()
        if library in {module.split(".")[0] for module in imports_of(file)}
    }
    elsewhere = {
        name
        for name in importers
        if not any(name == home or name.startswith(f"{home}/") for home in HOMES[library])
    }
    assert elsewhere == set()


def test_every_part_of_the_package_is_placed_in_the_order() -> None:
    parts = {name.split("/")[0].removesuffix(".py") for name in FILES}
    everything = {"web", "cli", "demo", "settings", "world", "__init__", "__main__"}
    assert parts <= set(MAY_IMPORT) | everything
