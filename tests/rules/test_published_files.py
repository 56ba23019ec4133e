"""Published rule sets: their digests never change."""

from __future__ import annotations

from pathlib import Path

import pytest

from dawnrule.i18n.resources import rules_folder
from dawnrule.rules.loading.loader import bundled_rule_set, load_rule_set
from dawnrule.rules.loading.published_files import is_published
from dawnrule.rules.registry import bundled_rule_set_files
from dawnrule.rules.returns import Returns, load_return, parse_return

PUBLISHED = {
    "baseline@1.0.0": "sha256:8a2d5191f29c4fa8d2a3bed82e947314c0e56d6dc3f737c8d7cea10e80aefe03",
    "baseline@1.1.0": "sha256:9a31629eb00399f8c19a9a1aa68a7f3a9f7beb6285d14ec8d19828be932fdf28",
    "baseline@1.2.0": "sha256:b0d6b2919491ce03fa4e8c35036260108d60306f108f646d703dac8a9b9dc41b",
    "baseline@2.0.0": "sha256:730c5200200021464819f5b22c7b88cbfcc7e2798390b9b257d3bddb5d5737c3",
}
"""The digest of each rule set and version. A line is added when a version is published, and never
changed."""


@pytest.mark.parametrize(
    "file", bundled_rule_set_files(), ids=lambda file: f"{file.parent.name}@{file.stem}"
)
def test_a_published_rule_set_never_changes(file: Path) -> None:
    rule_set = load_rule_set(file)
    assert PUBLISHED[rule_set.full_name] == rule_set.digest


@pytest.mark.parametrize("version", [file.stem for file in bundled_rule_set_files()])
def test_a_published_file_is_read_without_a_check_as_it_is_with_one(version: str) -> None:
    """Its bytes are known: a new one is added to ``published_files`` when it is published."""
    file = rules_folder() / "baseline" / f"{version}.yaml"
    assert is_published(file.read_bytes())
    checked = load_rule_set(file, shown_as=f"baseline/{file.name}")
    assert repr(bundled_rule_set("baseline", version)) == repr(checked)  # a rule equals only itself


@pytest.mark.parametrize("name", Returns.bundled())
def test_a_published_return_is_read_without_a_check_as_it_is_with_one(name: str) -> None:
    file = rules_folder() / "returns" / f"{name}.yaml"
    assert is_published(file.read_bytes())
    assert load_return(file) == parse_return(file.read_text(encoding="utf-8"), file.name)


def test_no_published_rule_set_was_taken_away() -> None:
    bundled = {load_rule_set(file).full_name for file in bundled_rule_set_files()}
    assert PUBLISHED.keys() <= bundled
