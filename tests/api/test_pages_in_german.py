"""Do the pages for people speak another language throughout?"""

from __future__ import annotations

import re
from html import unescape
from typing import Any

import pytest

from dawnrule.advice.compose import Composer
from dawnrule.rules.library import RuleSetLibrary
from dawnrule.store import PrivateAddress, Purpose, Store, hash_token, new_token
from tests.api.samples import EXAMPLE
from tests.conftest import Client, Clock

GERMAN, ENGLISH = Composer.shipped("de"), Composer.shipped()
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
    "/coach/rule-sets/baseline/1.1.0",
    "/coach/rule-sets/baseline/1.1.0?from=baseline@1.0.0",
    "/coach/rule-sets/baseline/1.1.0/scorecard",
    "/coach/rule-sets/baseline/1.1.0/try-out",
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
    store.write(lambda books: books.private_addresses.add(address, hash_token(token)))
    return f"/check-in/{token}"


def texts_of(page: Any) -> set[str]:
    """What stands on a page, piece by piece, as it reads."""
    assert page.mimetype == "text/html"
    pieces = re.findall(r">([^<]+)<", page.text.replace("\n", " "))
    return {" ".join(unescape(piece).split()) for piece in pieces}


def english_sentences() -> set[str]:
    """What only English says and no page in German may: whole sentences, and names of words."""
    catalogue = ENGLISH.texts.entries.values()
    rules = (rule for rule_set in RuleSetLibrary.shipped().all() for rule in rule_set.rules)
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
