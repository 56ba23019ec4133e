"""The proof client: one piece of advice checked by an outsider, with a short script of its own."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
import requests

from tests.clients.conftest import CLIENTS, PATIENCE_SECONDS, Ask, Done
from tests.clients.test_audit import CHECK_IN, post
from tests.conftest import LiveServer

SCRIPT = CLIENTS / "audit" / "check_proof.py"


def checked(head: str, *pages: Path) -> Done:
    """Run the script with the standard library alone."""
    return subprocess.run(
        [sys.executable, "-I", "-S", SCRIPT, head, *pages],
        capture_output=True,
        encoding="utf-8",
        timeout=PATIENCE_SECONDS,
        check=False,
    )


@pytest.fixture
def advice_id(live_server: LiveServer) -> str:
    """Return the id of a piece of advice with six entries after it."""
    found: str = post(live_server, CHECK_IN)["advice_id"]
    for sore in range(6):
        post(live_server, CHECK_IN | {"soreness": {"chest": sore}})
    return found


@pytest.fixture
def head(ask: Ask, advice_id: str) -> str:
    newest = ask("/v1/ledger/head")
    return f"{newest['position']}:{newest['digest']}"


@pytest.fixture
def proof(ask: Ask, advice_id: str) -> dict[str, Any]:
    return ask(f"/v1/advice/{advice_id}/proof")


def kept(tmp_path: Path, proof: dict[str, Any], name: str = "proof.json") -> Path:
    file = tmp_path / name
    file.write_text(json.dumps(proof), encoding="utf-8")
    return file


def test_a_true_proof_is_accepted(tmp_path: Path, head: str, proof: dict[str, Any]) -> None:
    done = checked(head, kept(tmp_path, proof))
    assert (done.returncode, done.stderr) == (0, "")
    assert done.stdout == "Unchanged: this record is in the logbook of this head.\n"


def test_a_proof_in_pages_is_accepted(tmp_path: Path, ask: Ask, head: str, advice_id: str) -> None:
    pages, after = [], 0
    while after is not None:
        page = ask(f"/v1/advice/{advice_id}/proof?limit=2&after={after}")
        pages.append(kept(tmp_path, page, f"page-{after}.json"))
        after = page["next"]
    assert len(pages) >= 3
    assert checked(head, *pages).returncode == 0
    assert checked(head, *pages[:-1]).returncode == 1, "a page is missing"
    assert checked(head, *pages[:1], *pages[2:]).returncode == 1, "a page is missing"


def test_a_head_on_the_way_is_enough(tmp_path: Path, ask: Ask, proof: dict[str, Any]) -> None:
    entry = proof["entry"]
    assert checked(f"{entry['position']}:{entry['digest']}", kept(tmp_path, proof)).returncode == 0


def test_any_changed_byte_of_the_record_is_found(
    tmp_path: Path, head: str, proof: dict[str, Any]
) -> None:
    record = proof["record"]
    for at in range(0, len(record), len(record) // 5):
        other = "0" if record[at] != "0" else "1"
        changed = proof | {"record": record[:at] + other + record[at + 1 :]}
        done = checked(head, kept(tmp_path, changed))
        assert (done.returncode, done.stdout) == (1, "")
        assert done.stderr == "The record is not the one that was entered.\n"


@pytest.mark.parametrize("what", ["entry", "following"])
@pytest.mark.parametrize("name", ["at", "kind", "record_digest"])
def test_any_changed_entry_leads_elsewhere(
    tmp_path: Path, head: str, proof: dict[str, Any], what: str, name: str
) -> None:
    entry = proof["entry"] if what == "entry" else proof["following"][1]
    entry[name] = entry[name].replace(entry[name][-1], "x")
    done = checked(head, kept(tmp_path, proof))
    assert (done.returncode, done.stdout) == (1, "")


def test_entries_in_another_order_or_fewer_lead_elsewhere(
    tmp_path: Path, head: str, proof: dict[str, Any]
) -> None:
    following: list[dict[str, Any]] = proof["following"]
    for others in (following[::-1], following[1:], following[:-1], []):
        done = checked(head, kept(tmp_path, proof | {"following": others}))
        assert (done.returncode, done.stderr) == (1, "The entries do not lead to this head.\n")


def test_another_head_is_refused(tmp_path: Path, head: str, proof: dict[str, Any]) -> None:
    position, _, digest = head.partition(":")
    file = kept(tmp_path, proof)
    assert checked(f"{position}:{digest[::-1]}", file).returncode == 1
    assert checked(f"{int(position) - 1}:{digest}", file).returncode == 1


def test_the_script_is_short_enough_to_be_read(live_server: LiveServer) -> None:
    code = [line for line in SCRIPT.read_text(encoding="utf-8").splitlines() if line.strip()]
    assert len(code) <= 40


def test_a_proof_is_not_for_everybody(live_server: LiveServer, advice_id: str) -> None:
    address = f"{live_server.base_url}/v1/advice/{advice_id}/proof"
    assert requests.get(address, timeout=PATIENCE_SECONDS).status_code == 401
