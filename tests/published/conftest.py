"""The versions of the baseline that the published checks run against.

``baseline`` is the version that decides for people, in a long run every one that has;
``baseline_with_history`` is every one of them that reads history, and ``newest_baseline`` the last.
Version 2.0.0, the ``season_baseline``, has checks of its own (``test_returns.py``) and joins these
when it becomes the default.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from dawnrule.model import FactDictionary
from dawnrule.rules.evaluation.decider import Decider
from dawnrule.rules.loading.loader import load_rule_set
from dawnrule.rules.registry import bundled_rule_set_files
from tests.effort import tries
from tests.published.mornings import Baseline

DECIDED = [
    file
    for file in bundled_rule_set_files()
    if file.parent.name == "baseline" and file.stem <= "1.2.0"
]
VERSIONS = DECIDED[-tries(1, len(DECIDED)) :]


def reads_history(file: Path) -> bool:
    rule_set, dictionary = load_rule_set(file), FactDictionary.bundled()
    read = (*rule_set.facts_read("day"), *rule_set.facts_read("part"))
    return any(dictionary[fact].origin == "history" for fact in read)


WITH_HISTORY = [file for file in VERSIONS if reads_history(file)]


def name_of(file: Path) -> str:
    return f"baseline-{file.stem}"


def compiled(file: Path) -> Iterator[Baseline]:
    rule_set = load_rule_set(file)
    decider = Decider(rule_set, FactDictionary.bundled())
    yield Baseline(rule_set, decider)
    decider.close()


@pytest.fixture(scope="session", params=VERSIONS, ids=name_of)
def baseline(request: pytest.FixtureRequest) -> Iterator[Baseline]:
    yield from compiled(request.param)


@pytest.fixture(scope="session", params=VERSIONS[-1:], ids=name_of)
def newest_baseline(request: pytest.FixtureRequest) -> Iterator[Baseline]:
    yield from compiled(request.param)


@pytest.fixture(scope="session", params=bundled_rule_set_files()[-1:], ids=name_of)
def season_baseline(request: pytest.FixtureRequest) -> Iterator[Baseline]:
    yield from compiled(request.param)


@pytest.fixture(scope="session", params=WITH_HISTORY, ids=name_of)
def baseline_with_history(request: pytest.FixtureRequest) -> Iterator[Baseline]:
    yield from compiled(request.param)
