"""Deployment files: the units by systemd-analyze, where there is one, and by a parser of their
sections; nginx.conf by crossplane, nginx's own parser of its configuration."""

from __future__ import annotations

import shutil
import subprocess
import tempfile
from collections.abc import Iterable, Iterator, Mapping
from configparser import ConfigParser
from pathlib import Path
from typing import Any

import crossplane
import pytest

from dawnrule.settings import Settings

DEPLOY = Path(__file__).parents[2] / "service" / "deploy"
UNITS = ("dawnrule.service", "dawnrule.socket")
INSTALLED = "/opt/dawnrule/bin/dawnrule"
DEFAULTS = Settings(Path("squad.db"))
SECTIONS = {".service": {"Unit", "Service", "Install"}, ".socket": {"Unit", "Socket", "Install"}}


class Unit(ConfigParser):
    """A unit file; of a name that stands several times in a section the last is kept."""

    def __init__(self, text: str) -> None:
        super().__init__(strict=False, interpolation=None, delimiters=("=",))
        self.read_string(text)

    def optionxform(self, optionstr: str) -> str:
        return optionstr


def text_of(name: str) -> str:
    return (DEPLOY / name).read_text(encoding="utf-8")


def unit(name: str) -> Unit:
    return Unit(text_of(name))


def environment() -> dict[str, str]:
    """The variables that the service is started with."""
    entries = (line.partition("Environment=")[2] for line in text_of(UNITS[0]).splitlines())
    return dict(entry.split("=", 1) for entry in entries if entry)


@pytest.mark.parametrize("name", UNITS)
def test_a_unit_has_the_sections_of_its_kind(name: str) -> None:
    assert set(unit(name).sections()) == SECTIONS[Path(name).suffix]


def test_systemd_finds_nothing_wrong_with_the_units(tmp_path: Path) -> None:
    assert complaints(tmp_path, {name: text_of(name) for name in UNITS}) == ""


def test_a_section_that_systemd_does_not_know_is_found(tmp_path: Path) -> None:
    wrong = {name: text_of(name).replace("[Service]", "[Servise]") for name in UNITS}
    assert "Servise" in complaints(tmp_path, wrong)


def complaints(folder: Path, units: Mapping[str, str]) -> str:
    """What systemd-analyze has against units, or our own parser where there is no systemd. The
    command need not be installed, so another stands in for it."""
    analyze = shutil.which("systemd-analyze")
    if analyze is None:
        known = {*SECTIONS[".service"], *SECTIONS[".socket"]}
        return " ".join({name for text in units.values() for name in Unit(text).sections()} - known)
    for name, text in units.items():
        (folder / name).write_text(text.replace(INSTALLED, "/bin/true"), encoding="utf-8")
    command = [analyze, "verify", "--man=no", *(str(folder / name) for name in units)]
    return subprocess.run(command, capture_output=True, text=True, check=False).stderr


def test_the_service_is_started_with_settings_that_there_are() -> None:
    settings = Settings.from_environment(environment())
    assert settings.proxies == 1
    assert settings.hosts == ("training.example",)
    assert settings.backup_folder is not None


def test_the_socket_listens_where_nginx_looks_for_the_service() -> None:
    address = unit("dawnrule.socket")["Socket"]["ListenStream"]
    assert address == f"{DEFAULTS.host}:{DEFAULTS.port}"
    assert arguments("proxy_pass") == [[f"http://{address}"]]


def test_systemd_waits_longer_for_the_end_than_the_service_does() -> None:
    assert int(unit("dawnrule.service")["Service"]["TimeoutStopSec"]) > DEFAULTS.stop_seconds


def test_nginx_lets_in_the_largest_batch_and_logs_no_address() -> None:
    largest = f"{DEFAULTS.batch_body_limit_bytes // 1_000_000}m"
    assert arguments("client_max_body_size") == [[largest]]
    assert arguments("access_log") == [["off"]]
    assert ["X-Forwarded-For", "$remote_addr"] in arguments("proxy_set_header")


def test_a_directive_that_nginx_does_not_know_is_found() -> None:
    with pytest.raises(AssertionError, match="proxy_reed_timeout"):
        directives(text_of("nginx.conf").replace("proxy_read_timeout", "proxy_reed_timeout"))


def arguments(directive: str) -> list[list[str]]:
    """What a directive of nginx.conf is given, each time that it stands there."""
    found = directives(text_of("nginx.conf"))
    return [one["args"] for one in found if one["directive"] == directive]


def directives(text: str) -> list[dict[str, Any]]:
    """All directives of a text that stands in the http block; AssertionError says what is
    wrong."""
    with tempfile.NamedTemporaryFile("w", suffix=".conf", encoding="utf-8") as file:
        file.write(f"events {{}}\nhttp {{\n{text}\n}}\n")
        file.flush()
        answer = crossplane.parse(file.name, strict=True)
    assert answer["status"] == "ok", answer["errors"]
    return list(walk(answer["config"][0]["parsed"]))


def walk(block: Iterable[dict[str, Any]]) -> Iterator[dict[str, Any]]:
    for directive in block:
        yield directive
        yield from walk(directive.get("block", ()))
