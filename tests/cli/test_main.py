"""The command: its help, its examples, and exit codes that a script can rely on."""

from __future__ import annotations

import re
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import click
import pytest

import dawnrule
from dawnrule.cli import main
from dawnrule.cli.options import SettingOption
from dawnrule.errors import (
    Conflict,
    DawnruleError,
    InvalidInput,
    NotFound,
    StoreBusy,
    StoreUnusable,
)
from dawnrule.web.app import openapi_yaml
from tests.cli.terminal import typed

SHEET = Path(__file__).parents[2] / "clients_demo" / "spreadsheet" / "squad.csv"


def commands(command: click.Command, words: tuple[str, ...] = ()) -> Iterator[tuple[str, ...]]:
    yield words
    if isinstance(command, click.Group):
        for name in command.list_commands(click.Context(command)):
            yield from commands(inner_of(command, name), (*words, name))


def inner_of(group: click.Group, name: str) -> click.Command:
    command = group.get_command(click.Context(group), name)
    assert command is not None
    return command


def found(words: tuple[str, ...]) -> click.Command:
    command: click.Command = main
    for word in words:
        assert isinstance(command, click.Group)
        command = inner_of(command, word)
    return command


EVERY_COMMAND = list(commands(main))


def test_each_command_that_reads_settings_names_one_that_is_not_known() -> None:
    reading = [
        (words, option)
        for words in EVERY_COMMAND
        for option in found(words).params
        if str(option.envvar or "").startswith("DAWNRULE_")
    ]
    assert len(reading) > 20
    assert [one for one in reading if not isinstance(one[1], SettingOption)] == []
    for words in (("keys", "list"), ("serve",), ("athletes", "list"), ("audit", "verify")):
        told = typed(*words, DAWNRULE_DBB="squad.db")
        assert told.exit_code == 2
        assert "DAWNRULE_DBB is not known; did you mean DAWNRULE_DB?" in told.stderr
    assert typed("serve", "--help", DAWNRULE_DBB="squad.db").exit_code == 0


def test_there_are_the_commands_that_are_promised() -> None:
    assert set(EVERY_COMMAND) >= {
        ("demo",),
        ("advise",),
        ("outlook",),
        ("serve",),
        ("rules", "check"),
        ("rules", "list"),
        ("rules", "publish"),
        ("rules", "activate"),
        ("rules", "rollback"),
        ("rules", "shadow"),
        ("rules", "scorecard"),
        ("rules", "verify"),
        ("replay",),
        ("keys", "create"),
        ("keys", "list"),
        ("keys", "revoke"),
        ("openapi",),
        ("concerns", "list"),
        ("concerns", "open"),
        ("concerns", "clear"),
        ("concerns", "withdraw"),
        ("concerns", "confirm"),
        ("concerns", "advance"),
    }


@pytest.mark.parametrize("words", EVERY_COMMAND, ids=" ".join)
def test_every_command_and_option_has_help(words: tuple[str, ...]) -> None:
    command = found(words)
    assert command.help
    for option in command.params:
        assert not isinstance(option, click.Option) or option.help, option.name
    assert typed(*words, "--help").exit_code == 0


def listed(group: click.Group) -> str:
    formatter = click.HelpFormatter(width=1_000)
    group.format_commands(click.Context(group), formatter)
    return formatter.getvalue()


@pytest.mark.parametrize("words", [(), ("rules",)], ids=["dawnrule", "dawnrule rules"])
def test_commands_are_listed_without_being_read_with_what_they_say_themselves(
    words: tuple[str, ...],
) -> None:
    group = found(words)
    assert isinstance(group, click.Group)
    names = group.list_commands(click.Context(group))
    assert listed(group) == listed(
        click.Group(commands={name: inner_of(group, name) for name in names})
    )


@pytest.mark.parametrize(
    ("work", "spared"),
    [
        (
            "from dawnrule.cli import main; main(['--help'], standalone_mode=False)",
            {"flask", "polars", "yaml", "marshmallow", "dawnrule.store", "dawnrule.rules"},
        ),
        (
            f"from dawnrule.cli import main; main(['advise', '{SHEET}'], standalone_mode=False)",
            {"flask", "jsonschema", "numpy", "openpyxl", "polars", "scipy", "sqlite_utils", "z3"},
        ),
        (
            "import dawnrule.cli.serve",
            {"icalendar", "jsonschema", "numpy", "openpyxl", "polars", "scipy", "z3"},
        ),
    ],
    ids=["--help", "advise", "serve"],
)
def test_a_command_starts_without_what_it_does_not_need(work: str, spared: set[str]) -> None:
    program = f"import sys; {work}; print(*({spared!r} & sys.modules.keys()), file=sys.stderr)"
    told = subprocess.run([sys.executable, "-c", program], capture_output=True, check=False)
    assert (told.returncode, told.stderr.splitlines()[-1:]) == (0, [b""])


@pytest.mark.parametrize("words", EVERY_COMMAND[1:], ids=" ".join)
def test_the_example_in_the_help_is_a_command_that_exists(words: tuple[str, ...]) -> None:
    [example] = re.findall(r"Example:\n +dawnrule (.*)\n", typed(*words, "--help").stdout)
    arguments = example.partition(" > ")[0].split()
    assert tuple(arguments[: len(words)]) == words
    inner = next(w for w in reversed(EVERY_COMMAND) if tuple(arguments[: len(w)]) == w)
    found(inner).make_parser(click.Context(found(inner))).parse_args(arguments[len(inner) :])


@pytest.mark.parametrize(
    ("error", "exit_code"),
    [
        (InvalidInput("no"), 1),
        (StoreBusy("no"), 1),
        (NotFound("no"), 2),
        (StoreUnusable("no"), 2),
        (Conflict("no"), 2),
    ],
)
def test_errors_are_told_in_words_and_by_exit_code(
    error: DawnruleError, exit_code: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fail() -> None:
        raise error

    monkeypatch.setattr("dawnrule.cli.serve.openapi_yaml", fail)
    result = typed("openapi")
    assert (result.exit_code, result.stdout, result.stderr) == (exit_code, "", "Error: no\n")


def test_the_description_of_the_interface_is_what_the_code_produces() -> None:
    assert typed("openapi").stdout == openapi_yaml()


def test_the_package_runs_as_the_command() -> None:
    words = [sys.executable, "-m", "dawnrule", "--version"]
    result = subprocess.run(words, capture_output=True, text=True, check=True)
    assert result.stdout == f"dawnrule, version {dawnrule.__version__}\n"
