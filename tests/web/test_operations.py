"""Health and readiness: true statements on whether the service can do its work."""

from __future__ import annotations

import shutil
import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import replace
from types import SimpleNamespace

import pytest
from flask import Flask

from dawnrule.rules.evaluation.decider import Decider
from dawnrule.settings import Settings
from dawnrule.store import Store
from dawnrule.web.api import operations
from dawnrule.web.context import Context
from tests.conftest import Client


def missing(client: Client) -> list[str]:
    """What the service says that it lacks."""
    answer = client.get("/readyz")
    if answer.status_code == 200:
        return []
    assert (answer.status_code, answer.mimetype) == (503, "application/problem+json")
    assert answer.json["type"] == "/problems/not-ready"
    return [error["pointer"] for error in answer.json["errors"]]


@contextmanager
def locked(store: Store) -> Iterator[None]:
    """The database while another process writes and does not come to an end."""
    with closing(sqlite3.connect(store.file)) as connection:
        connection.execute("BEGIN IMMEDIATE")
        yield


def test_a_service_that_is_well_is_ready_and_names_its_rules(client: Client) -> None:
    answer = client.get("/readyz")
    assert answer.status_code == 200
    assert answer.json["rule_set"]["name"] == "baseline"


def test_asking_writes_nothing(client: Client, store: Store) -> None:
    client.get("/readyz")
    assert store.read(lambda transaction: transaction.keys.all()) == []


def test_a_database_that_another_holds_locked_is_not_waited_for_long(
    client: Client, store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    with locked(store), monkeypatch.context() as hurried:
        hurried.setattr(operations, "_WRITTEN_WITHIN_SECONDS", 0.1)
        assert missing(client) == ["/store"]
    assert missing(client) == []


def test_two_evaluations_that_differ_are_not_ready(
    client: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(Decider, "fired_by_evaluator", lambda *_: ())
    assert missing(client) == ["/rules"]


def test_an_engine_that_decides_otherwise_than_its_example_is_not_ready(
    client: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(Decider, "fired", lambda *_: ())
    assert missing(client) == ["/rules"]


def test_a_disk_that_is_nearly_full_is_not_ready(
    client: Client, settings: Settings, monkeypatch: pytest.MonkeyPatch
) -> None:
    def free(megabytes: int) -> None:
        told = SimpleNamespace(free=megabytes * 1_000_000)
        monkeypatch.setattr(shutil, "disk_usage", lambda _: told)

    free(settings.free_disk_megabytes - 1)
    assert missing(client) == ["/disk"]
    assert "99 MB are free, fewer than 100" in client.get("/readyz").json["detail"]
    free(settings.free_disk_megabytes)
    assert missing(client) == []


def test_a_service_that_is_about_to_end_is_alive_and_not_ready(app: Flask, client: Client) -> None:
    Context.of(app).stopping.set()
    assert missing(client) == ["/service"]
    assert client.get("/healthz").status_code == 200


def test_all_that_is_missing_is_told_at_once(app: Flask, client: Client, store: Store) -> None:
    Context.of(app).stopping.set()
    store.close()
    assert missing(client) == ["/service", "/store", "/rules"]


class TestHosts:
    @pytest.fixture
    def settings(self, settings: Settings) -> Settings:
        return replace(settings, hosts=("training.example",))

    @pytest.mark.parametrize("host", ["elsewhere.example", "training.example.evil.example", ""])
    def test_a_name_that_is_not_the_services_is_refused(self, client: Client, host: str) -> None:
        answer = client.get("/healthz", headers={"Host": host})
        assert (answer.status_code, answer.mimetype) == (400, "application/problem+json")

    @pytest.mark.parametrize("host", ["training.example", "training.example:8443"])
    def test_its_own_name_is_answered(self, client: Client, host: str) -> None:
        assert client.get("/healthz", headers={"Host": host}).status_code == 200


def test_every_name_is_answered_when_none_is_said(client: Client) -> None:
    assert client.get("/healthz", headers={"Host": "anything.example"}).status_code == 200
