"""Sources of the published checks."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

THIS_FILE = Path(__file__)
CHECKS = sorted(set(THIS_FILE.parent.glob("test_*.py")) - {THIS_FILE})


def docstrings(file: Path) -> Iterator[tuple[str, str]]:
    """Each test of a file by its name, with the words that stand beside it."""
    for node in ast.parse(file.read_text(encoding="utf-8")).body:
        if isinstance(node, ast.FunctionDef) and node.name.startswith("test_"):
            yield node.name, ast.get_docstring(node) or ""


@pytest.mark.parametrize("file", CHECKS, ids=lambda file: file.stem)
def test_every_check_names_its_source(file: Path) -> None:
    named = r"\b(19|20)\d\d\b|NIOSH|house judgement|common practice, no source|head of this module"
    without = [name for name, words in docstrings(file) if not re.search(named, words, re.I)]
    assert without == []
