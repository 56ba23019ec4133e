"""The pages for people in German throughout."""

from __future__ import annotations

import re
from html import unescape
from typing import Any

import pytest

from dawnrule.advice.composer import Composer
from dawnrule.rules.registry import RuleSetLibrary
from dawnrule.store import PrivateAddress, Purpose, Store, hash_token, new_token
from tests.conftest import Client, Clock
from tests.factories import EXAMPLE

GERMAN, ENGLISH = Composer.bundled("de"), Composer.bundled()
IN_GERMAN = {"Accept-Language": "de"}
IN_ENGLISH = {"Accept-Language": "en"}
WORDS_OF_A_SENTENCE = 3

PAGES = [
    "/coach/",
    "/coach/?place=resting&date=today",
    "/coach/athletes/a-03",
    "/coach/athletes/a-05",
    "/coach/advice/{advice_id}",
    "/coach/advice/{advice_id}?under=baseline@1.0.0",
    "/coach/rule-sets",
    "/coach/rule-sets/baseline/2.0.0",
    "/coach/rule-sets/baseline/2.0.0?from=baseline@1.0.0",
    "/coach/rule-sets/baseline/2.0.0/scorecard",
    "/coach/rule-sets/baseline/2.0.0/try-out",
    "/coach/replays",
]


@pytest.fixture
def advice_id(coach: Client) -> str:
    posted: str = coach.post("/v1/check-ins", json=EXAMPLE).json["advice_id"]
    return posted


@pytest.fixture
def check_in_page(store: Store, squad: Any, clock: Clock) -> str:
    """The address of a-03's page."""
    token = new_token()
    address = PrivateAddress("p-01", Purpose.CHECK_IN, "a-03", "phone", clock(), None)
    store.write(lambda transaction: transaction.private_addresses.add(address, hash_token(token)))
    return f"/check-in/{token}"


def texts_of(page: Any) -> set[str]:
    """What stands on a page, piece by piece, as it reads."""
    assert page.mimetype == "text/html"
    pieces = re.findall(r">([^<]+)<", page.text.replace("\n", " "))
    return {" ".join(unescape(piece).split()) for piece in pieces}


def english_sentences() -> set[str]:
    """What only English says and no page in German may: whole sentences, and names of words."""
    catalogue = ENGLISH.texts.entries.values()
    rules = (rule for rule_set in RuleSetLibrary.bundled().all() for rule in rule_set.rules)
    of_rules = (t for r in rules for t in (r.title, r.caution, r.wrong_when, r.basis.note or ""))
    facts = (fact.label for fact in ENGLISH.dictionary.values())
    english = {*catalogue, *of_rules, *facts, *ENGLISH.vocabulary.labels.values()}
    of_german = {*GERMAN.texts.entries.values(), *GERMAN.vocabulary.labels.values()}
    of_german |= {fact.label for fact in GERMAN.dictionary.values()}
    return {" ".join(said.split()) for said in english - of_german if len(said) > 1}


@pytest.mark.parametrize("address", PAGES)
def test_a_coachs_page_says_nothing_in_english(
    coach_browser: Client, advice_id: str, address: str
) -> None:
    page = coach_browser.get(address.format(advice_id=advice_id), headers=IN_GERMAN)
    assert '<html lang="de"' in page.text
    assert texts_of(page) & english_sentences() == set()


TRY_OUT = "/coach/rule-sets/baseline/1.1.0/try-out"
PROBLEMS = {
    "/coach/nowhere": "Nicht gefunden",
    "/coach/athletes/nobody": "Nicht gefunden",
    "/coach/athletes/a-03?days=8": "Nicht gefunden",
    "/coach/why/a-03/2026-03-01": "Nicht gefunden",
    "/coach/advice/nowhere": "Nicht gefunden",
    "/coach/rule-sets/nowhere/1.0.0": "Nicht gefunden",
    "/coach/squad.csv?date=today": "Etwas ging schief",
}


@pytest.mark.parametrize("address", PROBLEMS)
def test_a_page_that_is_not_there_says_nothing_in_english(
    coach_browser: Client, address: str
) -> None:
    """Not what an error says either, which is in no catalogue."""
    page = coach_browser.get(address, headers=IN_GERMAN)
    assert f"<h1>{PROBLEMS[address]}</h1>" in page.text
    assert texts_of(page) & english_sentences() == set()
    assert "There " not in page.text


@pytest.mark.parametrize(
    ("address", "answers", "said"),
    [
        (TRY_OUT, {"sleep_quality": "14"}, "Schreib eine ganze Zahl von 1 bis 5."),
        (TRY_OUT, {"sleep_hours": "viel"}, "Schreib eine Zahl von 0 bis 24."),
        (TRY_OUT, {"goal": "laufen"}, "Wähle eine der Antworten."),
        ("/coach/replays", {}, "Wähle eines der Regelwerke."),
        (
            "/coach/replays",
            {"rule_set": "baseline@1.0.0", "from": "1. März", "to": "2. März"},
            "Schreib ein Datum wie 2026-03-09.",
        ),
        (
            "/coach/replays",
            {"rule_set": "baseline@1.0.0", "from": "2026-03-02", "to": "2026-03-01"},
            "Schreib ein Datum wie 2026-03-09, nicht vor dem ersten.",
        ),
    ],
)
def test_what_is_wrong_with_an_answer_is_said_in_german(
    coach_browser: Client, address: str, answers: dict[str, str], said: str
) -> None:
    form = coach_browser.get(address).text
    token = re.search(r'name="csrf_token" value="([^"]+)"', form)
    assert token is not None
    page = coach_browser.post(address, data={"csrf_token": token[1], **answers}, headers=IN_GERMAN)
    assert said in texts_of(page)
    assert "must" not in page.text


def test_a_rule_set_that_gives_no_answer_is_told_in_german(
    coach_browser: Client, advice_id: str
) -> None:
    address = f"/coach/advice/{advice_id}?under=club@9.0.0"
    page = coach_browser.get(address, headers=IN_GERMAN)
    assert "club@9.0.0 gibt für diesen Morgen keine Antwort." in texts_of(page)
    assert "There is" not in page.text


def test_a_form_without_its_token_is_refused_in_words(coach_browser: Client) -> None:
    page = coach_browser.post("/coach/sign-out", headers=IN_GERMAN)
    assert page.status_code == 400
    assert "Öffne die Seite neu und schick das Formular von dort." in texts_of(page)
    assert "CSRF" not in page.text


def test_an_athletes_page_is_in_the_athletes_own_language(
    coach: Client, client: Client, check_in_page: str
) -> None:
    """Whatever the browser would like; only the address chooses another."""
    who = coach.get("/v1/athletes/a-03").json
    coach.put("/v1/athletes/a-03", json=who | {"language": "de"})
    coach.post("/v1/check-ins", json=EXAMPLE)
    page = client.get(check_in_page, headers=IN_ENGLISH)
    assert '<html lang="de"' in page.text
    assert texts_of(page) & english_sentences() == set()
    assert '<html lang="en"' in client.get(f"{check_in_page}?lang=en").text


def test_a_page_in_english_is_noticed(coach_browser: Client, advice_id: str) -> None:
    page = coach_browser.get(f"/coach/advice/{advice_id}")
    assert len(texts_of(page) & english_sentences()) > WORDS_OF_A_SENTENCE
