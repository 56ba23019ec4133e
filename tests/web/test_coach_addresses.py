"""Private addresses on the coach's pages: handed out on a sheet to print, shown once, ended."""

from __future__ import annotations

import html
import re

from flask import Flask

from tests.conftest import Client
from tests.web.coach_forms import fault, send

PAGE, BASE = "/coach/addresses", "https://dawn.example"
PATH = re.compile(r'href="https://dawn\.example(/check-in/[\w-]+)"')


def test_a_group_gets_a_card_each_with_a_code_and_a_link_that_works(
    coach_browser: Client, coach: Client, client: Client
) -> None:
    coach.put("/v1/groups/team", json={"name": "Team", "athletes": ["a-03", "a-05"]})
    sheet = send(coach_browser, PAGE, who="group:team", purpose="check-in", base=f"{BASE}/")
    paths = PATH.findall(sheet.text)
    assert (len(paths), sheet.text.count("<svg")) == (2, 2)
    assert "only now" in sheet.text
    assert sheet.headers["Cache-Control"] == "no-store"
    assert "Lena" in client.get(paths[0]).text
    for address in (PAGE, "/coach/athletes"):
        assert not any(path.rpartition("/")[2] in coach_browser.get(address).text for path in paths)
    made = coach.get("/v1/acts?act=address-made").json["acts"]
    assert [one["about"]["athlete_id"] for one in made] == ["a-03", "a-05"]


def test_an_address_is_listed_ended_and_replaced(
    coach_browser: Client, coach: Client, client: Client
) -> None:
    give = {"who": "athlete:a-03", "purpose": "check-in", "base": BASE}
    [first] = PATH.findall(send(coach_browser, PAGE, **give, label="old phone").text)
    assert "old phone" in coach_browser.get(PAGE).text
    assert "old phone" not in coach_browser.get(f"{PAGE}?who=athlete:a-04").text
    [second] = PATH.findall(send(coach_browser, PAGE, **give, replace="yes").text)
    assert (client.get(first).status_code, client.get(second).status_code) == (404, 200)
    works = [
        one["address_id"]
        for one in coach.get("/v1/athletes/a-03/addresses").json["addresses"]
        if one["revoked_at"] is None
    ]
    assert len(works) == 1
    send(coach_browser, PAGE, f"{PAGE}/{works[0]}/end")
    assert client.get(second).status_code == 404


def test_what_the_advice_is_read_at_has_a_code_where_a_phone_uses_it(coach_browser: Client) -> None:
    sheet = send(coach_browser, PAGE, who="athlete:a-03", purpose="read", base=BASE).text
    assert sheet.count("<svg") == 2
    for end in ("today.txt", "today.json", "outlook.ics"):
        assert end in sheet


def test_where_the_service_is_reached_is_asked_and_never_taken_from_the_request(
    coach_browser: Client, app: Flask
) -> None:
    bare = send(coach_browser, PAGE, who="athlete:a-03", purpose="check-in").text
    assert "<svg" not in bare
    assert "localhost" not in bare
    assert "there are no codes" in html.unescape(bare)
    assert "Open this address each morning" in bare
    assert "Scan" not in bare
    assert '<option value="check-in" selected>' in coach_browser.get(PAGE).text
    for wrong in ("dawn.example", "javascript://x", "https://dawn.example/a?b", "https://["):
        refused = send(coach_browser, PAGE, who="athlete:a-03", purpose="check-in", base=wrong)
        assert (refused.status_code, bool(fault(refused.text, "base"))) == (422, True), wrong
