"""``dawnrule serve``: a service that starts, and ends cleanly when it is told to."""

from __future__ import annotations

import re
import signal
import socket
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
import requests

from tests.cli.terminal import typed
from tests.warm import serving, typed_apart

WITHIN_SECONDS = 60


@contextmanager
def running(*words: str) -> Iterator[tuple[subprocess.Popen[str], str]]:
    """Run the service as a process of its own; return its address."""
    command = [sys.executable, "-m", "dawnrule", "serve", "--port", "0", *words]
    with subprocess.Popen(command, stderr=subprocess.PIPE, text=True) as process:
        assert process.stderr is not None
        try:
            said = process.stderr.readline()
            [address] = re.findall(r"Serving (http://\S+)", said)
            yield process, address
        finally:
            process.kill()


@pytest.mark.parametrize("stop", [signal.SIGTERM, signal.SIGINT])
def test_it_serves_until_it_is_stopped(tmp_path: Path, stop: signal.Signals) -> None:
    with running("--db", str(tmp_path / "squad.db")) as (process, address):
        assert address.startswith("http://127.0.0.1:")
        assert requests.get(f"{address}/healthz", timeout=WITHIN_SECONDS).status_code == 200
        assert requests.get(f"{address}/v1/athletes", timeout=WITHIN_SECONDS).status_code == 401
        process.send_signal(stop)
        assert process.wait(WITHIN_SECONDS) == 0
        assert process.stderr is not None
        assert "Traceback" not in process.stderr.read()


def test_a_key_that_was_made_while_it_runs_gets_in(tmp_path: Path) -> None:
    db = tmp_path / "squad.db"
    with serving(db) as (_, address, _log):
        key = typed("keys", "create", "--role", "coach", "--db", db).stdout.strip()
        bearer = {"Authorization": f"Bearer {key}"}
        squad = requests.get(f"{address}/v1/athletes", headers=bearer, timeout=WITHIN_SECONDS)
        assert squad.json() == {"athletes": []}


def test_a_port_that_is_taken_is_wrong_use(tmp_path: Path) -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = str(taken.getsockname()[1])
        words = ["serve", "--db", str(tmp_path / "a.db"), "--port", port]
        ended = typed_apart(words, tmp_path / "log", {})
        assert ended.wait(WITHIN_SECONDS) == 2
    taken_said = f"127.0.0.1:{port} cannot be served: Address already in use."
    other = int(port) + 1 if port != "65535" else int(port) - 1
    assert f"{taken_said} Try --port {other}." in (tmp_path / "log").read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--db", "/no/such/folder/a.db"), "cannot be opened"),
        (("--db", "a.db", "--port", "70000"), "not in the range"),
        (("--db", "a.db", "--host", "999.1.1.1"), "999.1.1.1:8080 cannot be served: the host is"),
        (("--db", "a.db", "--host", "a..b"), "a..b:8080 cannot be served: the host is neither"),
        (("--db", "a.db", "--rule-set", "baseline@9.0.0"), "there are: baseline@1.0.0"),
        ((), "Missing option '--db'"),
    ],
)
def test_wrong_use_is_told_before_anything_is_served(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, words: tuple[str, ...], said: str
) -> None:
    monkeypatch.chdir(tmp_path)
    result = typed("serve", *words)
    assert (result.exit_code, result.stdout) == (2, "")
    assert said in result.stderr


@pytest.mark.parametrize(
    ("variable", "text", "said"),
    [
        ("DAWNRULE_BODY_LIMIT_BYTES", "many", "must be a whole number, not 'many'"),
        ("DAWNRULE_PORT", "http", "'http' is not a valid integer range"),
        ("DAWNRULE_RETENTION", "30", "is not known; did you mean DAWNRULE_RETENTION_DAYS?"),
        ("DAWNRULE_HOSTS", " , ,", "must name at least one host, or be all, not ' , ,'"),
        ("DAWNRULE_LOG", "loud", "must be one of json, text, off, not 'loud'"),
        ("DAWNRULE_BACKUP_FOLDER", "nowhere", "nowhere is not a folder"),
    ],
)
def test_a_variable_that_cannot_mean_what_it_says_is_wrong_use(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, variable: str, text: str, said: str
) -> None:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv(variable, text)
    result = typed("serve", "--db", "a.db")
    assert result.exit_code == 2
    assert variable in result.stderr
    assert said in result.stderr
    assert not Path("a.db").exists()
