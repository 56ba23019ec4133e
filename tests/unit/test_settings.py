"""Which settings hold?"""

from __future__ import annotations

import re
from dataclasses import fields
from pathlib import Path

import pytest

from dawnrule.errors import InvalidInput
from dawnrule.settings import Settings, name_and_version


def test_the_service_listens_to_this_machine_only_unless_told_otherwise() -> None:
    assert Settings.from_environment({}) == Settings()
    assert Settings().host == "127.0.0.1"


def test_each_setting_can_come_from_the_environment() -> None:
    settings = Settings.from_environment(
        {
            "DAWNRULE_DB": "squad.db",
            "DAWNRULE_HOST": "0.0.0.0",
            "DAWNRULE_PORT": "9000",
            "DAWNRULE_THREADS": "2",
            "DAWNRULE_RULE_SET": "house@2.0.0",
            "DAWNRULE_BODY_LIMIT_BYTES": "1000",
            "DAWNRULE_BATCH_BODY_LIMIT_BYTES": "2000",
            "DAWNRULE_BATCH_ROW_LIMIT": "10",
        }
    )
    assert settings == Settings(Path("squad.db"), "0.0.0.0", 9000, 2, "house@2.0.0", 1000, 2000, 10)


@pytest.mark.parametrize("text", ["", "many", "-1", "8080.5", "٨"])
def test_a_number_that_is_none_is_named_by_its_setting(text: str) -> None:
    with pytest.raises(InvalidInput, match="DAWNRULE_PORT must be a whole number"):
        Settings.from_environment({"DAWNRULE_PORT": text})


def test_a_rule_set_is_named_with_its_version() -> None:
    assert name_and_version("baseline@1.0.0") == ("baseline", "1.0.0")
    assert name_and_version("baseline") == ("baseline", "")


def test_the_readme_tells_each_setting_with_its_default() -> None:
    readme = (Path(__file__).parents[2] / "README.md").read_text(encoding="utf-8")
    rows = re.findall(r"^\| `(DAWNRULE_\w+)` \|.*\| `?([^|`]+)`? \|$", readme, re.MULTILINE)
    defaults = {f"DAWNRULE_{field.name.upper()}": field.default for field in fields(Settings)}
    assert {name: str(value) for name, value in rows} == {
        name: str(value) for name, value in defaults.items()
    } | {"DAWNRULE_DB": "must be given"}
