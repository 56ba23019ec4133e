"""Publishing rule sets on the coach's pages, letting them decide and taking that back."""

from __future__ import annotations

from html import unescape
from typing import Any

import pytest

from dawnrule.i18n.catalog import languages
from dawnrule.model import FactDictionary
from dawnrule.rules.analysis.boundary_coverage import boundary_findings
from dawnrule.rules.loading.loader import parse_rule_set
from tests.conftest import Client
from tests.factories import CLUB, WRONG_WAY
from tests.web.test_coach_rules import send
from tests.web.test_coach_why import SORE, read

PUBLISH, DECIDING = "/coach/rule-sets/publish", "/coach/rule-sets/deciding"
CHANGE = {"rule_set": "club@1.0.0", "from": "2026-03-16", "whom": "athlete:a-04"}


@pytest.fixture
def club(coach_browser: Client) -> None:
    """The club's rules, published through the form."""
    answer = send(coach_browser, PUBLISH, text=CLUB)
    assert answer.headers["Location"] == "/coach/rule-sets/club/1.0.0"


def deciding(coach: Client) -> dict[str | None, Any]:
    """What decides for whom, by the interface."""
    answer = coach.get("/v1/rule-sets/deciding").json["deciding"]
    return {
        one["athlete_id"]: (
            [(held["from"], held["rule_set"]) for held in one["holds"]],
            [held["rule_set"] for held in one["after_take_back"]],
        )
        for one in answer
    }


def change(browser: Client, step: str, **fields: str) -> Any:
    """Send a form of the page on what decides, with its token."""
    after = browser.get(DECIDING).text.partition('name="csrf_token" value="')[2]
    token = after.partition('"')[0]
    return browser.post(f"/coach/rule-sets/{step}", data={"csrf_token": token, **fields})


@pytest.mark.parametrize("language", languages())
def test_what_the_form_begins_with_is_a_rule_set_with_its_examples(
    coach_browser: Client, language: str
) -> None:
    """Its whole check takes long, and the pictures publish the same."""
    page = coach_browser.get(f"{PUBLISH}?lang={language}").text
    text = unescape(page.partition("<textarea")[2].partition(">")[2].partition("</textarea>")[0])
    rule_set = parse_rule_set(text, "rule-set.yaml")
    assert rule_set.extension is not None
    assert list(boundary_findings(rule_set, FactDictionary.bundled())) == []


def test_mistakes_are_named_with_their_line_and_nothing_is_published(
    coach_browser: Client, coach: Client, club: None
) -> None:
    answer = send(coach_browser, PUBLISH, text=WRONG_WAY)
    assert answer.status_code == 422
    assert "This was not published. Line" in read(answer)
    assert "rule_set: wrong-way" in answer.text, "what was written is still there"
    names = [one["name"] for one in coach.get("/v1/rule-sets").json["rule_sets"]]
    assert names.count("club") == 1
    assert "wrong-way" not in names


def test_what_will_hold_is_shown_before_anything_changes(
    coach_browser: Client, coach: Client, club: None
) -> None:
    page = read(coach_browser.get(DECIDING, query_string=CHANGE))
    assert "club@1.0.0 is to decide for Tomo, from: Mon 16 March." in page
    assert "Tomo baseline@2.0.0 baseline@2.0.0, from Mon 16 March on club@1.0.0" in page
    assert deciding(coach) == {None: ([(None, "baseline@2.0.0")], [])}
    assert change(coach_browser, "activate", **CHANGE).status_code == 303
    of_tomo = [(None, "baseline@2.0.0"), ("2026-03-16", "club@1.0.0")]
    assert deciding(coach)["a-04"] == (of_tomo, ["baseline@2.0.0"])
    assert "Then this decides again: baseline@2.0.0." in read(coach_browser.get(DECIDING))
    assert change(coach_browser, "take-back", athlete="a-04").status_code == 303
    assert deciding(coach) == {None: ([(None, "baseline@2.0.0")], [])}


def test_todays_advice_is_decided_again_where_the_box_is_ticked(
    coach_browser: Client, coach: Client, club: None
) -> None:
    sent = SORE | {"sleep": {"hours": 7.0}, "fatigue": 5}
    coach.post("/v1/check-ins", json=sent)
    change(coach_browser, "activate", rule_set="club@1.0.0", whom="all")
    today = "/v1/athletes/a-03/advice/today"
    assert coach.get(today).json["rule_set"]["name"] == "baseline"
    assert "Today's advice of 1 athletes is by other rules" in read(coach_browser.get(DECIDING))
    change(coach_browser, "activate", rule_set="club@1.0.0", whom="all", again="yes")
    assert coach.get(today).json["verdict"] == "rest"
    change(coach_browser, "take-back")
    change(coach_browser, "take-back", again="yes")
    assert coach.get(today).json["rule_set"]["name"] == "baseline"


def test_a_group_gets_its_rules_and_goes_with_all_again(
    coach_browser: Client, coach: Client, club: None
) -> None:
    coach.put("/v1/groups/legs", json={"name": "Legs first", "athletes": ["a-03", "a-05"]})
    change(coach_browser, "activate", rule_set="club@1.0.0", whom="group:legs")
    assert [who for who in deciding(coach) if who] == ["a-03", "a-05"]
    change(coach_browser, "activate", rule_set="-", whom="athlete:a-03")
    held = deciding(coach)["a-03"]
    assert held == ([(None, "baseline@2.0.0")], ["club@1.0.0"])


@pytest.mark.parametrize(
    "wrong",
    [
        {"rule_set": "-", "whom": "all"},
        {"rule_set": "club@1.0.0", "whom": "group:gone"},
        {"rule_set": "club@1.0.0", "whom": "athlete:gone"},
        {"rule_set": "club@1.0.0", "whom": "all", "from": "soon"},
    ],
)
def test_a_change_that_cannot_be_changes_nothing_for_anybody(
    coach_browser: Client, coach: Client, club: None, wrong: dict[str, str]
) -> None:
    assert change(coach_browser, "activate", **wrong).status_code == 422
    assert coach_browser.get(DECIDING, query_string=wrong).status_code == 422
    assert deciding(coach) == {None: ([(None, "baseline@2.0.0")], [])}
    assert change(coach_browser, "take-back").status_code == 409


def test_a_trial_begins_and_ends(coach_browser: Client, coach: Client, club: None) -> None:
    change(coach_browser, "trial", rule_set="club@1.0.0")
    assert coach.get("/v1/rule-sets/shadow").json["rule_set"]["name"] == "club"
    assert "On trial since Mon 9 March" in read(coach_browser.get(DECIDING))
    change(coach_browser, "trial")
    assert coach.get("/v1/rule-sets/shadow").status_code == 404
