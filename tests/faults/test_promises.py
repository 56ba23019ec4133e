"""The fault table of the documentation: every promise has tests, and every test is listed."""

from __future__ import annotations

import re
from collections.abc import Iterator
from importlib import import_module
from math import prod
from pathlib import Path

import pytest

TESTS = Path(__file__).parents[1]
TEST = re.compile(r"`([a-z]+/test_\w+)\.py::(test_\w+)`")


def rows() -> list[list[str]]:
    """The rows of the table, without its head: fault, promise, tests, and how many cases."""
    text = Path(__file__).with_name("README.md").read_text(encoding="utf-8")
    lines = [line for line in text.splitlines() if line.startswith("|")][2:]
    return [line.strip("| ").split(" | ") for line in lines]


def named() -> Iterator[tuple[str, str]]:
    for _, _, tests, _ in rows():
        yield from TEST.findall(tests)


def cases(file: str, test: str) -> int:
    """How many cases a test has."""
    function = getattr(import_module(f"tests.{file.replace('/', '.')}"), test)
    marks = [mark for mark in getattr(function, "pytestmark", []) if mark.name == "parametrize"]
    return prod(len(mark.args[1]) for mark in marks)


@pytest.mark.parametrize("row", rows(), ids=lambda row: row[0])
def test_each_promise_has_the_tests_that_are_named_and_as_many_cases_as_are_told(
    row: list[str],
) -> None:
    _, promise, tests, told = row
    found = TEST.findall(tests)
    assert promise
    assert found
    assert sum(cases(file, test) for file, test in found) == int(told)


def test_all_that_is_tested_here_is_promised() -> None:
    here = {f"faults/{file.stem}" for file in Path(__file__).parent.glob("test_*.py")}
    assert here - {f"faults/{Path(__file__).stem}"} == {
        file for file, _ in named() if file.startswith("faults/")
    }
