"""The pages on rules: read, compared, tried, and replayed on past mornings."""

from __future__ import annotations

import re
import time
from html import unescape
from typing import Any

import pytest
from flask import Flask

from dawnrule.i18n.catalog import Texts
from dawnrule.rules.registry import RuleSetLibrary
from dawnrule.store import ReplayState, Store, StoredReplay
from dawnrule.web.context import Context
from tests.conftest import Client, Clock
from tests.factories import CLUB
from tests.web.test_coach_why import SORE, put_in_print, read

WITHIN_SECONDS = 60
NEWEST = "/coach/rule-sets/baseline/2.0.0"


@pytest.fixture
def club(store: Store, clock: Clock) -> None:
    """A published rule set that extends the newest baseline."""
    put_in_print(store, CLUB, clock())


@pytest.fixture
def mornings(coach: Client) -> None:
    """A morning each of two athletes: sore legs, and growth work."""
    for athlete_id in ("a-03", "a-04"):
        posted = coach.post("/v1/check-ins", json=SORE | {"athlete_id": athlete_id})
        assert posted.status_code == 201


def send(browser: Client, address: str, **fields: str) -> Any:
    """Send the form of a page, with its token."""
    found = re.search(r'name="csrf_token" value="([^"]+)"', browser.get(address).text)
    assert found is not None
    return browser.post(address, data={"csrf_token": found[1], **fields})


def about(page: Any, name: str) -> str:
    """What the list of rule sets says about one of them."""
    words = read(page)
    return words.partition(f" {name} ")[2].partition("sha256:")[0]


@pytest.mark.usefixtures("club")
def test_the_list_says_which_decides_which_listens_and_which_only_waits(
    coach_browser: Client, coach: Client
) -> None:
    page = coach_browser.get("/coach/rule-sets")
    assert "It decides today. It decides because the service is set up so." in about(
        page, "baseline@2.0.0"
    )
    assert "decides" not in about(page, "club@1.0.0")
    assert "Published on Mon 9 March." in about(page, "club@1.0.0")
    coach.put("/v1/rule-sets/active", json={"rule_set": "club@1.0.0", "from": "2026-03-01"})
    coach.put("/v1/rule-sets/shadow", json={"rule_set": "baseline@1.0.0"})
    coach.put("/v1/athletes/a-04/rule-set", json={"rule_set": "baseline@2.0.0"})
    page = coach_browser.get("/coach/rule-sets")
    decides = "It decides today. It was made to decide from Sun 1 March on."
    assert decides in about(page, "club@1.0.0")
    assert "It is on trial. It has been on trial since Mon 9 March:" in about(
        page, "baseline@1.0.0"
    )
    assert "These athletes have it as their own: a-04." in about(page, "baseline@2.0.0")
    assert decides in read(coach_browser.get("/coach/rule-sets/club/1.0.0"))


def test_an_activation_ahead_does_not_count_before_its_date(
    coach_browser: Client, coach: Client
) -> None:
    for body in ({}, {"from": "2027-01-01"}):
        named = {"rule_set": "baseline@2.0.0", **body}
        assert coach.put("/v1/rule-sets/active", json=named).status_code == 200
    own = {"rule_set": "baseline@1.1.0", "from": "2027-01-01"}
    assert coach.put("/v1/athletes/a-03/rule-set", json=own).status_code == 200
    page = coach_browser.get("/coach/rule-sets")
    decides = (
        "It was made to decide from Mon 9 March on. It is set to decide from Fri 1 January 2027 on."
    )
    assert decides in about(page, "baseline@2.0.0")
    assert "a-03" not in about(page, "baseline@1.1.0")
    assert decides in read(coach_browser.get(NEWEST))


def test_a_rule_set_reads_as_sentences_and_as_a_table(coach_browser: Client) -> None:
    page = coach_browser.get(NEWEST)
    rule_set = RuleSetLibrary.bundled().get("baseline", "2.0.0")
    words = read(page)
    assert rule_set.digest in words
    assert "Rest for the whole day when illness is fever" in words
    assert "soreness is at least 3" in words
    for rule in rule_set.rules:
        assert page.text.count(f'<li id="{rule.id}">') == 1
        assert f'href="#{rule.id}"' in page.text
        wrong_when = Texts.bundled().of_rule(rule.wrong_when)
        assert " ".join(unescape(wrong_when).split()) in words
    assert "Its check found nothing to fix." in words
    assert "worse facts never lead to a more permissive verdict" in words


@pytest.mark.usefixtures("club")
def test_an_extension_says_what_it_changes_and_what_was_found(
    coach_browser: Client, coach: Client
) -> None:
    text = CLUB.replace("1.0.0", "1.2.0", 1).replace(
        "      - {facts: {sleep_hours: 7.5, fatigue: 4}, fires: false}\n", ""
    )
    text += (
        "change:\n  - rule: growth-work-too-soon\n    fact: hours_since_growth_work\n"
        "    below: 60\n    because: We train twice a week.\n"
    )
    published = coach.post("/v1/rule-sets", data=text, content_type="application/yaml")
    assert published.status_code == 201, published.json
    words = read(coach_browser.get("/coach/rule-sets/club/1.2.0"))
    assert "What it changes of baseline@1.1.0" in words
    assert "the limit of time since growth work goes from 48 to 60. We train twice a week." in words
    for finding in published.json["findings"]:
        assert finding["message"] in words
    assert "To weigh club-sleep" in words


@pytest.mark.usefixtures("club")
def test_two_rule_sets_are_told_apart_rule_by_rule(coach_browser: Client) -> None:
    page = coach_browser.get("/coach/rule-sets/club/1.0.0?from=baseline@1.1.0")
    words = read(page)
    assert "club@1.0.0 beside baseline@1.1.0" in words
    assert "New rules: 1" in words
    assert "fatigue is at least 4" in words
    assert "Rules that are gone" not in words
    assert "no rule → club-sleep" in words
    assert "None. This is proved." in words
    newest = coach_browser.get(f"{NEWEST}?from=club@1.0.0")
    assert "club-sleep" in read(newest).partition("Rules that are gone: ")[2]
    assert "Limits" in read(newest), "a rule of both has limits in the newest only"


def test_a_rule_set_that_is_not_there_is_a_page_with_the_way_back(coach_browser: Client) -> None:
    nowhere = "/coach/rule-sets/club/9.0.0"
    addresses = (nowhere, f"{nowhere}/try-out", f"{nowhere}/scorecard", f"{NEWEST}?from=club@9.0.0")
    for address in addresses:
        answer = coach_browser.get(address)
        assert answer.status_code == 404, address
        assert 'href="/coach/"' in answer.text


@pytest.mark.usefixtures("mornings")
def test_the_scorecard_counts_and_claims_nothing_of_a_few_mornings(
    coach_browser: Client, coach: Client
) -> None:
    words = read(coach_browser.get(f"{NEWEST}/scorecard"))
    card = coach.get("/v1/rule-sets/baseline/2.0.0/scorecard").json
    assert "This rule set decided 2 mornings, from Mon 9 March to Mon 9 March." in words
    fired = [rule for rule in card["rules"] if rule["fired"]["count"]]
    assert fired
    for rule in fired:
        counts = f"{rule['fired']['count']} of 2 {rule['decided']['count']} of 2"
        assert f"{rule['title']} {rule['rule']} {counts}" in words
    assert f"Rules that never applied: {len(card['rules']) - len(fired)}" in words
    assert "With fewer than 10 mornings no share is given." in words


def test_a_scorecard_without_mornings_says_so(coach_browser: Client) -> None:
    page = read(coach_browser.get("/coach/rule-sets/baseline/1.0.0/scorecard"))
    assert "This rule set has not given any advice yet." in page


def test_facts_are_tried_and_nothing_is_stored(coach_browser: Client, store: Store) -> None:
    before = store.read(lambda transaction: transaction.advice.last_position())
    answer = send(
        coach_browser,
        f"{NEWEST}/try-out",
        goal="hypertrophy",
        muscle_group="quadriceps",
        hours_since_growth_work="30,5",
        soreness="2",
    )
    assert answer.status_code == 200
    words = read(answer)
    assert "Swap to low-damage work : Growth work before the muscle has had two days" in words
    assert "Quadriceps had growth work 30.5 h before this block." in words
    assert "time since growth work: 30.5 h — below 47 h: yes" in words
    assert "Soreness: 2 — at least 3 (1 away)" in words
    assert 'value="30,5"' in answer.text, "the form keeps what was filled in"
    assert store.read(lambda transaction: transaction.advice.last_position()) == before


def test_facts_of_a_day_alone_are_tried_without_a_part(coach_browser: Client) -> None:
    words = read(send(coach_browser, f"{NEWEST}/try-out", chest_pain="true"))
    assert "Rest : Chest pain, fainting, breathless at rest or palpitations" in words
    assert "chest pain: yes — asks for yes: yes" in words
    assert "The part of the plan" not in words


def test_a_rule_on_the_whole_day_counts_for_the_part_that_is_tried(coach_browser: Client) -> None:
    words = read(send(coach_browser, f"{NEWEST}/try-out", illness="fever", goal="mobility"))
    assert words.count("Rest : Fever") == 2
    assert "Rules on the whole day count here too: Fever" in words


def test_what_cannot_be_accepted_is_named_at_its_field(coach_browser: Client) -> None:
    answer = send(
        coach_browser,
        f"{NEWEST}/try-out",
        sleep_hours="65",
        soreness="much",
        goal="running",
        age_years="-1",
    )
    assert answer.status_code == 422
    wrong = re.findall(r'<p id="(\w+)-error"', answer.text)
    assert sorted(wrong) == ["age_years", "goal", "sleep_hours", "soreness"]
    assert '<input id="sleep_hours" name="sleep_hours" value="65"' in answer.text
    assert "<details open>" in answer.text, "the age stands among the less common facts"
    assert "What the rules say" not in read(answer)


def finished(browser: Client, address: str) -> Any:
    """The page of a replay once it is done."""
    give_up_at = time.monotonic() + WITHIN_SECONDS
    while True:
        page = browser.get(address)
        if "It is done." in page.text:
            return page
        assert time.monotonic() < give_up_at, read(page)
        assert page.headers["Refresh"] == "3"
        time.sleep(0.02)


@pytest.mark.usefixtures("mornings")
def test_a_replay_is_started_followed_and_read(
    coach_browser: Client, coach: Client, club: None
) -> None:
    started = send(coach_browser, "/coach/replays", rule_set="club@1.0.0", **{"from": "2026-03-01"})
    assert started.status_code == 303
    address = started.headers["Location"]
    page = finished(coach_browser, address)
    assert "Refresh" not in page.headers
    words = read(page)
    assert "It is done. 2 of 2 mornings are decided." in words
    told = coach.get(f"/v1{address.removeprefix('/coach')}").json
    assert f"2 mornings, {told['decisions']} decisions. {len(told['changed'])} mornings" in words
    for one in told["changed"]:
        link = f"/coach/why/{one['athlete_id']}/{one['date']}?under=club@1.0.0"
        assert link in page.text
        assert coach_browser.get(link).status_code == 302
    assert told["changed"], "or nothing was shown"
    assert f'href="{address}"' in coach_browser.get("/coach/replays").text


def waiting(app: Flask) -> str:
    """A replay that was asked for and that nobody runs."""
    its = Context.of(app)
    rule_set = its.rule_set_named("baseline@1.0.0")
    at = its.clock()
    its.store.write(
        lambda b: b.replays.add(
            StoredReplay("r-1", rule_set.full_name, rule_set.digest, None, None, at, at)
        )
    )
    return "/coach/replays/r-1"


def test_a_replay_is_stopped_and_gone_on_with(
    coach_browser: Client, app: Flask, store: Store
) -> None:
    address = waiting(app)
    page = coach_browser.get(address)
    assert "It is waiting." in page.text
    assert "Refresh" not in coach_browser.get(f"{address}?follow=no").headers
    found = re.search(r'name="csrf_token" value="([^"]+)"', page.text)
    assert found is not None
    token = {"csrf_token": found[1]}
    assert coach_browser.post(f"{address}/cancel", data=token).status_code == 303
    stopped = coach_browser.get(address)
    assert "Somebody stopped it." in stopped.text
    assert "Refresh" not in stopped.headers
    assert coach_browser.post(f"{address}/resume", data=token).status_code == 303
    finished(coach_browser, address)
    again = coach_browser.post(f"{address}/resume", data=token)
    assert again.status_code == 409
    replay = store.read(lambda transaction: transaction.replays.get("r-1"))
    assert replay is not None
    assert replay.state is ReplayState.DONE


@pytest.mark.parametrize(
    ("fields", "field"),
    [
        ({"rule_set": "baseline@1.0.0", "from": "2026-03-02", "to": "2026-03-01"}, "to"),
        ({"rule_set": "baseline@1.0.0", "from": "1 March"}, "from"),
        ({}, "rule_set"),
    ],
)
def test_a_replay_that_cannot_be_is_refused_at_its_field(
    coach_browser: Client, fields: dict[str, str], field: str
) -> None:
    answer = send(coach_browser, "/coach/replays", **fields)
    assert answer.status_code == 422
    assert re.findall(r'<p id="(\w+)-error"', answer.text) == [field]


@pytest.mark.parametrize(
    "address",
    [
        f"{NEWEST}/try-out",
        "/coach/replays",
        "/coach/replays/r-1/cancel",
        "/coach/replays/r-1/resume",
    ],
)
def test_nothing_is_taken_from_a_form_of_another_site(
    coach_browser: Client, app: Flask, store: Store, address: str
) -> None:
    waiting(app)
    before = store.read(lambda transaction: transaction.replays.newest())
    answer = coach_browser.post(address, data={"rule_set": "baseline@1.0.0", "goal": "strength"})
    assert answer.status_code == 400
    assert store.read(lambda transaction: transaction.replays.newest()) == before


def test_a_replay_that_is_not_there_is_a_page_with_the_way_back(coach_browser: Client) -> None:
    answer = coach_browser.get("/coach/replays/nowhere")
    assert answer.status_code == 404
    assert 'href="/coach/"' in answer.text
