"""The page *Why*: one advice explained on one page."""

from __future__ import annotations

import re
from collections.abc import Iterator
from datetime import datetime
from html import unescape
from typing import Any

import pytest

from dawnrule.advice.composer import Composer
from dawnrule.application.heads import heads_in
from dawnrule.errors import EngineDisagreement
from dawnrule.rules.evaluation.decider import Decider
from dawnrule.rules.loading.loader import parse_rule_set
from dawnrule.rules.registry import RuleSetLibrary
from dawnrule.store import Store, StoredRuleSet
from tests.conftest import Client, Clock
from tests.factories import CLUB, DAY_OFF, EXAMPLE, changed, without

SORE = without("pain")
"""Sore quadriceps on a day of growth work."""

OPERATORS = {"at_least": "at least", "at_most": "at most", "above": "above", "below": "below"}


def post(coach: Client, check_in: dict[str, Any] = SORE) -> str:
    """The id of the advice on a check-in."""
    answer = coach.post("/v1/check-ins", json=check_in)
    assert answer.status_code in (200, 201)
    advice_id: str = answer.json["advice_id"]
    return advice_id


@pytest.fixture
def advice_id(coach: Client) -> str:
    return post(coach)


@pytest.fixture
def record(coach: Client, advice_id: str) -> dict[str, Any]:
    """What programs are told of the same advice."""
    told: dict[str, Any] = coach.get(f"/v1/advice/{advice_id}").json
    return told


def put_in_print(store: Store, text: str, at: datetime) -> None:
    """Publish a rule set without its trial, which takes seconds."""
    bundled = RuleSetLibrary.bundled()
    found = parse_rule_set(text, "club.yaml", resolve=bundled.get)
    stored = StoredRuleSet(found.name, found.version, found.digest, found.summary, at, None)
    store.write(lambda transaction: transaction.rule_sets.add(stored, text, "[]"))


def read(page: Any) -> str:
    """What a reader of a page sees: its words, in their order."""
    assert page.mimetype == "text/html"
    main = page.text.partition("<main")[2].partition(">")[2]
    return " ".join(unescape(re.sub(r"<[^>]*>", " ", main)).split())


def rows(page: Any) -> list[tuple[str, str]]:
    """The rows of the tables of a page: name, and value or why there is none."""
    found = re.findall(r'<th scope="row">([^<]*)</th>\s*<td[^>]*>([^<]*)</td>', page.text)
    return [(unescape(name), unescape(value)) for name, value in found]


def single_tests(conditions: dict[str, Any]) -> Iterator[dict[str, Any]]:
    """The single tests in how a condition came out."""
    if "fact" in conditions:
        yield conditions
    for child in conditions.get("children", ()):
        yield from single_tests(child)


def test_from_the_verdict_to_the_rule_its_numbers_and_its_source(
    coach_browser: Client, advice_id: str, record: dict[str, Any]
) -> None:
    page = read(coach_browser.get(f"/coach/advice/{advice_id}"))
    [part] = record["advice"]["parts"]
    rule = next(rule for rule in record["rules"] if rule["id"] == part["rule"]["id"])
    assert f"Swap to low-damage work : {part['rule']['title']}" in page
    for said in (part["reason"], part["caution"], rule["id"], rule["wrong_when"]):
        assert " ".join(said.split()) in page
    for said in (rule["basis"]["source"], rule["basis"]["note"]):
        assert " ".join(said.split()) in page


def test_every_caution_of_the_advice_stands_there(coach_browser: Client, coach: Client) -> None:
    page = read(coach_browser.get(f"/coach/advice/{post(coach, EXAMPLE)}"))
    notes = coach.get("/v1/athletes/a-03/advice/2026-03-09").json["notes"]
    assert notes
    assert all(note["caution"] in page for note in notes)


def test_every_number_is_that_of_the_interface(
    coach_browser: Client, advice_id: str, record: dict[str, Any]
) -> None:
    page = read(coach_browser.get(f"/coach/advice/{advice_id}"))
    label = {name: fact.label for name, fact in Composer.bundled().dictionary.items()}
    tested = [
        test
        for rule in record["rules"]
        for result in rule["results"]
        for test in single_tests(result["conditions"])
        if test["operator"] in OPERATORS
    ]
    assert any(test["value"] is not None for test in tested)
    for test in tested:
        value = "not reported" if test["value"] is None else f"{test['value']:g}"
        held = "yes" if test["holds"] else "no"
        asked = f"{OPERATORS[test['operator']]} {test['threshold']:g}"
        assert re.search(
            rf"{re.escape(label[test['fact']])}: {value}( \S+)? — {asked}( \S+)?\)?: {held}", page
        ), test


def test_all_facts_are_told_with_every_decimal_or_as_not_reported(
    coach_browser: Client, advice_id: str, store: Store, record: dict[str, Any]
) -> None:
    told = rows(coach_browser.get(f"/coach/advice/{advice_id}"))
    facts = record["facts"]["day"] | record["facts"]["parts"][0]["facts"]
    for name, definition in Composer.bundled().dictionary.items():
        values = [value for label, value in told if label == definition.label]
        if name not in facts:
            assert any("not reported" in value for value in values), name
        elif definition.is_numeric:
            assert str(facts[name]).removesuffix(".0") in values, name
    for name, why in record["facts"]["missing"].items():
        assert any(why in value for _, value in told), name


def test_what_was_left_open_in_the_check_in_is_shown_as_not_reported(
    coach_browser: Client, coach: Client
) -> None:
    told = dict(rows(coach_browser.get(f"/coach/advice/{post(coach, DAY_OFF)}")))
    assert told["illness"] == told["warning signs"] == told["pain"] == "not reported"
    told = dict(rows(coach_browser.get(f"/coach/advice/{post(coach, changed('/pain', []))}")))
    assert (told["illness"], told["warning signs"], told["pain"]) == ("not ill", "none", "none")


def test_rules_that_nearly_fired_are_told_with_how_far_they_were(
    coach_browser: Client, coach: Client
) -> None:
    nearly = changed("/soreness/quadriceps", 2, SORE)
    page = read(coach_browser.get(f"/coach/advice/{post(coach, nearly)}"))
    assert "Growth work on a muscle that is still sore" in page
    assert "Soreness: 2 — at least 3 (1 away)" in page


def test_what_would_have_changed_it_is_told(coach_browser: Client, coach: Client) -> None:
    fresh = changed("/soreness/quadriceps", 0, SORE)
    evening_before = "2026-03-08T18:00:00+01:00"
    advice_id = post(coach, changed("/last_trained/quadriceps/at", evening_before, fresh))
    page = read(coach_browser.get(f"/coach/advice/{advice_id}"))
    [part] = coach.get(f"/v1/advice/{advice_id}").json["advice"]["parts"]
    [change] = part["would_change"]
    assert (change["fact"], change["to"]) == ("hours_since_growth_work", "at least 47")
    assert "at least 47 " in page


def test_nobody_is_invited_to_answer_better(coach_browser: Client, advice_id: str) -> None:
    """Soreness holds the work back: what helps is that it eases, not that it is reported lower."""
    page = read(coach_browser.get(f"/coach/advice/{advice_id}"))
    assert "soreness below 3" not in page


def test_who_decided_when_and_by_which_rules_is_told(
    coach_browser: Client, advice_id: str, record: dict[str, Any], store: Store
) -> None:
    page = read(coach_browser.get(f"/coach/advice/{advice_id}"))
    assert "Mon 9 March, 06:45 (Europe/Berlin)" in page
    for said in (record["posted_by"], record["service_version"], advice_id):
        assert said in page
    rule_set = record["advice"]["rule_set"]
    assert f"{rule_set['name']}@{rule_set['version']} {rule_set['digest']}" in page
    assert "The same rules apply to the same facts." in page
    found = store.read(lambda transaction: transaction.ledger.entry_of(advice_id))
    assert found is not None
    entry = found[0]
    assert f"sha256:{entry.record_digest}" in page
    assert f"Number {entry.position}." in page
    assert f"sha256:{entry.digest}" in page


def test_advice_that_was_replaced_leads_to_what_holds_and_back(
    coach_browser: Client, coach: Client, advice_id: str
) -> None:
    newer = post(coach, changed("/soreness/quadriceps", 1, SORE))
    old = coach_browser.get(f"/coach/advice/{advice_id}").text
    assert "This advice no longer holds." in old
    assert f'href="/coach/advice/{newer}"' in old
    new = coach_browser.get(f"/coach/advice/{newer}").text
    assert "This advice no longer holds." not in new
    assert f'href="/coach/advice/{advice_id}"' in new


def test_the_same_morning_is_told_under_another_rule_set(
    coach_browser: Client, coach: Client, store: Store, clock: Clock
) -> None:
    put_in_print(store, CLUB, clock())
    tired = changed("/sleep/hours", 7, changed("/fatigue", 4, without("plan", SORE) | {"plan": []}))
    page = coach_browser.get(f"/coach/advice/{post(coach, tired)}?under=club@1.0.0")
    assert "<option selected>club@1.0.0</option>" in page.text
    words = read(page)
    assert "The verdict differs." in words
    assert "7.0 h of sleep are too few for us." in words
    assert "sleep: 7 h — below 7.5 h: yes" in words
    assert "has no such rule" in words


def test_the_same_rule_set_says_the_same(coach_browser: Client, advice_id: str) -> None:
    page = read(coach_browser.get(f"/coach/advice/{advice_id}?under=baseline@1.1.0"))
    assert page.count("Nothing. The same rule says the same.") == 2, "the day and its part"


def test_a_rule_set_that_gives_no_answer_is_told_by_the_kind_of_error(
    coach_browser: Client, advice_id: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    unknown = read(coach_browser.get(f"/coach/advice/{advice_id}?under=club@9.0.0"))
    assert "club@9.0.0 gives no answer for this morning." in unknown
    assert "Kind of error: not-found" in unknown

    def differ(*_: object) -> None:
        raise EngineDisagreement("They differ.")

    monkeypatch.setattr(Decider, "decide", differ)
    page = coach_browser.get(f"/coach/advice/{advice_id}?under=baseline@1.0.0")
    assert page.status_code == 200
    assert "Kind of error: engine-disagreement" in read(page)


def test_a_record_whose_rule_set_is_gone_is_shown_all_the_same(
    coach_browser: Client, coach: Client, advice_id: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    [part] = coach.get(f"/v1/advice/{advice_id}").json["advice"]["parts"]
    monkeypatch.setattr("dawnrule.web.coach.why._rule_set_of", lambda _: None)
    page = read(coach_browser.get(f"/coach/advice/{advice_id}"))
    assert "The rule set of this advice is gone." in page
    assert "It cannot be decided again" in page
    assert part["reason"] in page


def test_what_others_wrote_is_shown_as_words(coach_browser: Client, coach: Client) -> None:
    wild = changed("/pain/0/where", "<script>alert(1)</script>", EXAMPLE)
    page = coach_browser.get(f"/coach/advice/{post(coach, wild)}")
    assert "&lt;script&gt;alert(1)" in page.text
    assert "<script" not in page.text


def test_an_advice_that_is_not_there_is_a_page_with_the_way_back(coach_browser: Client) -> None:
    for address in (
        "/coach/advice/nowhere",
        "/coach/why/a-03/2026-03-09",
        "/coach/why/no/2026-03-09",
    ):
        answer = coach_browser.get(address)
        assert answer.status_code == 404
        assert 'href="/coach/"' in answer.text
    assert coach_browser.get("/coach/why/a-03/yesterday").status_code == 422


def test_an_athletes_morning_leads_to_the_advice_that_holds(
    coach_browser: Client, advice_id: str
) -> None:
    answer = coach_browser.get("/coach/why/a-03/2026-03-09?under=baseline@1.0.0")
    assert answer.status_code == 302
    assert answer.headers["Location"] == f"/coach/advice/{advice_id}?under=baseline@1.0.0"


def test_the_page_is_told_in_the_readers_language(coach_browser: Client, advice_id: str) -> None:
    page = coach_browser.get(f"/coach/advice/{advice_id}", headers={"Accept-Language": "de"})
    assert '<html lang="de">' in page.text


def test_the_newest_head_stands_on_why_and_on_the_printed_morning(
    coach_browser: Client, advice_id: str, store: Store
) -> None:
    newest = store.read(lambda transaction: transaction.ledger.head())
    for page in (f"/coach/advice/{advice_id}", "/coach/"):
        assert heads_in(coach_browser.get(page).text) == [newest], page
