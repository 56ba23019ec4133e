"""The coach's page of concerns, and the lines about them on the other pages."""

from __future__ import annotations

import re
from typing import Any

import pytest

from tests.conftest import Client, Clock
from tests.web.test_coach_morning import read
from tests.web.test_concerns import CHEST, WELL, check_in, open_ones

SIGNED = {"name": "Dr. Adler", "taken_on": "yes"}


def send(browser: Client, address: str, **fields: Any) -> Any:
    """Send a form of the page with the token that it holds."""
    page = browser.get("/coach/concerns").text
    token = re.search(r'name="csrf_token" value="([^"]+)"', page)
    assert token is not None
    return browser.post(address, data={"csrf_token": token[1], **fields})


@pytest.fixture
def chest_pain(coach: Client) -> str:
    check_in(coach, **CHEST)
    return str(open_ones(coach)[0]["concern_id"])


def test_the_page_says_what_is_open_since_when_and_who_lifts_it(
    coach_browser: Client, chest_pain: str
) -> None:
    page = coach_browser.get("/coach/concerns").text
    assert "Sign of heart or chest (chest pain or pressure)" in page
    assert "Open since Mon 9 March." in page
    assert "Only a coach or clinician can clear it" in page
    german = coach_browser.get("/coach/concerns?lang=de").text
    assert "Zeichen von Herz oder Brust" in german
    assert "Nur eine Freigabe" in german


def test_nothing_is_open_about_anybody_at_first(coach_browser: Client) -> None:
    assert "There is nothing to watch about anybody." in coach_browser.get("/coach/concerns").text


def test_a_coach_clears_with_restrictions_and_withdraws(
    coach_browser: Client, coach: Client, chest_pain: str
) -> None:
    terms = SIGNED | {"no_contact": "yes", "effort_at_most": "4.5"}
    cleared = send(coach_browser, f"/coach/concerns/{chest_pain}/clear", **terms)
    assert cleared.status_code == 303
    [concern] = open_ones(coach)
    assert concern["clearance"]["restrictions"] == {"no_contact": True, "effort_at_most": 4.5}
    page = coach_browser.get("/coach/concerns").text
    assert "Cleared by a coach (Dr. Adler) on Mon 9 March." in page
    assert "effort up to 4.5 of 10" in page
    assert "check-in still reports it and holds for today" in page
    clearance = concern["clearance"]["id"]
    send(coach_browser, f"/coach/concerns/{chest_pain}/withdraw", clearance=clearance)
    assert open_ones(coach)[0]["state"] == "open"


def test_a_correction_is_seen_on_every_page_and_confirmed(
    coach_browser: Client, coach: Client, clock: Clock, chest_pain: str
) -> None:
    clock.set("2026-03-09T07:00:00+01:00")
    check_in(coach, **WELL)
    advice_id = coach.get("/v1/athletes/a-03/advice/today").json["advice_id"]
    for page in ("", "athletes/a-03", "concerns", f"advice/{advice_id}"):
        assert "was taken back on the same day" in coach_browser.get(f"/coach/{page}").text, page
    confirm = f"/coach/concerns/{chest_pain}/confirm"
    for lacking in ({}, {"name": "Kim"}, {"was": "the wrong line"}):
        assert send(coach_browser, confirm, **lacking).status_code == 422
    assert len(open_ones(coach)) == 1
    send(coach_browser, confirm, name="Kim", was="the wrong line")
    assert open_ones(coach) == []
    assert "withdrawn on the same day" not in coach_browser.get("/coach/").text


@pytest.mark.parametrize(
    ("fields", "member"),
    [
        ({"kind": "pain", "pain": "joint", "where": "left knee"}, "pain"),
        ({"kind": "illness", "illness": "fever"}, "illness"),
        (
            {
                "kind": "restriction",
                "reason": "injury",
                "muscle_groups_rest": ["hamstrings", "calves"],
                "until": "2026-03-30",
            },
            "restriction",
        ),
        ({"kind": "head-injury"}, "kind"),
    ],
)
def test_a_coach_opens_a_concern_of_any_kind(
    coach_browser: Client, coach: Client, fields: dict[str, Any], member: str
) -> None:
    assert send(coach_browser, "/coach/concerns", athlete="a-03", **fields).status_code == 303
    [concern] = open_ones(coach)
    assert concern["kind"] == fields["kind"]
    assert concern[member]


def test_what_cannot_be_saved_is_said_and_nothing_is_saved(
    coach_browser: Client, coach: Client, chest_pain: str
) -> None:
    refused = send(
        coach_browser, f"/coach/concerns/{chest_pain}/clear", **SIGNED, effort_at_most="a lot"
    )
    assert (refused.status_code, 'role="alert"' in refused.text) == (422, True)
    for lacking in ({}, {"name": "Dr. Adler"}, {"taken_on": "yes"}):
        unsigned = send(coach_browser, f"/coach/concerns/{chest_pain}/clear", **lacking)
        assert (unsigned.status_code, 'role="alert"' in unsigned.text) == (422, True)
    nothing = {"kind": "restriction", "athlete": "a-03", "until": "2026-03-30"}
    unlimited = send(coach_browser, "/coach/concerns", **nothing)
    assert (unlimited.status_code, "at least one thing" in unlimited.text) == (422, True)
    early = send(coach_browser, f"/coach/concerns/{chest_pain}/advance")
    assert (early.status_code, "not in a staged return" in early.text) == (409, True)
    assert send(coach_browser, "/coach/concerns/none/confirm").status_code == 404
    nobody = send(coach_browser, "/coach/concerns", kind="head-injury", athlete="")
    assert (nobody.status_code, "Say about whom" in nobody.text) == (422, True)
    assert open_ones(coach)[0]["clearance"] is None


def test_a_stage_is_advanced_and_taken_back(
    coach_browser: Client, coach: Client, clock: Clock, chest_pain: str
) -> None:
    send(coach_browser, f"/coach/concerns/{chest_pain}/clear", **SIGNED)
    clock.set("2026-03-09T14:00:00+01:00")
    send(coach_browser, f"/coach/concerns/{chest_pain}/advance", back="yes")
    assert open_ones(coach)[0]["state"] == "open"


def test_a_form_without_its_token_changes_nothing(coach_browser: Client, chest_pain: str) -> None:
    assert coach_browser.post(f"/coach/concerns/{chest_pain}/clear").status_code == 400


def test_the_athletes_page_says_what_is_open_and_who_can_lift_it(
    coach: Client, client: Client, chest_pain: str
) -> None:
    given = coach.post("/v1/athletes/a-03/addresses", json={"purpose": "check-in"}).json
    page = client.get(given["paths"][0]).text
    assert "Not over yet" in page
    assert "Only a coach or clinician can clear it" in page


def test_the_history_and_what_is_over_can_be_read(
    coach_browser: Client, coach: Client, clock: Clock, chest_pain: str
) -> None:
    terms = SIGNED | {"goals_not": ["speed"], "until": "2026-03-30"}
    send(coach_browser, f"/coach/concerns/{chest_pain}/clear", **terms)
    send(coach_browser, "/coach/concerns", athlete="a-03", kind="illness", illness="fever")
    [ill] = [one for one in open_ones(coach) if one["kind"] == "illness"]
    send(coach_browser, f"/coach/concerns/{ill['concern_id']}/clear", name="Kim")
    text = read(coach_browser.get("/coach/concerns"))
    assert "History (3)" in text
    assert "Mon 9 March, 06:45 : First reported, by the athlete. chest pain or pressure." in text
    cleared = "Cleared, by a coach (Dr. Adler). no speed; until Mon 30 March."
    assert f"Mon 9 March, 06:45 : {cleared}" in text
    assert "Stage 1 of" in text
    assert "Today's advice: “Rest: " in text
    own = read(coach_browser.get("/coach/concerns?athlete=a-03"))
    assert "Concerns of Mara" in own
    assert "Sign of heart or chest" in own
    assert "Nothing was ever open" in read(coach_browser.get("/coach/concerns?athlete=a-04"))
    assert coach_browser.get("/coach/concerns?athlete=nobody").status_code == 404


def test_pain_may_be_cleared_up_to_a_severity(coach_browser: Client, coach: Client) -> None:
    send(coach_browser, "/coach/concerns", athlete="a-03", kind="pain", pain="joint", where="knee")
    [pain] = open_ones(coach)
    address = f"/coach/concerns/{pain['concern_id']}/clear"
    assert send(coach_browser, address, name="Kim", severity_at_most="2,5").status_code == 303
    assert open_ones(coach)[0]["clearance"]["severity_at_most"] == 2.5
