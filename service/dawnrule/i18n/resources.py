"""Paths of the data files that ship with the service."""

from __future__ import annotations

from pathlib import Path

_PACKAGE = Path(__file__).resolve().parents[1]


def _root() -> Path:
    """Return the folder of ``rules/`` and ``openapi.yaml``: inside the wheel or the checkout."""
    inside_wheel = _PACKAGE / "shipped"
    return inside_wheel if inside_wheel.is_dir() else _PACKAGE.parents[1]


def rules_folder() -> Path:
    """Return the folder of the fact dictionary, the vocabulary and the rule sets."""
    return _root() / "rules"


def openapi_file() -> Path:
    """Return the path of the committed description of the HTTP interface."""
    return _root() / "openapi.yaml"
