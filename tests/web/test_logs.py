"""The request log: what it holds of a request or an error, and what it never holds."""

from __future__ import annotations

import json
import logging
import os
import stat
import sys
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path
from typing import Any

import pytest
from flask import Flask

from dawnrule.application.athletes import DISAGREEMENTS_ENDING
from dawnrule.application.check_ins import CheckIns
from dawnrule.rules.evaluation.decider import Decider
from dawnrule.settings import LogForm
from dawnrule.store import Store
from dawnrule.web.observability import JsonLines, TextLines, start_logging
from tests.conftest import Client
from tests.factories import EXAMPLE

Lines = Callable[[], list[dict[str, Any]]]


@pytest.fixture
def in_form(
    request: pytest.FixtureRequest, store: Store, monkeypatch: pytest.MonkeyPatch
) -> Iterator[Path]:
    """Standard error as a file, with the service's logging started; all is put back afterwards."""
    form = getattr(request, "param", LogForm.JSON)
    loggers = [logging.getLogger(name) for name in ("", "dawnrule", "dawnrule.requests")]
    rules = logging.getLogger("dawnrule.rules")
    before = [(logger, logger.level, logger.handlers[:]) for logger in (*loggers, rules)]
    told = store.file.with_name("stderr")
    with told.open("w", encoding="utf-8") as stream:
        monkeypatch.setattr(sys, "stderr", stream)
        start_logging(form, store.file)
        yield told
        for logger, level, handlers in before:
            logger.setLevel(level)
            logger.handlers[:] = handlers


@pytest.fixture
def lines(in_form: Path) -> Lines:
    return lambda: [json.loads(line) for line in in_form.read_text(encoding="utf-8").splitlines()]


def test_each_request_is_a_line_of_json(coach: Client, lines: Lines) -> None:
    answer = coach.post("/v1/check-ins", json=EXAMPLE)
    [line] = lines()
    assert line["request_id"] == answer.headers["X-Request-Id"]
    assert (line["method"], line["route"], line["status"]) == ("POST", "/v1/check-ins", 201)
    assert line["role"] == "coach"
    assert line["key_id"].startswith("key-")
    assert line["duration_ms"] > 0
    assert set(line) == {
        "time", "level", "logger", "message", "request_id", "method", "route", "status",
        "duration_ms", "key_id", "role",
    }  # fmt: skip


def test_nothing_that_was_sent_is_in_the_line(coach: Client, in_form: Path) -> None:
    coach.get("/v1/athletes/a-03/advice/2026-03-09.txt?format=secret")
    coach.get("/feeds/secret/today.txt")
    coach.get("/secret", headers={"User-Agent": "secret", "X-Request-Id": 'se"cret{}'})
    told = in_form.read_text(encoding="utf-8")
    assert '"/v1/athletes/<athlete_id>/advice/<day>"' in told
    for sent in ("a-03", "2026-03-09.txt", "secret", "se\\"):
        assert sent not in told


def test_an_unforeseen_error_is_told_by_its_kind_and_place_alone(
    coach: Client, app: Flask, lines: Lines, in_form: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fail(*_: object) -> None:
        slept = "four hours"
        raise KeyError(slept) from ValueError("left knee")

    monkeypatch.setattr(Decider, "decide", fail)
    app.testing = False
    answer = coach.post("/v1/check-ins", json=EXAMPLE)
    assert answer.status_code == 500
    [line] = [line for line in lines() if line["level"] == "ERROR"]
    assert answer.json["request_id"] in line["message"]
    assert line["error"]["type"] == "KeyError"
    assert line["error"]["trace"][-1].startswith("web/test_logs.py:")
    assert line["error"]["trace"][-1].endswith(" fail")
    assert line["error"]["cause"]["type"] == "ValueError"
    told = in_form.read_text(encoding="utf-8")
    assert "four hours" not in told
    assert "left knee" not in told


def test_a_failing_store_is_told_by_sqlites_name_for_it(
    coach: Client, store: Store, lines: Lines, monkeypatch: pytest.MonkeyPatch
) -> None:
    store.read(lambda transaction: transaction.keys.all())
    monkeypatch.setattr(CheckIns, "submit", write_into_what_is_read_only)
    assert coach.post("/v1/check-ins", json=EXAMPLE).status_code == 503
    [line] = [line for line in lines() if line["level"] == "ERROR"]
    assert line["message"].endswith("The store cannot be used")
    assert line["error"]["cause"]["sqlite"] == "SQLITE_READONLY"


def write_into_what_is_read_only(_: CheckIns, transaction: Any, *__: object) -> None:
    connection = transaction.keys.connection
    connection.execute("PRAGMA query_only = ON")
    try:
        connection.execute("DELETE FROM keys")
    finally:
        connection.execute("PRAGMA query_only = OFF")


def test_a_disagreement_is_kept_whole_where_only_the_owner_reads_it(
    coach: Client, store: Store, lines: Lines, in_form: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(Decider, "fired_by_evaluator", lambda *_: ())
    assert coach.post("/v1/check-ins", json=EXAMPLE).status_code == 500
    file = store.file.with_name(store.file.name + DISAGREEMENTS_ENDING)
    assert stat.S_IMODE(os.stat(file).st_mode) == 0o600
    [kept] = [json.loads(line) for line in file.read_text(encoding="utf-8").splitlines()]
    assert kept["facts"]["fatigue"] == 4
    assert kept["evaluator"] == []
    [line] = [line for line in lines() if line["level"] == "CRITICAL"]
    assert kept["facts_digest"] in line["message"]
    assert "fatigue" not in in_form.read_text(encoding="utf-8")


@pytest.mark.parametrize("in_form", [LogForm.TEXT], indirect=True)
def test_text_has_the_same_in_one_line(coach: Client, in_form: Path) -> None:
    coach.get("/v1/athletes")
    [line] = in_form.read_text(encoding="utf-8").splitlines()
    assert ' INFO logger="dawnrule.requests" message="request" request_id=' in line
    assert ' route="/v1/athletes" status=200 ' in line


@pytest.mark.parametrize("in_form", [LogForm.OFF], indirect=True)
def test_requests_need_not_be_logged_and_errors_are_all_the_same(
    coach: Client, app: Flask, in_form: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    coach.get("/v1/athletes")
    assert in_form.read_text(encoding="utf-8") == ""
    monkeypatch.setattr(Decider, "decide", lambda *_: 1 / 0)
    app.testing = False
    coach.post("/v1/check-ins", json=EXAMPLE)
    assert "ZeroDivisionError" in in_form.read_text(encoding="utf-8")


@pytest.mark.parametrize("formatter", [JsonLines(), TextLines()])
def test_nothing_can_begin_a_line_of_its_own(formatter: logging.Formatter) -> None:
    said: Mapping[str, Any] = {"route": "a\nb\r\x1b[2J\u2028c"}
    record = logging.makeLogRecord(
        {"name": "dawnrule.x", "msg": "one\ntwo\u2028", "dawnrule_fields": said}
    )
    line = formatter.format(record)
    assert len(line.splitlines()) == 1
    assert "\x1b" not in line


def test_of_a_librarys_words_no_address_is_repeated() -> None:
    """waitress says ``Exception while serving`` and the path, from its source."""
    msg = "Exception while serving /feeds/secret/today.txt"
    record = logging.makeLogRecord({"name": "waitress", "msg": msg})
    assert json.loads(JsonLines().format(record))["message"] == "Exception while serving /..."
