"""What holds for every client: a plain command, kind words, and nothing of the service's code."""

from __future__ import annotations

import ast
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.clients.conftest import CLIENTS, Run

COMMANDS = [
    ("spreadsheet/post_sheet.py", str(CLIENTS / "spreadsheet" / "squad.csv"), "--out", "out.csv"),
    ("phone/today.py", "a-03"),
    ("audit/why.py", "a-03"),
]
NEEDS = {
    "dawnrule_macro.py": {"uno", "com"},  # LibreOffice's own
    "make_squad_sheet.py": {"openpyxl", "yaml"},
}
NOBODY_LISTENS_HERE = "http://127.0.0.1:1"

every_client = pytest.mark.parametrize("command", COMMANDS, ids=lambda command: command[0])
every_script = pytest.mark.parametrize(
    "script", sorted(CLIENTS.glob("*/*.py")), ids=lambda script: script.name
)


@every_client
@pytest.mark.parametrize("key", ["dawn_wrong", "", "dawn_…"], ids=["wrong", "none", "not ASCII"])
def test_a_key_that_is_not_known_is_told_in_one_line(
    run: Run, tmp_path: Path, command: tuple[str, ...], key: str
) -> None:
    done = run(*command, key=key)
    assert (done.returncode, done.stdout) == (2, "")
    assert done.stderr.startswith("A key is needed: ")
    assert len(done.stderr.splitlines()) == 1
    assert not (tmp_path / "out.csv").exists()


@every_client
def test_a_service_that_is_not_there_is_told_in_one_line(
    run: Run, command: tuple[str, ...]
) -> None:
    done = run(*command, url=NOBODY_LISTENS_HERE)
    assert (done.returncode, done.stdout) == (2, "")
    assert done.stderr == "No answer. Is the address right, and is the service running?\n"


@every_client
@pytest.mark.parametrize("url", ["localhost", "ftp://127.0.0.1", "http://"])
def test_an_address_that_is_none_is_told_in_one_line(
    run: Run, command: tuple[str, ...], url: str
) -> None:
    done = run(*command, url=url)
    assert (done.returncode, done.stdout) == (2, "")
    assert len(done.stderr.splitlines()) == 1


@every_client
def test_help_says_where_the_key_comes_from_and_shows_an_example(
    run: Run, command: tuple[str, ...]
) -> None:
    done = run(command[0], "--help")
    assert done.returncode == 0
    assert "DAWNRULE_KEY" in done.stdout
    assert f"Example: {Path(command[0]).name}" in " ".join(done.stdout.split())
    assert "--key" not in done.stdout


@every_script
def test_a_client_needs_little_and_nothing_of_the_service(script: Path) -> None:
    needs = NEEDS.get(script.name, {"requests"})
    assert set(imported(script)) <= {*sys.stdlib_module_names, *needs}


def imported(script: Path) -> Iterator[str]:
    """Return the packages that a script imports."""
    for node in ast.walk(ast.parse(script.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            yield from (name.name.partition(".")[0] for name in node.names)
        elif isinstance(node, ast.ImportFrom):
            yield (node.module or "").partition(".")[0]
