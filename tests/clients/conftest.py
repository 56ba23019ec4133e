"""Clients run as their users run them: a command, an address, a key in the environment."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

import pytest
import requests

from tests.conftest import LiveServer

CLIENTS = Path(__file__).parents[2] / "clients_demo"
TODAY = "2026-03-09"
"""Where the clock of the live server stands."""

PATIENCE_SECONDS = 120

Done = subprocess.CompletedProcess[str]
Run = Callable[..., Done]
Ask = Callable[[str], dict[str, Any]]
PrivateAddress = Callable[[str], str]


@pytest.fixture
def run(live_server: LiveServer, tmp_path: Path) -> Run:
    """Runs a client against the live server, with the key of a role or with a text as key."""

    def run_client(
        script: str, *arguments: str, key: str = "coach", url: str = live_server.base_url
    ) -> Done:
        return subprocess.run(
            [sys.executable, "-X", "utf8", CLIENTS / script, *arguments, "--url", url],
            cwd=tmp_path,
            env=environment(DAWNRULE_KEY=live_server.keys.get(key, key)),
            capture_output=True,
            encoding="utf-8",
            timeout=PATIENCE_SECONDS,
            check=False,
        )

    return run_client


@pytest.fixture
def ask(live_server: LiveServer) -> Ask:
    """Return what the service holds, as a coach sees it."""

    def get(path: str) -> dict[str, Any]:
        response = requests.get(
            f"{live_server.base_url}{path}",
            headers={"Authorization": f"Bearer {live_server.keys['coach']}"},
            timeout=PATIENCE_SECONDS,
        )
        answer: dict[str, Any] = response.json()
        return answer

    return get


@pytest.fixture
def private_address(live_server: LiveServer) -> PrivateAddress:
    """Gives an athlete's private address at which today's advice is read as text."""

    def give(athlete_id: str) -> str:
        response = requests.post(
            f"{live_server.base_url}/v1/athletes/{athlete_id}/addresses",
            json={"purpose": "read"},
            headers={"Authorization": f"Bearer {live_server.keys['coach']}"},
            timeout=PATIENCE_SECONDS,
        )
        (path,) = [path for path in response.json()["paths"] if path.endswith("/today.txt")]
        return f"{live_server.base_url}{path}"

    return give


def environment(**more: str) -> Mapping[str, str]:
    """This process's environment without what would send a request elsewhere, and without what is
    meant for this process's Python."""
    kept = {
        name: value
        for name, value in os.environ.items()
        if not name.lower().endswith("_proxy") and not name.startswith("PYTHON")
    }
    return kept | more
