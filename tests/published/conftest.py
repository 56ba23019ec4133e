"""The versions of the baseline that the published checks run against.

``baseline`` is the version that decides for people, in a long run the one before it too, so that
what differs between the two is said; ``newest_baseline`` is the version that decides, for what only
it can know.
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

VERSIONS = bundled_rule_set_files()[-tries(1, 2) :]


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
