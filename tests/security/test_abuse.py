"""Attempts to break in, to break the service, or to make it say what belongs to others."""

from __future__ import annotations

import ast
import csv
import gzip
import io
import json
import logging
import re
import socket
import subprocess
import time
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any
from zipfile import ZipFile

import pytest
import requests
from flask import Flask
from openpyxl import Workbook, load_workbook

import dawnrule
from dawnrule.errors import RuleSetInvalid
from dawnrule.rules.loading.loader import parse_rule_set
from dawnrule.rules.registry import RuleSetLibrary
from dawnrule.settings import Settings
from dawnrule.store import Store
from tests import dependencies
from tests.conftest import Client, LiveServer
from tests.factories import CLUB, DAY_OFF, EXAMPLE, as_text, changed
from tests.security.test_authorisation import MINE, Route, of_athlete, routes
from tests.test_imports import imports_of

PACKAGE = Path(dawnrule.__file__).parent
SECONDS = 60
SOON_SECONDS = 8
"""Much longer than any of these takes. A minute and more is what some of them took once."""

XLSX = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
SHEET = "athlete_id,date,notes\n"
EVIL = "evil.example"


@pytest.fixture
def soon() -> Iterator[None]:
    """Whatever is tried is over soon; counted is the time that this process works."""
    started = time.process_time()
    yield
    assert time.process_time() - started < SOON_SECONDS


def with_bodies(app: Flask) -> list[Route]:
    return [route for route in routes(app) if route.method in ("POST", "PUT")]


# ---- bodies that are too much


def test_every_body_has_its_limit(app: Flask, coach: Client, coach_browser: Client) -> None:
    """Each route that takes a body, whatever the body is called; none is read into memory whole."""
    ids = of_athlete(coach, MINE)
    page = coach.post(f"/v1/athletes/{MINE}/addresses", json={"purpose": "check-in"}).json
    ids["token"] = page["paths"][0].split("/")[2]
    too_much = b"a=" + b"x" * 5_100_000
    takes_none = {
        "addresses.rotate_private_address",
        "replays.resume_replay",
    }
    for route in with_bodies(app):
        browser = route.rule.startswith(("/coach", "/check-in"))
        client = coach_browser if browser else coach
        kind = "application/x-www-form-urlencoded" if browser else "application/json"
        answer = route.call(client, ids, data=too_much, content_type=kind)
        if route.endpoint not in takes_none:
            assert answer.status_code == 413, route
        assert answer.status_code < 500, route


@pytest.mark.parametrize("coding", ["gzip", "deflate", "br", "zstd", "gzip, gzip", "GZIP", "x"])
def test_no_body_is_unpacked(app: Flask, coach: Client, coach_browser: Client, coding: str) -> None:
    packed = gzip.compress(json.dumps(EXAMPLE).encode())
    ids = of_athlete(coach, MINE)
    for route in with_bodies(app):
        browser = route.rule.startswith(("/coach", "/check-in"))
        client = coach_browser if browser else coach
        headers = {"Content-Encoding": coding, "Content-Type": "application/json"}
        assert route.call(client, ids, data=packed, headers=headers).status_code == 415, route


def test_a_body_as_it_is_may_say_so(coach: Client) -> None:
    headers = {"Content-Encoding": "Identity"}
    assert coach.post("/v1/check-ins", json=EXAMPLE, headers=headers).status_code == 201


@pytest.mark.parametrize("path", ["/v1/sessions", "/v1/rule-sets", "/v1/check-ins/batch"])
def test_a_body_without_a_length_ends_at_the_limit(live_server: LiveServer, path: str) -> None:
    """In chunks, of which each is small: they are counted by what they hold."""
    answer = requests.post(
        f"{live_server.base_url}{path}",
        data=(b" " * 50_000 for _ in range(120)),
        headers={
            "Authorization": f"Bearer {live_server.keys['coach']}",
            "Content-Type": "application/json",
        },
        timeout=SECONDS,
    )
    assert answer.status_code == 413


BOMBS = {
    "5,000 columns": f"athlete_id,date,{','.join(f'c{n}' for n in range(5000))}\n",
    "two million columns without names": "athlete_id,date" + "," * 2_000_000,
    "a name of 4.9 MB": f"athlete_id,date,{'x' * 4_900_000}\n",
    "a cell of 4.9 MB": f"{SHEET}a-03,2026-03-09,{'x' * 4_900_000}\n",
    "a quotation mark never closed": SHEET + 'a-03,2026-03-09,"' + "x\n" * 2_000_000,
    "quotation marks by the million": SHEET + '"' * 4_900_000,
    "a column 250 times": f"athlete_id,date{',soreness' * 250}\na-03,2026-03-09\n",
    "a million blank rows": SHEET + "\n" * 1_000_000,
}


@pytest.mark.usefixtures("soon")
@pytest.mark.parametrize("sheet", BOMBS.values(), ids=BOMBS.keys())
@pytest.mark.parametrize("path", ["/v1/check-ins/batch", "/v1/sessions/batch"])
def test_a_sheet_that_is_a_bomb_is_refused_soon(coach: Client, path: str, sheet: str) -> None:
    answer = coach.post(path, data=sheet, content_type="text/csv")
    assert answer.status_code in (400, 422)
    assert len(answer.data) < 100_000


def test_a_workbook_that_would_fill_the_memory_is_refused_over_http(coach: Client) -> None:
    """By how far it would grow, before it has; the kinds of bombs stand in ``tests/sheets``."""
    packed = io.BytesIO()
    Workbook().save(packed)
    with ZipFile(packed, "a", compression=8, compresslevel=9) as book:
        book.writestr("xl/media/image1.png", bytes(60_000_000))
    assert len(packed.getvalue()) < 100_000
    answer = coach.post("/v1/check-ins/batch", data=packed.getvalue(), content_type=XLSX)
    assert answer.status_code == 400
    assert "unpack to more" in answer.json["detail"]


def lines_of_aliases(levels: int) -> str:
    """Nine times nine times nine ... of the same."""
    first = "l0: &l0 [x, x, x, x, x, x, x, x, x]\n"
    more = (f"l{n}: &l{n} [{', '.join([f'*l{n - 1}'] * 9)}]\n" for n in range(1, levels))
    return first + "".join(more)


YAML_BOMBS = {
    "a billion laughs": lines_of_aliases(10),
    "merged keys": "a: &a {b: 1}\nc: {<<: *a}\n",
    "an object of python": "!!python/object/apply:os.system ['true']",
    "half a million levels": "[" * 500_000,
    "maps in maps": "{a: " * 100_000,
    "a key of 900 kB": f"{'x' * 900_000}: 1",
}


@pytest.mark.usefixtures("soon")
@pytest.mark.parametrize("text", YAML_BOMBS.values(), ids=YAML_BOMBS.keys())
def test_a_rule_file_that_is_a_bomb_is_refused_soon(coach: Client, text: str) -> None:
    answer = coach.post("/v1/rule-sets", data=text, content_type="application/yaml")
    assert answer.status_code == 422
    assert answer.json["type"] == "/problems/rule-set-invalid"
    assert len(answer.data) < 100_000


@pytest.mark.parametrize("number", ["1e400", "-1e400", "9" * 400, "9" * 5000, "!!float .inf"])
def test_a_threshold_that_is_no_number_is_found_in_its_line(coach: Client, number: str) -> None:
    text = CLUB.replace("below: 7.5", f"below: {number}")
    answer = coach.post("/v1/rule-sets", data=text, content_type="application/yaml")
    assert answer.status_code == 422
    [finding] = answer.json["findings"]
    assert finding["line"] == text[: text.index(number)].count("\n") + 1
    assert "is no number" in finding["message"]


JSON_BOMBS = {
    "one name too many in 60,000": "{" + ",".join(f'"{n}":1' for n in [*range(60_000), 7]) + "}",
    "150,000 levels": '{"a":' * 150_000,
    "half a million elements": f"[{'0,' * 480_000}0]",
    "a name of 900 kB": json.dumps({"x" * 900_000: 1}),
    "a number of 900,000 digits": f'{{"fatigue": {"9" * 900_000}}}',
    "a decimal of 900,000 digits": f'{{"fatigue": 0.{"9" * 900_000}}}',
}


@pytest.mark.usefixtures("soon")
@pytest.mark.parametrize("text", JSON_BOMBS.values(), ids=JSON_BOMBS.keys())
def test_json_that_is_a_bomb_is_refused_soon(coach: Client, text: str) -> None:
    for path in ("/v1/check-ins", "/v1/sessions/batch"):
        answer = coach.post(path, data=text, content_type="application/json")
        assert answer.status_code in (400, 422)
        assert len(answer.data) < 100_000


@pytest.mark.parametrize("number", ["9" * 4000, "-" + "9" * 300, "1e308"])
def test_no_number_is_too_large_to_be_refused(coach: Client, number: str) -> None:
    body = as_text(EXAMPLE, '"fatigue": 4', f'"fatigue": {number}')
    answer = coach.post("/v1/check-ins", data=body, content_type="application/json")
    assert answer.status_code == 422


# ---- headers and hosts


STRANGE = {
    "X-Request-Id": ["x" * 9000, "a b", "<script>", "é", "../../x"],
    "Accept": ["text/plain;q=abc,*;q=-1,/", ";", "é" * 500],
    "Accept-Language": ["xx;q=,é", "de," * 2000],
    "Authorization": ["Bearer é", "Bearer " + "x" * 50_000, "Basic !!!", 'Digest a="b', "Bearer"],
    "Cookie": ["dawnrule_coach=é.a.b; a;;=;", "=" * 5000],
    "If-None-Match": ['"' + "x" * 5000, "W/"],
    "Range": ["bytes=0-1,5-", "bytes=999999-", "bytes=-"],
    "Host": ["", "a b", "[::1", "é", "a:b:c"],
}


@pytest.mark.parametrize("name", STRANGE)
def test_no_header_is_too_strange(coach: Client, coach_key: str, client: Any, name: str) -> None:
    paths = [
        "/v1/athletes/a-03/advice/today",
        f"/feeds/{of_athlete(coach, MINE)['token']}/today.txt",
        "/check-in/nobodys",
        "/coach/sign-in",
        "/static/page.css",
        "/healthz",
    ]
    for value in STRANGE[name]:
        for path in paths:
            headers = {"Authorization": f"Bearer {coach_key}", name: value}
            answer = client.get(path, headers=headers, buffered=True)
            assert answer.status_code < 500, f"{name}: {value[:20]!r} {path}"
            assert re.fullmatch(r"[A-Za-z0-9._-]{1,64}", answer.headers["X-Request-Id"])


def test_the_host_that_is_claimed_is_in_no_answer(
    app: Flask, coach: Client, coach_browser: Client
) -> None:
    """Not even in a new private address, which would be sent on with its token."""
    ids = of_athlete(coach, MINE)
    claimed = {"Host": EVIL, "X-Forwarded-Host": EVIL, "Forwarded": f"host={EVIL}"}
    for route in routes(app):
        if route.method in ("GET", "POST"):
            browser = coach_browser if route.rule.startswith("/coach") else coach
            answer = route.call(browser, ids, headers=claimed)
            assert EVIL.encode() not in answer.data + str(answer.headers).encode(), route
    for path in ("/coach", "//v1/athletes", "/static//page.css"):
        answer = coach.get(path, headers=claimed)
        assert EVIL not in answer.text + str(answer.headers), path


class TestOfOneName:
    @pytest.fixture
    def settings(self, settings: Settings) -> Settings:
        return replace(settings, hosts=("training.example",))

    def test_a_name_that_is_refused_is_in_no_answer(self, client: Client) -> None:
        for path in ("/healthz", "/v1/athletes", "/coach", "/nowhere"):
            answer = client.get(path, headers={"Host": EVIL})
            assert answer.status_code == 400
            assert EVIL not in answer.text + str(answer.headers), path


def test_what_is_said_to_be_forwarded_is_not_believed(live_server: LiveServer) -> None:
    """Nobody set up a proxy."""
    answer = requests.post(
        f"{live_server.base_url}/v1/athletes/a-03/addresses",
        json={"purpose": "read"},
        headers={
            "Authorization": f"Bearer {live_server.keys['coach']}",
            "X-Forwarded-Host": EVIL,
            "X-Forwarded-Proto": "https",
            "X-Forwarded-Prefix": "/evil",
            "Forwarded": f"for=192.0.2.1;host={EVIL};proto=https",
        },
        timeout=SECONDS,
    )
    [text, *_] = answer.json()["urls"]
    assert text.startswith("/feeds/")
    assert EVIL not in answer.text + str(answer.headers)


def asked(live_server: LiveServer, raw: bytes) -> bytes:
    """All that the server answers to these bytes."""
    host, port = live_server.base_url.removeprefix("http://").split(":")
    with socket.create_connection((host, int(port)), SECONDS) as connection:
        connection.sendall(raw)
        with suppress(OSError):  # it hung up already, and what it said before can still be read
            connection.shutdown(socket.SHUT_WR)
        return b"".join(iter(lambda: connection.recv(65536), b""))


RAW = {
    "a header of 300 kB": (b"X: " + b"x" * 300_000, 431),
    "a header without end": (b"X" * 300_000, 431),
    "two lengths": (b"Content-Length: 0\r\nContent-Length: 5", 400),
    "a length that is none": (b"Content-Length: -1", 400),
    "a length with a plus": (b"Content-Length: +1", 400),
    "a coding that is not known": (b"Transfer-Encoding: gzip, chunked", 501),
    "a name with a blank": (b"Host : a", 400),
    "a bare line feed": (b"A: b\nC: d", 400),
    "a zero byte": (b"A: b\0", 400),
    "two hosts": (b"Host: y", 400),
    "the same host twice": (b"host: x", 400),
    "a header folded with a blank": (b"A: b\r\n c", 400),
    "a header folded with a tab": (b"A: b\r\n\tc", 400),
    "a length of 5,000 digits": (b"Content-Length: " + b"9" * 5_000, 400),
    "the same, with a question": (b"Expect: 100-continue\r\nContent-Length: " + b"9" * 5_000, 400),
}


@pytest.mark.parametrize(("header", "status"), RAW.values(), ids=RAW.keys())
def test_what_is_no_http_is_refused_by_the_server(
    live_server: LiveServer, header: bytes, status: int
) -> None:
    raw = b"GET /healthz HTTP/1.1\r\nHost: x\r\n" + header + b"\r\n\r\n"
    try:
        answer = asked(live_server, raw)
    except ConnectionError:  # it hung up while we were still sending
        answer = b""
    first, *others = answer.split(b"HTTP/1.")[1:] or [b""]
    assert first[2:].startswith(str(status).encode()) or (status == 431 and not answer)
    assert others == []


def test_a_second_request_cannot_hide_behind_a_first(live_server: LiveServer) -> None:
    """A length beside chunks: who counts by the one sees another request than who goes by the
    other. RFC 9112, section 6.1, lets such a request be refused."""
    hidden = b"GET /v1/athletes HTTP/1.1\r\nHost: x\r\n\r\n"
    raw = (
        b"POST /healthz HTTP/1.1\r\nHost: x\r\nContent-Length: "
        + str(5 + len(hidden)).encode()
        + b"\r\nTransfer-Encoding: chunked\r\n\r\n0\r\n\r\n"
        + hidden
    )
    answer = asked(live_server, raw)
    assert answer.startswith((b"HTTP/1.0 400", b"HTTP/1.1 400"))
    assert answer.count(b"HTTP/1.") == 1


def first_answer(live_server: LiveServer, raw: bytes) -> bytes:
    """What the server answers first, to a client that waits with its side open."""
    host, port = live_server.base_url.removeprefix("http://").split(":")
    with socket.create_connection((host, int(port)), SOON_SECONDS) as connection:
        connection.sendall(raw)
        return connection.recv(65536)


@pytest.mark.parametrize("version", ["", " HTTP/9.9", " HTTP/1.2", " HTTP/2.0", " HTTP/0.9"])
def test_another_version_of_http_is_refused(live_server: LiveServer, version: str) -> None:
    raw = f"GET /healthz{version}\r\nHost: x\r\n\r\n".encode()
    assert first_answer(live_server, raw).startswith(b"HTTP/1.0 400")


@pytest.mark.parametrize(("version", "status"), [("1.0", b"200"), ("1.1", b"400")])
def test_a_request_must_name_its_host_since_http_1_1(
    live_server: LiveServer, version: str, status: bytes
) -> None:
    """RFC 9112, section 3.2."""
    answer = first_answer(live_server, f"GET /healthz HTTP/{version}\r\n\r\n".encode())
    assert answer.split()[1] == status


@pytest.mark.parametrize(
    ("request_line", "headers", "status"),
    [
        ("GET /healthz", "", 200),
        ("POST /v1/check-ins", "Content-Length: 0\r\n", 401),
        ("POST /v1/check-ins", "Content-Length: 999999999\r\n", 413),
        ("POST /v1/check-ins", "Content-Length: 5\r\nTransfer-Encoding: chunked\r\n", 400),
        ("POST /v1/check-ins", "Content-Length: x\r\n", 400),
        ("GET http://[/", "", 400),
        ("POST /v1/check-ins", "Content-Length: 5\r\n", 100),
    ],
)
def test_who_asks_whether_to_send_a_body_is_answered_at_once(
    live_server: LiveServer, request_line: str, headers: str, status: int
) -> None:
    """Also where there is no body: what was asked for is answered then."""
    raw = f"{request_line} HTTP/1.1\r\nHost: x\r\nExpect: 100-continue\r\n{headers}\r\n"
    assert first_answer(live_server, raw.encode())[9:12] == str(status).encode()


LIKE = {"/v1/sessions/batch": "/v1/sessions/<session_id>"}
"""An address that is of another kind too, for other methods; the id is nobody's."""


def test_no_other_method_is_taken(app: Flask, coach: Client, coach_browser: Client) -> None:
    ids = of_athlete(coach, MINE)
    taken: dict[str | None, set[str]] = {}
    for route in routes(app):
        taken.setdefault(route.rule, set()).add(route.method)
    for route in routes(app):
        client = coach_browser if route.rule.startswith("/coach") else coach
        for method in {"POST", "PUT", "PATCH", "DELETE", "TRACE", "CONNECT", "MKCOL"}:
            if method not in taken[route.rule] and method not in taken.get(
                LIKE.get(route.rule), ()
            ):
                other = replace(route, method=method)
                answer = other.call(client, ids, headers={"X-HTTP-Method-Override": "GET"})
                assert answer.status_code == 405, other
                allowed = set(answer.headers["Allow"].split(", ")) - {"HEAD", "OPTIONS"}
                assert taken[route.rule] <= allowed, other


def test_a_question_for_the_head_of_an_answer_writes_no_act(
    app: Flask, coach: Client, coach_browser: Client
) -> None:
    """And an export that nobody gets is not made."""
    ids = of_athlete(coach, MINE)
    before = coach.get("/v1/acts").json
    for route in routes(app):
        if route.method == "GET":
            client = coach_browser if route.rule.startswith("/coach") else coach
            assert replace(route, method="HEAD").call(client, ids).data == b"", route
    assert coach.get("/v1/acts").json == before
    assert coach.head("/v1/athletes/nobody/export").status_code == 404


def test_no_other_site_may_read_an_answer(app: Flask, coach: Client, coach_browser: Client) -> None:
    """A page elsewhere can send a request from a visitor's browser; without the headers of CORS
    the browser does not let it see what came back."""
    ids = of_athlete(coach, MINE)
    from_elsewhere = {"Origin": f"https://{EVIL}", "Access-Control-Request-Method": "GET"}
    for route in routes(app):
        client = coach_browser if route.rule.startswith("/coach") else coach
        for method in (route.method, "OPTIONS"):
            answer = replace(route, method=method).call(client, ids, headers=from_elsewhere)
            assert not [name for name, _ in answer.headers if name.startswith("Access-Control-")]


def test_each_page_can_load_and_be_framed_by_nothing_of_others(
    app: Flask, coach: Client, coach_browser: Client
) -> None:
    """Each answer that a browser shows, also those that tell of an error."""
    ids = of_athlete(coach, MINE)
    seen = 0
    for route in routes(app):
        client = coach_browser if route.rule.startswith("/coach") else coach
        answer = route.call(client, ids)
        policy = answer.headers["Content-Security-Policy"]
        assert "default-src 'none'" in policy, route
        assert "frame-ancestors 'none'" in policy, route
        assert "base-uri 'none'" in policy, route
        assert "script-src" not in policy, route
        assert answer.headers["X-Content-Type-Options"] == "nosniff", route
        assert "Referrer-Policy" in answer.headers, route
        assert "Server" not in answer.headers, route
        if answer.mimetype == "text/html":
            seen += 1
            assert "<script" not in answer.text, route
            assert not re.search(r"\s(on[a-z]+|style)=", answer.text), route
    assert seen > 15


def test_what_is_personal_is_kept_by_nobody_in_between(
    app: Flask, coach: Client, coach_browser: Client
) -> None:
    ids = of_athlete(coach, MINE)
    for route in routes(app):
        if route.access is None and "token" not in route.arguments:
            continue
        client = coach_browser if route.rule.startswith("/coach") else coach
        kept = route.call(client, ids).headers.get("Cache-Control", "")
        assert "no-store" in kept or {"private", "no-cache"} <= set(kept.split(", ")), route


# ---- what is said by others


WILD = "${7777*7777} [[7777*7777]] {% print 7777*7777 %} <script>alert(1)</script> %s %(x)s &#x3c;"
WILD_REASON = WILD.replace("{", "{{").replace("}", "}}") + " {{{{7777*7777}}}}"
"""In a reason a brace that is meant stands twice."""

WILD_RULES = (
    CLUB.replace("A short night and tired", "<b>7</b> <script>")
    .replace("The baseline for a club that sleeps well.", f"'{{{{7777*7777}}}} {WILD}'")
    .replace('"{sleep_hours:.1f} h of sleep are too few for us."', f"'=HYPERLINK(1) {WILD_REASON}'")
    .replace("Sleep first.", f"'@SUM(1) {{{{7777*7777}}}} {WILD}'")
    .replace("house judgement", f"'http://169.254.169.254/ {{{{7777*7777}}}} {WILD}'")
    .replace("When the athlete naps.", f"'+1 {{{{7777*7777}}}} {WILD}'")
)


@pytest.mark.parametrize(
    "reason",
    [
        "{0.__class__}",
        "{sleep_hours.__class__.__mro__}",
        "{sleep_hours[0]}",
        "{sleep_hours!r}",
        "{sleep_hours:{fatigue}}",
        "{sleep_hours:999999999}",
        "{sleep_hours:.999999999f}",
        "{}",
        "{__import__}",
        "{self}",
    ],
)
def test_a_reason_reaches_nothing_but_facts(reason: str) -> None:
    text = CLUB.replace("{sleep_hours:.1f} h of sleep are too few for us.", reason)
    library = RuleSetLibrary.bundled()
    with pytest.raises(RuleSetInvalid):
        parse_rule_set(text, "club.yaml", resolve=library.get)


@pytest.fixture
def wild(coach: Client) -> dict[str, str]:
    """The ids of an athlete whose advice a rule set decided in which everything that can be said is
    meant to be run by somebody."""
    ids = of_athlete(coach, MINE)
    published = coach.post("/v1/rule-sets", data=WILD_RULES, content_type="application/yaml")
    assert published.status_code == 201, published.text
    coach.put("/v1/rule-sets/active", json={"rule_set": "club@1.0.0"})
    person = {"name": "=1 {{7777*7777}} <script>alert(1)</script>", "time_zone": "Europe/Berlin"}
    assert coach.put(f"/v1/athletes/{MINE}", json=person).status_code == 200
    label = {"purpose": "read", "label": "=1 {{7777*7777}} <script>alert(1)</script>"}
    assert coach.post(f"/v1/athletes/{MINE}/addresses", json=label).status_code == 201
    tired = DAY_OFF | {"sleep": {"hours": 7}, "fatigue": 4}
    advice = coach.post("/v1/check-ins", json=tired).json
    assert advice["rule"]["id"] == "club-sleep", advice
    return ids | {"advice_id": advice["advice_id"]}


def test_what_others_wrote_is_run_by_no_template_and_is_no_markup(
    app: Flask, coach: Client, coach_browser: Client, wild: dict[str, str]
) -> None:
    """On every page, each of the rules, the athlete, the advice and the private address."""
    page = coach.post(f"/v1/athletes/{MINE}/addresses", json={"purpose": "check-in"}).json
    of_page = {"token": page["paths"][0].split("/")[2]}
    showing = 0
    for route in routes(app):
        if route.method != "GET":
            continue
        browser = coach_browser if route.rule.startswith("/coach") else coach
        rules = replace(
            route, rule=route.rule.replace("<name>", "club").replace("<version>", "1.0.0")
        )
        rules = replace(rules, arguments=route.arguments - {"name", "version"})
        ours = wild | of_page if route.rule.startswith("/check-in") else wild
        answer = rules.call(browser, ours)
        assert answer.status_code < 500, route
        if answer.mimetype == "text/html":
            assert "<script" not in answer.text, route
            assert "<b>7</b>" not in answer.text, route
            showing += "alert(1)" in answer.text
        if answer.mimetype in ("text/html", "application/json", "text/plain", "text/calendar"):
            assert "60481729" not in answer.text, route
    assert showing >= 5


def test_no_sheet_that_we_give_holds_a_formula(
    coach: Client, coach_browser: Client, wild: dict[str, str]
) -> None:
    """Whatever was written in rules and names: every CSV, and the workbook."""
    sheets = [
        coach.get("/v1/advice?date=2026-03-09&format=csv"),
        coach_browser.get("/coach/squad.csv"),
        *(
            coach.post(path, data=sheet, content_type="text/csv", headers={"Accept": "text/csv"})
            for path, sheet in {
                "/v1/check-ins/batch": "athlete_id,date,sleep_hours,fatigue,=1\n"
                "a-03,2026-03-09,7,4,=2\n",
                "/v1/sessions/batch": "athlete_id,starts_at,goal,@notes\n"
                "a-03,2026-03-08T18:00:00+01:00,strength,@x\n",
            }.items()
        ),
    ]
    texts = [sheet.data.decode("utf-8-sig") for sheet in sheets]
    with ZipFile(io.BytesIO(coach.get(f"/v1/athletes/{MINE}/export").data)) as exported:
        names = [name for name in exported.namelist() if name.endswith(".csv")]
        texts += [exported.read(name).decode("utf-8-sig") for name in names]
    assert sum("HYPERLINK" in text for text in texts) >= 4
    for text in texts:
        for row in csv.reader(io.StringIO(text)):
            assert not [cell for cell in row if re.match(r"[=+@\t\r]|-[^0-9]", cell)], row


def test_no_workbook_that_we_give_has_a_formula_of_ours(
    coach: Client, wild: dict[str, str]
) -> None:
    book, packed = Workbook(), io.BytesIO()
    assert book.active is not None
    for row in (("athlete_id", "date", "sleep_hours", "fatigue"), (MINE, "2026-03-09", 7, 4)):
        book.active.append(row)
    book.save(packed)
    answer = coach.post(
        "/v1/check-ins/batch?format=xlsx", data=packed.getvalue(), content_type=XLSX
    )
    assert answer.status_code == 200
    table = load_workbook(io.BytesIO(answer.data)).active
    assert table is not None
    cells = [cell for row in table.iter_rows() for cell in row]
    assert any("HYPERLINK" in str(cell.value) for cell in cells)
    assert [cell for cell in cells if cell.data_type == "f"] == []


AWAY = ["../baseline", "..%2fbaseline", "/etc/passwd", "%2e%2e", "baseline/../baseline", "\\", "~"]


@pytest.mark.parametrize("name", AWAY)
def test_no_name_leads_out_of_where_its_things_are(coach: Client, name: str) -> None:
    """Of rule sets and versions in an address, in a body and in a file; of kinds of problems; of
    files."""
    for path in (
        f"/v1/rule-sets/{name}/1.1.0",
        f"/v1/rule-sets/baseline/{name}",
        f"/problems/{name}",
        f"/static/{name}/../app.py",
        f"/static/{name}",
    ):
        assert coach.get(path, follow_redirects=True).status_code == 404, path
    named = {"rule_set": f"{name}@1.1.0", "facts": {}}
    assert coach.post("/v1/evaluations", json=named).status_code in (404, 422)
    for old, new in (("rule_set: club", "rule_set"), ("extends: baseline@1.1.0", "extends")):
        text = CLUB.replace(old, f"{new}: '{name}@1.1.0'")
        refused = coach.post("/v1/rule-sets", data=text, content_type="application/yaml")
        assert refused.status_code == 422, new


def test_a_link_in_a_rule_is_shown_and_never_followed(
    coach: Client, coach_browser: Client, wild: dict[str, str], monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse(*_: object) -> None:
        raise AssertionError("somebody is being called")

    monkeypatch.setattr(socket.socket, "connect", refuse)
    monkeypatch.setattr(socket, "getaddrinfo", refuse)
    for path in ("/v1/rule-sets/club/1.0.0", "/v1/rule-sets/club/1.0.0/findings"):
        assert coach.get(path).status_code == 200
    page = coach_browser.get("/coach/rule-sets/club/1.0.0").text
    assert "http://169.254.169.254/" in page
    assert not re.search(r'(href|src|action)="http', page)
    assert coach.get(f"/v1/advice/{wild['advice_id']}").status_code == 200


CALLS = {"connect", "connect_ex", "create_connection"}
LISTENS_ONLY = "web/server.py"
CALLING = {"requests", "urllib.request", "http.client", "socket", "aiohttp", "httpx", "urllib3"}
CLUSTER = "dawnrule.analytics.cluster"
"""Calls the Spark cluster that somebody names on the command line."""


def test_only_the_demonstration_and_a_replay_on_a_named_cluster_call_another_machine() -> None:
    imported = {
        str(file.relative_to(PACKAGE)): set(imports_of(file)) for file in PACKAGE.rglob("*.py")
    }
    callers = {file for file, names in imported.items() if names & CALLING}
    assert callers == {"analytics/cluster.py", "demo/stage.py", "demo/weeks.py", LISTENS_ONLY}
    of_cluster = {file for file, names in imported.items() if CLUSTER in names}
    assert of_cluster == {"cli/replay.py"}
    code = ast.walk(ast.parse((PACKAGE / LISTENS_ONLY).read_text(encoding="utf-8")))
    done = {node.attr for node in code if isinstance(node, ast.Attribute)}
    assert not {name for name in done if name in CALLS or name.startswith("send")}


def test_nobody_compares_a_secret_letter_by_letter() -> None:
    """How long that takes tells how much of it was right. A key or a token is looked up by its
    SHA-256 instead: what an index tells of two hashes tells nothing of what they are of. Cookies
    and the tokens of forms are compared by itsdangerous, in constant time."""
    handling = [
        "web/http/authorization.py",
        "web/http/login.py",
        "web/coach/sign_in.py",
        "web/coach/layout.py",
        "web/private/visitor.py",
        "store/tables/keys.py",
        "store/tables/private_addresses.py",
        "store/tables/secrets.py",
        "store/tables/sign_ins.py",
    ]
    secret = re.compile(r"token|secret|hash|key$")
    for name in handling:
        for node in ast.walk(ast.parse((PACKAGE / name).read_text(encoding="utf-8"))):
            if isinstance(node, ast.Compare) and isinstance(node.ops[0], ast.Eq | ast.NotEq):
                compared = " ".join(map(ast.unparse, (node.left, *node.comparators)))
                assert not secret.search(compared), f"{name}: {ast.unparse(node)}"


def test_no_secret_is_stored_as_it_is(store: Store, coach: Client, coach_key: str) -> None:
    token = of_athlete(coach, MINE)["token"]
    for file in store.file.parent.iterdir():
        assert coach_key.encode() not in file.read_bytes(), file
        assert token.encode() not in file.read_bytes(), file


def test_nothing_that_is_sent_begins_a_line_in_a_log(
    coach: Client, caplog: pytest.LogCaptureFixture
) -> None:
    """``tests/web/test_logs.py`` tells of the lines themselves; here of what is put in them."""
    forged = "x\nWARNING forged\r\x1b[2J"
    with caplog.at_level(logging.DEBUG):
        coach.get("/v1/athletes/x%0AWARNING%20forged%0D", headers={"X-Request-Id": "a forged"})
        coach.open("/v1/athletes", method="FORGED")
        coach.post("/v1/check-ins", json=changed("/pain/0/where", forged))
        coach.post("/v1/rule-sets", data=f"rule_set: '{forged}'", content_type="application/yaml")
        coach.post("/v1/evaluations", json={"rule_set": f"{forged}@1", "facts": {}})
    messages = [record.getMessage() for record in caplog.records if record.name != "werkzeug"]
    assert messages
    assert not [message for message in messages if "forged" in message.lower()]


class TestGuessing:
    @pytest.fixture
    def settings(self, settings: Settings) -> Settings:
        return replace(settings, wrong_guesses_per_minute=5, sign_in_tries_per_minute=5)

    def test_whoever_guesses_is_stopped_at_every_door(
        self, app: Flask, coach: Client, client: Client
    ) -> None:
        """By key at any route, by private address, and at the sign-in; each door from an address
        of its own."""
        ids = of_athlete(coach, MINE)
        for number, route in enumerate(routes(app)):
            if not isinstance(route.access, frozenset):
                continue
            from_there = {"REMOTE_ADDR": f"192.0.2.{number + 1}"}
            wrong = {"Authorization": "Bearer dawn_wrong"}
            tried = [
                route.call(client, ids, headers=wrong, environ_base=from_there).status_code
                for _ in range(7)
            ]
            assert tried == [401] * 5 + [429] * 2, route
        for number, door in enumerate(("/feeds/x/today.txt", "/feeds/x/today.json", "/check-in/x")):
            from_there = {"REMOTE_ADDR": f"198.51.100.{number + 1}"}
            tried = [client.get(door, environ_base=from_there).status_code for _ in range(7)]
            assert tried == [404] * 5 + [429] * 2, door

    def test_the_sign_in_is_a_door_too(self, client: Client) -> None:
        page = client.get("/coach/sign-in").text
        found = re.search(r'name="csrf_token" value="([^"]+)"', page)
        assert found
        form = {"csrf_token": found[1], "key": "dawn_wrong"}
        tried = [client.post("/coach/sign-in", data=form).status_code for _ in range(7)]
        assert tried == [403] * 5 + [429] * 2


# ---- what we build on


def package(name: str, **known: Any) -> dict[str, Any]:
    return {"name": name, "version": "1.0", **known}


def test_a_vulnerability_that_is_known_fails_the_build(monkeypatch: pytest.MonkeyPatch) -> None:
    known = {"id": "CVE-0000-0001", "fix_versions": ["1.1"]}
    found = [package("safe", vulns=[]), package("unsafe", vulns=[known])]
    assert audited(monkeypatch, {"dependencies": found}) == 1
    assert list(dependencies.told(found)) == [
        "unsafe 1.0: CVE-0000-0001, mended in 1.1",
        "audited: 2 packages, 1 known vulnerabilities",
    ]


def test_what_could_not_be_audited_is_never_told_as_safe(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    unknown = [package("one", skip_reason="not found"), package("two", skip_reason="not found")]
    assert audited(monkeypatch, {"dependencies": unknown}) == 0
    assert audited(monkeypatch, None) == 0
    told = capsys.readouterr().out.splitlines()
    assert len(told) == 2
    assert all(line.startswith("NOT AUDITED") for line in told)


def audited(monkeypatch: pytest.MonkeyPatch, answer: Any) -> int:
    """How the audit ends when pip-audit answers this, or cannot (None)."""
    said = json.dumps(answer) if answer else ""
    done = subprocess.CompletedProcess((), 1, said, "cannot reach the index")
    monkeypatch.setattr(subprocess, "run", lambda *_, **__: done)
    return dependencies.main()


# ---- the table


CHECKOUT = Path(__file__).parents[2]


def table() -> list[list[str]]:
    """The rows of the table in README.md: risk, protection, tests."""
    text = Path(__file__).with_name("README.md").read_text(encoding="utf-8")
    rows = [line.strip("|").split("|") for line in text.splitlines() if line.startswith("|")]
    return [[cell.strip() for cell in row] for row in rows[2:]]


def test_every_risk_stands_in_the_table_with_its_tests() -> None:
    risks = [risk.split()[0] for risk, _, _ in table() if risk.startswith("API")]
    assert risks == [f"API{number}" for number in range(1, 11)]
    assert all("`tests/" in tests for _, _, tests in table())


def test_every_test_that_the_table_names_is_there() -> None:
    named = [name for _, _, tests in table() for name in re.findall(r"`(tests/[^`]+)`", tests)]
    for name in named:
        file, *within = name.split("::")
        assert set(within) <= defined_in(file), name


@cache
def defined_in(file: str) -> set[str]:
    """The functions and classes of a file, those in classes among them."""
    tree = ast.parse((CHECKOUT / file).read_text(encoding="utf-8"))
    kinds = (ast.FunctionDef, ast.ClassDef)
    homes: list[ast.Module | ast.ClassDef]
    homes = [tree, *(node for node in tree.body if isinstance(node, ast.ClassDef))]
    return {node.name for home in homes for node in home.body if isinstance(node, kinds)}
