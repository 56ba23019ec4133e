"""Imports that run one way, and one home for each outside library."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import pytest

import dawnrule

PACKAGE = Path(dawnrule.__file__).parent

_FOUNDATION = {"errors", "i18n", "model"}

MAY_IMPORT = {
    "errors": set[str](),
    "background": set[str](),
    "clock": set[str](),
    "i18n": {"errors"},
    "model": {"errors", "i18n"},
    "facts": _FOUNDATION,
    "rules": _FOUNDATION,
    "advice": _FOUNDATION | {"facts", "rules"},
    "recovery": _FOUNDATION | {"facts"},
    "week": _FOUNDATION | {"facts", "rules", "recovery"},
    "store": _FOUNDATION,
    "schemas": _FOUNDATION | {"facts"},
    "sheet": _FOUNDATION | {"schemas"},
    "analytics": _FOUNDATION | {"facts", "rules", "advice", "store"},
    "application": _FOUNDATION
    | {
        "facts",
        "rules",
        "advice",
        "store",
        "analytics",
        "recovery",
        "week",
        "schemas",
        "sheet",
        "settings",
        "background",
    },
}
"""What each part may import besides itself; ``web``, ``cli`` and the rest may import all."""

HOMES = {
    "cachetools": {"rules/registry.py"},
    "openpyxl": {"sheet/workbook_writer.py"},
    "python_calamine": {"sheet/workbook.py"},
    "durable_rules_engine": {"rules/engine/matcher.py"},
    "duckdb": set[str](),
    "durable": set[str](),
    "sqlite3": {"store"},
    "sqlite_utils": {"store"},
    "flask": {"web"},
    "flask_smorest": {"web"},
    "icalendar": {"web/private/calendar.py"},
    "idna": {"schemas/characters.py"},
    "flask_wtf": {"web/coach/layout.py"},
    "segno": {"web/coach/addresses.py"},
    "cattrs": {"model/serialization.py", "store/values.py"},
    "rfc8785": {"model/serialization.py"},
    "prometheus_client": {"web/observability.py"},
    "werkzeug": {"web"},
    "waitress": {"web"},
    "marshmallow": {"schemas"},
    "click": {"cli"},
    "numpy": {"recovery"},
    "ortools": {"week/proposal.py"},
    "polars": {"rules/columnar"},
    "py4j": {"analytics/cluster.py"},
    "pyspark": {"analytics/cluster.py"},
    "scipy": {"recovery"},
    "sqlglot": {"rules/query.py"},
    "tabulate": {"cli"},
    "z3": {"rules/analysis/solver.py"},
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


@pytest.mark.parametrize("part", sorted(MAY_IMPORT))
def test_imports_run_one_way(part: str) -> None:
    wrong = {
        name: reached - MAY_IMPORT[part] - {part}
        for name in FILES
        if name.split("/")[0].removesuffix(".py") == part
        for reached in [_parts_reached(FILES[name])]
        if not reached <= MAY_IMPORT[part] | {part}
    }
    assert wrong == {}


def _parts_reached(file: Path) -> set[str]:
    ours = (m.split(".") for m in imports_of(file) if m.split(".")[0] == "dawnrule")
    return {parts[1] for parts in ours if len(parts) > 1}


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
    everything = {"web", "cli", "demo", "settings", "__init__", "__main__"}
    assert parts <= set(MAY_IMPORT) | everything
