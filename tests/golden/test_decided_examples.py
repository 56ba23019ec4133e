"""The golden decisions on the rules' own examples hold."""

from __future__ import annotations

from pathlib import Path

import pytest

from dawnrule.rules.loading.loader import load_rule_set
from dawnrule.rules.registry import bundled_rule_set_files
from tests.golden.decided_examples import FOLDER, decided, file_of, kept

FILES = sorted(FOLDER.glob("*.yaml"))


@pytest.mark.parametrize("file", FILES, ids=lambda file: file.stem)
def test_every_example_is_decided_as_written(file: Path) -> None:
    [rule_set] = [
        rule_set
        for rule_set in map(load_rule_set, bundled_rule_set_files())
        if file_of(rule_set) == file
    ]
    assert dict(decided(rule_set)) == kept(file)


def test_the_newest_rule_set_has_golden_decisions_on_its_examples() -> None:
    assert file_of(load_rule_set(bundled_rule_set_files()[-1])) in FILES
