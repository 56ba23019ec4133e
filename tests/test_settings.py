"""Settings: defaults, environment variables, and their table in the README."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import fields
from pathlib import Path

import pytest

from dawnrule.errors import InvalidInput
from dawnrule.settings import LogForm, Settings, name_and_version, variable


def test_the_service_listens_to_this_machine_only_unless_told_otherwise() -> None:
    assert Settings.from_environment({}) == Settings()
    assert Settings().host == "127.0.0.1"


SAID: Mapping[str, tuple[str, object]] = {
    "db": ("squad.db", Path("squad.db")),
    "host": ("0.0.0.0", "0.0.0.0"),
    "port": ("9000", 9000),
    "threads": ("2", 2),
    "rule_set": ("house@2.0.0", "house@2.0.0"),
    "body_limit_bytes": ("1000", 1000),
    "batch_body_limit_bytes": ("2000", 2000),
    "batch_row_limit": ("10", 10),
    "key_requests_per_minute": ("11", 11),
    "private_address_requests_per_minute": ("12", 12),
    "sign_in_tries_per_minute": ("13", 13),
    "wrong_guesses_per_minute": ("0", 0),
    "connections_per_address": ("14", 14),
    "proxies": ("1", 1),
    "hosts": ("one.example, two.example,", ("one.example", "two.example")),
    "public_url": ("https://dawn.example/", "https://dawn.example"),
    "log": ("text", LogForm.TEXT),
    "metrics_open": ("yes", True),
    "free_disk_megabytes": ("5", 5),
    "stop_seconds": ("3", 3),
    "backup_folder": ("kept", Path("kept")),
    "backup_every_hours": ("6", 6),
    "backup_keep": ("7", 7),
    "retention_days": ("365", 365),
    "heads_file": ("heads.txt", Path("heads.txt")),
}


def test_each_setting_can_come_from_the_environment() -> None:
    environment = {variable(name): text for name, (text, _) in SAID.items()}
    settings = Settings.from_environment(environment)
    assert {field.name: getattr(settings, field.name) for field in fields(Settings)} == {
        name: value for name, (_, value) in SAID.items()
    }


def test_a_folder_that_is_not_named_is_none() -> None:
    assert Settings.from_environment({"DAWNRULE_BACKUP_FOLDER": ""}).backup_folder is None


@pytest.mark.parametrize(
    ("name", "text", "said"),
    [
        ("DAWNRULE_LOG", "loud", "DAWNRULE_LOG must be one of json, text, off, not 'loud'."),
        ("DAWNRULE_METRICS_OPEN", "true", "DAWNRULE_METRICS_OPEN must be yes or no, not 'true'."),
        *(
            ("DAWNRULE_PUBLIC_URL", text, f"must be a URL like https://dawn.example, not {text!r}.")
            for text in ("dawn.example", "ftp://dawn.example", "https://", "https://a b")
        ),
        (
            "DAWNRULE_PUBLIC_URL",
            "https://me@dawn.example",
            "must be a URL without a name, a query or a fragment",
        ),
        ("DAWNRULE_BACKUP_KEEP", "0", "DAWNRULE_BACKUP_KEEP must be at least 1, not '0'."),
    ],
)
def test_what_a_setting_cannot_mean_is_told_with_what_it_can(
    name: str, text: str, said: str
) -> None:
    with pytest.raises(InvalidInput, match=re.escape(said)):
        Settings.from_environment({name: text})


@pytest.mark.parametrize("text", [" , ,", ",", "", " "])
def test_a_list_of_no_host_does_not_let_every_name_in(text: str) -> None:
    with pytest.raises(InvalidInput, match="must name at least one host, or be all"):
        Settings.from_environment({"DAWNRULE_HOSTS": text})
    assert Settings.from_environment({"DAWNRULE_HOSTS": "all"}).hosts == ()


def test_each_name_that_is_not_known_is_told_with_the_nearest_that_is() -> None:
    environment = {
        "DAWNRULE_RETENTION_DAY": "30",
        "dawnrule_hosts": "one.example",
        "DAWNRULE_KEY": "a client's",
        "PATH": "/bin",
    }
    with pytest.raises(InvalidInput) as refused:
        Settings.from_environment(environment)
    assert refused.value.detail.splitlines() == [
        "DAWNRULE_RETENTION_DAY is not known; did you mean DAWNRULE_RETENTION_DAYS?",
        "dawnrule_hosts is not known; did you mean DAWNRULE_HOSTS?",
    ]


@pytest.mark.parametrize("text", ["", "many", "-1", "8080.5", "٨"])
def test_a_number_that_is_none_is_named_by_its_setting(text: str) -> None:
    with pytest.raises(InvalidInput, match="DAWNRULE_PORT must be a whole number"):
        Settings.from_environment({"DAWNRULE_PORT": text})


def test_a_rule_set_is_named_with_its_version() -> None:
    assert name_and_version("baseline@1.0.0") == ("baseline", "1.0.0")
    assert name_and_version("baseline") == ("baseline", "")


def test_the_readme_tells_each_setting_with_its_default() -> None:
    readme = (Path(__file__).parents[1] / "README.md").read_text(encoding="utf-8")
    rows = re.findall(r"^\| `(DAWNRULE_\w+)` \|.*\| `?([^|`]+)`? \|$", readme, re.MULTILINE)
    defaults = {variable(field.name): as_told(field.default) for field in fields(Settings)}
    assert dict(rows) == defaults | {"DAWNRULE_DB": "must be given"}


def as_told(default: object) -> str:
    """How a default stands in the table."""
    if isinstance(default, bool):
        return "yes" if default else "no"
    return {"None": "none", "()": "all"}.get(str(default), str(default))
