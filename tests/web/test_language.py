"""The language in which the interface answers."""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping

import pytest

from dawnrule.advice.composer import Composer
from tests.conftest import Client
from tests.factories import DAY_OFF, EXAMPLE, changed, reworded

TODAY = "/v1/athletes/a-03/advice/today"
CHEST_PAIN = changed("/warning_signs", ["chest-pain"])
IN_GERMAN = {"Accept-Language": "de-AT, en;q=0.5"}
RESTS = "Ruhen"


def lives_in_german(coach: Client) -> None:
    before = coach.get("/v1/athletes/a-03").json
    coach.put("/v1/athletes/a-03", json=before | {"language": "de"})


@pytest.mark.parametrize(
    ("query", "headers", "language"),
    [
        ("", {}, "en"),
        ("", {"Accept-Language": "de"}, "de"),
        ("", IN_GERMAN, "de"),
        ("", {"Accept-Language": "fr"}, "en"),
        ("", {"Accept-Language": "fr, de;q=0.2"}, "de"),
        ("", {"Accept-Language": "de;q=0.2, en-GB"}, "en"),
        ("", {"Accept-Language": "de;q=0"}, "en"),
        ("", {"Accept-Language": "*"}, "en"),
        ("?lang=de", {}, "de"),
        ("?lang=en", {"Accept-Language": "de"}, "en"),
        ("?lang=de", {"Accept-Language": "en"}, "de"),
        ("?lang=xx", {"Accept-Language": "de"}, "de"),
    ],
)
def test_the_address_chooses_the_language_before_the_header_does(
    coach: Client, query: str, headers: Mapping[str, str], language: str
) -> None:
    coach.post("/v1/check-ins", json=CHEST_PAIN)
    answer = coach.get(f"{TODAY}{query}", headers=headers)
    assert answer.headers["Content-Language"] == language
    assert answer.json["headline"].startswith({"de": RESTS, "en": "Rest:"}[language])


def test_without_a_wish_all_is_in_english(coach: Client) -> None:
    given = coach.post("/v1/check-ins", json=EXAMPLE).json
    record = coach.get(f"/v1/advice/{given['advice_id']}", headers=IN_GERMAN).json
    assert coach.get(TODAY).json == given == reworded(record["advice"])


def test_a_language_is_there_once_its_catalogue_is(
    coach: Client, coach_browser: Client, client: Client, path: str
) -> None:
    """Spanish was added as data alone: advice, the phone page and the coach's pages speak it."""
    coach.post("/v1/check-ins", json=CHEST_PAIN)
    spanish = {"Accept-Language": "es-MX, en;q=0.5"}
    told = coach.get(TODAY, headers=spanish)
    assert told.headers["Content-Language"] == "es"
    assert told.json["headline"].startswith("Descansar: Dolor en el pecho")
    phone = client.get(path, headers=spanish).text
    assert '<html lang="es">' in phone
    assert "Check-in del lun 9 de marzo" in phone
    assert "Para y busca atención médica ya." in phone
    morning = coach_browser.get("/coach/", headers=spanish).text
    assert '<html lang="es">' in morning
    assert "Esta mañana" in morning


def test_advice_is_told_in_the_athletes_language_where_none_is_asked_for(coach: Client) -> None:
    coach.post("/v1/check-ins", json=CHEST_PAIN)
    lives_in_german(coach)
    assert coach.get(TODAY).json["headline"].startswith(RESTS)
    assert RESTS in coach.get(f"{TODAY}.txt").text
    asked = coach.get(TODAY, headers={"Accept-Language": "en"})
    assert asked.json["headline"].startswith("Rest:")
    assert coach.get(f"{TODAY}?lang=en").json["headline"].startswith("Rest:")


def test_the_language_of_an_athlete_is_kept(coach: Client) -> None:
    lives_in_german(coach)
    assert coach.get("/v1/athletes/a-03").json["language"] == "de"
    refused = coach.put(
        "/v1/athletes/a-03", json=coach.get("/v1/athletes/a-03").json | {"language": "xx"}
    )
    assert refused.status_code == 422
    assert refused.json["errors"][0]["pointer"] == "/language"


def test_a_check_in_is_answered_in_the_language_asked_for(coach: Client) -> None:
    answer = coach.post("/v1/check-ins", json=CHEST_PAIN, headers=IN_GERMAN)
    assert answer.status_code == 201
    assert answer.json["headline"].startswith(RESTS)
    again = coach.post("/v1/check-ins?lang=de", json=CHEST_PAIN)
    assert (again.status_code, again.json) == (200, answer.json)
    told = coach.get(f"/v1/advice/{answer.json['advice_id']}").json["advice"]
    assert told["headline"].startswith("Rest:"), "what is recorded stays English"


def test_whoever_has_not_checked_in_is_told_so_in_the_language(coach: Client) -> None:
    headline = coach.get(f"{TODAY}.txt", headers=IN_GERMAN).text
    german = Composer.bundled("de").texts
    assert headline == german.say("no_check_in", date="2026-03-09")


def test_the_squads_advice_is_told_in_the_language(coach: Client) -> None:
    coach.post("/v1/check-ins", json=CHEST_PAIN)
    lives_in_german(coach)
    plain = coach.get("/v1/advice?date=2026-03-09").json["advice"]
    assert plain[0]["headline"].startswith("Rest:"), "a squad is read by its coach"
    german = coach.get("/v1/advice?date=2026-03-09&lang=de").json["advice"]
    assert german[0]["headline"].startswith(RESTS)
    assert german[1]["headline"] != plain[1]["headline"]


def test_a_sheet_is_told_in_one_language(coach: Client) -> None:
    coach.post("/v1/check-ins", json=CHEST_PAIN)
    answer = coach.get("/v1/advice?date=2026-03-09&format=csv", headers=IN_GERMAN)
    first, *_ = csv.DictReader(io.StringIO(answer.text))
    assert (first["verdict"], first["reason"][:12]) == (RESTS, "Warnzeichen:")


def test_a_batch_is_answered_in_the_language(coach: Client) -> None:
    body = {"check_ins": [CHEST_PAIN, DAY_OFF | {"athlete_id": "a-04"}]}
    results = coach.post("/v1/check-ins/batch?lang=de", json=body).json["results"]
    assert results[0]["advice"]["headline"].startswith(RESTS)
    assert results[1]["advice"]["headline"] == "Trainingsfrei wie geplant."
    sheet = coach.post("/v1/check-ins/batch?format=csv", json=body, headers=IN_GERMAN).text
    first, *_ = csv.DictReader(io.StringIO(sheet))
    assert (first["verdict"], first["reason"][:12]) == (RESTS, "Warnzeichen:")


def test_an_outlook_says_in_the_language_what_it_assumes(coach: Client) -> None:
    assumes = coach.get("/v1/athletes/a-03/outlook?lang=de").json["assumes"]
    assert assumes == Composer.bundled("de").texts.say("outlook_assumes")


def test_a_record_says_in_the_language_how_near_a_rule_was(coach: Client) -> None:
    advice_id = coach.post("/v1/check-ins", json=EXAMPLE).json["advice_id"]

    def said(language: str) -> list[str]:
        rules = coach.get(f"/v1/advice/{advice_id}?lang={language}").json["rules"]
        results = (result for rule in rules for result in rule["results"])
        return [miss["said"] for result in results for miss in result["near_miss"]]

    assert any("(below " in one for one in said("en"))
    assert any("(unter " in one for one in said("de"))
    assert not any("(below " in one for one in said("de"))


def test_a_page_names_the_language_of_its_words(coach: Client) -> None:
    """The description of the interface is English in every browser."""
    for page in ("/docs", "/problems/not-found"):
        assert '<html lang="en">' in coach.get(page, headers=IN_GERMAN).text
